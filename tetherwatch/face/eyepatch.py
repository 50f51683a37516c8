"""The surroundings of one eye, cut out of a frame: linear light of its green pixels, and where they lie."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tetherwatch.body.records import Noise
from tetherwatch.face.pixelnoise import BLOCK, Codes, PixelNoise, estimated_noise, known_noise, sampled_blocks
from tetherwatch.frame.records import Channel, Frame, Site
from tetherwatch.meter.area import stored_box
from tetherwatch.meter.records import Box, Face, Point
from tetherwatch.meter.tone import picture_table

Floats = NDArray[np.float64]
Vector = tuple[float, float]
"""Column, then row."""

WINDOW_ALONG, WINDOW_ACROSS = 0.20, 0.13
"""Standard deviations of the window around an eye, in eye distances: lids and lashes inside, cheek and hair outside."""

_REACH = 2.5
"""The window is cut at so many standard deviations."""

_LEAST_DISTANCE = 1e-9
"""Pixels: eyes in one place are too small to be looked at, and no error."""

_LEAST_INSIDE = 0.9
"""Share of the window that must lie inside the picture."""

_MOST_SAMPLES = 250.0
"""Samples from eye to eye; where there are more, pixels are put together two by two."""

BRIGHTEST = 2.0
"""Light beyond so many times the eye's mean is a catchlight: cut there, so that a clipped one counts like any other."""

_RAW_DOUBT, _PICTURE_DOUBT = 0.15, 0.6
"""How far an estimated variance may be off, as a part of it: on simulated frames a raw's is within 15 % where noise
matters; that of a finished picture is smoothed and shared by neighbours, so little is known of it."""


@dataclass(frozen=True, slots=True)
class Eyes:
    """Where the eyes lie in the stored picture, in pixels; `along` and `across` are unit vectors of the face in it.

    `along` leads from the left eye to the right one, `across` down the face. `tilt_deg` is as in `EyeDetail`.
    """

    centres: tuple[Vector, Vector]
    along: Vector
    across: Vector
    distance_px: float
    tilt_deg: float

    def moved(self, first: Vector, second: Vector) -> "Eyes":
        """The same face with its eyes at other places."""
        distance = max(math.dist(first, second), _LEAST_DISTANCE)
        x, y = ((b - a) / distance for a, b in zip(first, second, strict=True))
        handed = self.along[0] * self.across[1] - self.along[1] * self.across[0]  # -1 in a picture stored mirrored
        turned = math.atan2(self.along[0] * y - self.along[1] * x, self.along[0] * x + self.along[1] * y)
        tilt_deg = self.tilt_deg + handed * math.degrees(turned)
        return Eyes((first, second), (x, y), (-handed * y, handed * x), distance, tilt_deg)


@dataclass(frozen=True, slots=True)
class Patch:
    """Samples around one eye. `light` is linear, 1 at saturation, 0 where a sample holds no green pixel.

    `count`: green pixels in each sample; `window` its weight, 1 at the eye's `centre` (column, row of samples); `along`
    and `across` as in `Eyes`; `samples`: from eye to eye.
    """

    light: Floats
    count: Floats
    window: Floats
    centre: Vector
    along: Vector
    across: Vector
    samples: float


def find_eyes(face: Face, frame: Frame, orientation: int) -> Eyes:
    """Where a face's eyes lie in the picture as stored, for an Exif orientation code 1 to 8."""
    width, height = (frame.height, frame.width) if orientation >= 5 else (frame.width, frame.height)
    left, right = face.left_eye, face.right_eye
    dx, dy = (right.x - left.x) * width, (right.y - left.y) * height
    below = Point(left.x - dy / width, left.y + dx / height)
    first, second, third = (_stored(point, frame, orientation) for point in (left, right, below))
    distance = max(math.hypot(dx, dy), _LEAST_DISTANCE)
    along, across = (((p[0] - first[0]) / distance, (p[1] - first[1]) / distance) for p in (second, third))
    return Eyes((first, second), along, across, distance, math.degrees(math.atan2(dy, dx)))


def _stored(point: Point, frame: Frame, orientation: int) -> Vector:
    box = stored_box(Box(point.x, point.y, point.x, point.y), orientation)
    return box.left * frame.width - 0.5, box.top * frame.height - 0.5


def green_sites(frame: Frame) -> tuple[Site, ...]:
    """The sites that carry the finest detail: green ones, or those of the only channel."""
    return tuple(site for site in frame.sites if site.channel in ("g", "y"))


def to_light(codes: Codes, site: Site, frame: Frame, saturation: float) -> Floats:
    """Linear light of codes, 1 at the saturation code; negative below black."""
    if frame.curve == "sRGB":
        return picture_table()[codes]
    return (codes.astype(np.float64) - site.black) / (saturation - site.black)


