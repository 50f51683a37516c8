"""Photographs of eyes through a simulated lens and sensor, and what is measured in them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchmarks import blur
from benchmarks.drawn_eyes import Light, Pair
from tetherwatch.face.eyedetail import measure_eyes
from tetherwatch.face.records import EyeDetail
from tetherwatch.frame.records import Channel, Frame, Site
from tetherwatch.meter.records import Box, Face, Point
from tetherwatch.rehearse.camera import Camera

BAYER = ("rg", "gb")
CAMERA = Camera()
SATURATION: dict[Channel, float] = dict.fromkeys(("r", "g", "b", "y"), float(CAMERA.white))

_LENS_SIGMA = 0.45
"""Blur of a good lens in pixels."""

_OFFSETS = (-2.0, 1.0)
"""Exposures against a right one, in stops."""

_EYE_ERROR = 0.03
"""How far a detector puts the eyes off, in eye distances."""


@dataclass(frozen=True, slots=True)
class Blur:
    """`pixels`: length of a smear or diameter of a disc; `degrees`: direction of the smear, clockwise from level."""

    kind: Literal["motion", "focus"]
    pixels: float
    degrees: float = 0.0

    def of(self, light: Light) -> Light:
        """The light as this blurs it."""
        if self.kind == "motion":
            return blur.motion(light, self.pixels, self.degrees)
        return blur.defocus(light, self.pixels)


def photographed(
    light: Light, iso: float, offset_stops: float, rng: np.random.Generator, pattern: Sequence[str] = BAYER
) -> Frame:
    """The raw frame of a scene in reflectance, with mid-grey at an offset. Every channel sees what green sees."""
    electrons = np.maximum(blur.gaussian(light, _LENS_SIGMA), 0.0) * CAMERA.electrons(offset_stops, iso)
    signal = rng.poisson(electrons) + rng.normal(0.0, CAMERA.read_noise_e(iso), electrons.shape)
    codes = np.minimum(signal, CAMERA.full_well_e) * CAMERA.gain(iso) + CAMERA.black
    return mosaic_frame(np.clip(np.rint(codes), 0, CAMERA.white).astype(np.uint16), pattern)


def mosaic_frame(codes: NDArray[np.uint16], pattern: Sequence[str] = BAYER) -> Frame:
    """A raw frame of a mosaic; `pattern` names the colours of its repeating cell, row by row."""
    pitch, black, white = len(pattern), float(CAMERA.black), float(CAMERA.white)
    sites = tuple(
        Site(colour, codes[top::pitch, left::pitch], top, left, pitch, pitch, black, white)
        for top, row in enumerate(pattern)
        for left, colour in enumerate(row)
    )
    return Frame("raw", "linear", sites, codes, codes.shape[0], codes.shape[1], {})


def face_of(pair: Pair, off: tuple[float, float] = (0.0, 0.0)) -> Face:
    """The face as a detector finds it that is off by so many pixels."""
    rows, columns = pair.light.shape
    left, right = (Point((x + 0.5 + off[0]) / columns, (y + 0.5 + off[1]) / rows) for x, y in (pair.left, pair.right))
    return Face(Box(0.0, 0.0, 1.0, 1.0), left, right, 1.0)


def shot(
    pair: Pair, iso: float, rng: np.random.Generator, blurred: Blur | None = None, offset_stops: float | None = None
) -> EyeDetail:
    """What is measured in one photograph, exposed about right unless `offset_stops` says how."""
    light = pair.light if blurred is None else blurred.of(pair.light)
    frame = photographed(light, iso, rng.uniform(*_OFFSETS) if offset_stops is None else offset_stops, rng)
    off = rng.uniform(-_EYE_ERROR, _EYE_ERROR, 2) * pair.distance
    detail = measure_eyes(frame, face_of(pair, (off[0], off[1])), 1, SATURATION)
    return NOTHING_SEEN if detail is None else detail


NOTHING_SEEN = EyeDetail(1.0, 0.0, (0.0,) * 99, (0.0,) * 99, (0.0,) * 6, 1.0)
"""Eyes in which not even contrast stands out of the noise rank below all others."""