def frame_noise(frame: Frame, saturation: Mapping[Channel, float], known: Noise | None = None) -> PixelNoise | None:
    """The noise of a raw's green pixels by its body, else by the frame itself; None if that has no quiet parts."""
    sites = green_sites(frame)
    if known is not None and frame.source == "raw":
        return known_noise(known, saturation[sites[0].channel] - sites[0].black)
    blocks = [
        to_light(sampled_blocks(site.values), site, frame, saturation[site.channel])
        for site in sites[:2]
        if min(site.values.shape) >= BLOCK
    ]
    doubt = _RAW_DOUBT if frame.curve == "linear" else _PICTURE_DOUBT
    return estimated_noise(np.concatenate(blocks), doubt) if blocks else None


def eye_patch(
    frame: Frame,
    eyes: Eyes,
    centre: Vector,
    saturation: Mapping[Channel, float],
    most_samples: float = _MOST_SAMPLES,
) -> Patch | None:
    """The patch around an eye, at most so many samples from eye to eye; None if too much lies outside the picture."""
    sites = green_sites(frame)
    step = _step(sites, eyes.distance_px, most_samples)
    top, left, bottom, right = _bounds(eyes, centre, frame, step)
    if bottom - top < step or right - left < step:
        return None
    light, count = np.zeros((bottom - top, right - left)), np.zeros((bottom - top, right - left))
    for site in sites:
        _lay(site, frame, saturation[site.channel], (top, left), light, count)
    light, count = _together(light, count, step)
    middle = (centre[0] - left + 0.5) / step - 0.5, (centre[1] - top + 0.5) / step - 0.5
    window = _window(light.shape, eyes, middle, step)
    samples = eyes.distance_px / step
    whole = 2 * math.pi * WINDOW_ALONG * WINDOW_ACROSS * samples**2
    if window.sum() < _LEAST_INSIDE * whole:
        return None
    return Patch(light, count, window, middle, eyes.along, eyes.across, samples)


def _step(sites: Sequence[Site], distance_px: float, most_samples: float) -> int:
    """Pixels put together along each side: enough that every sample of a large colour cell holds a green one."""
    step = 2 if sites[0].pitch_x > 2 else 1
    while distance_px / step > most_samples:
        step *= 2
    return step


def _bounds(eyes: Eyes, centre: Vector, frame: Frame, step: int) -> tuple[int, int, int, int]:
    """Top, left, bottom and right of a patch, in whole samples."""
    reach = [
        _REACH * eyes.distance_px * math.hypot(WINDOW_ALONG * along, WINDOW_ACROSS * across)
        for along, across in zip(eyes.along, eyes.across, strict=True)
    ]
    starts = [max(math.floor((c - r) / step), 0) * step for c, r in zip(centre, reach, strict=True)]
    sides = (frame.width, frame.height)
    stops = [
        min(math.ceil((c + r) / step), side // step) * step for c, r, side in zip(centre, reach, sides, strict=True)
    ]
    return starts[1], starts[0], stops[1], stops[0]


def _lay(site: Site, frame: Frame, saturation: float, corner: tuple[int, int], light: Floats, count: Floats) -> None:
    """Put a site's pixels into the patch whose corner lies there."""
    rows = range(site.top, site.top + site.values.shape[0] * site.pitch_y, site.pitch_y)
    columns = range(site.left, site.left + site.values.shape[1] * site.pitch_x, site.pitch_x)
    inner = [
        slice(max(-(-(start - span.start) // span.step), 0), max(-(-(start + size - span.start) // span.step), 0))
        for start, size, span in zip(corner, light.shape, (rows, columns), strict=True)
    ]
    values = site.values[inner[0], inner[1]]
    first_row, first_column = rows.start + inner[0].start * rows.step, columns.start + inner[1].start * columns.step
    place = np.s_[first_row - corner[0] :: site.pitch_y, first_column - corner[1] :: site.pitch_x]
    light[place], count[place] = to_light(values, site, frame, saturation), 1.0


def _together(light: Floats, count: Floats, step: int) -> tuple[Floats, Floats]:
    """Means of squares of `step` pixels, and how many pixels each has."""
    if step == 1:
        return light, count
    shape = (light.shape[0] // step, step, light.shape[1] // step, step)
    total, pixels = light.reshape(shape).sum((1, 3)), count.reshape(shape).sum((1, 3))
    return total / np.maximum(pixels, 1.0), pixels


def _window(shape: tuple[int, ...], eyes: Eyes, centre: Vector, step: int) -> Floats:
    """A Gaussian bell laid along the line of the eyes; `centre` in samples from the patch's corner."""
    row, column = np.ogrid[: shape[0], : shape[1]]
    x, y = step * (column - centre[0]), step * (row - centre[1])
    along = (x * eyes.along[0] + y * eyes.along[1]) / (WINDOW_ALONG * eyes.distance_px)
    across = (x * eyes.across[0] + y * eyes.across[1]) / (WINDOW_ACROSS * eyes.distance_px)
    far: Floats = along**2 + across**2
    return np.where(far < _REACH**2, np.exp(-far / 2), 0.0)
