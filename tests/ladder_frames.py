"""A sensor of known noise before a made-up scene, for tests of the ladder: frames in memory, no files."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.records import Channel, Frame, Metadata, Site
from tetherwatch.ladder.checks import Seen, check_rung
from tetherwatch.ladder.grouping import Group
from tetherwatch.ladder.look import Look, look_at
from tetherwatch.ladder.tiles import Plane, ToLight

BLACK, WHITE = 512.0, 16383.0
FULL = WHITE - BLACK
GREY_SHARE = 10 / 78

Light = NDArray[np.float64]
"""Light on each pixel of a scene, 1 at saturation."""


@dataclass(frozen=True, slots=True)
class Sensor:
    """Codes per electron at ISO 100, noise before (e) and after (DN) the amplifier, fixed pattern (relative)."""

    gain: float = 0.25
    early_e: float = 2.5
    late_dn: float = 1.0
    prnu: float = 0.0

    def read_dn(self, iso: float) -> float:
        """Read noise in codes, before rounding."""
        return float(np.hypot(self.early_e * self.gain * iso / 100, self.late_dn))

    def codes(self, light: Light, iso: float, rng: np.random.Generator) -> NDArray[np.uint16]:
        """The mosaic that a sensor records of a scene."""
        pattern = np.random.default_rng(77).normal(1.0, self.prnu, light.shape) if self.prnu else 1.0
        gain = self.gain * iso / 100
        electrons = light * pattern * FULL / gain
        signal = rng.poisson(electrons) * gain + rng.normal(0.0, self.read_dn(iso), light.shape) + BLACK
        return np.clip(np.rint(signal), 0, WHITE).astype(np.uint16)

    def snr(self, signal_dn: float, iso: float) -> float:
        """Signal to noise, rounding included (EMVA 1288)."""
        gain = self.gain * iso / 100
        return float(signal_dn / np.sqrt(gain * signal_dn + self.read_dn(iso) ** 2 + 1 / 12))


def scene(rows: int = 480, columns: int = 720) -> Light:
    """Steps of one stop from 0.6 of saturation down, above a ground of fine texture, all in the pattern's pitch."""
    light = np.full((rows, columns), 0.2)
    steps = np.repeat(0.6 * 2.0 ** -np.arange(10), columns // 10)
    light[: rows // 2, : steps.size] = steps
    texture = np.random.default_rng(5).uniform(0.5, 1.5, (rows // 4, columns // 2))
    light[rows // 2 :] *= texture.repeat(2, axis=0).repeat(2, axis=1)
    return light


def frame(mosaic: NDArray[np.uint16]) -> Frame:
    """A Bayer frame over a mosaic."""
    channels: tuple[Channel, ...] = ("r", "g", "g", "b")
    sites = tuple(
        Site(channel, mosaic[top::2, left::2], top, left, 2, 2, BLACK, WHITE)
        for channel, (top, left) in zip(channels, ((0, 0), (0, 1), (1, 0), (1, 1)), strict=True)
    )
    height, width = mosaic.shape
    neutral: dict[Channel, float] = {"r": 1.0, "g": 1.0, "b": 1.0}
    return Frame("raw", "linear", sites, pixels=mosaic, height=height, width=width, neutral=neutral)


def site(values: NDArray[np.uint16], channel: Channel = "y", pitch: int = 1) -> Site:
    """A site by itself."""
    return Site(channel, values, 0, 0, pitch, pitch, BLACK, WHITE)


def above_black(codes: NDArray[np.uint16] | NDArray[np.uint8]) -> Plane:
    """Codes to signal."""
    return codes.astype(np.float32) - np.float32(BLACK)


TO_LIGHT: ToLight = above_black


def group(iso: float, frames: int = 2, **settings: float) -> Group:
    """A rung of a ladder that starts at 1/8 s, f/5.6 and ISO 100."""
    chosen = Settings(**{"shutter_s": 12.5 / iso, "aperture": 2.0**2.5, "iso": iso, **settings})
    return Group(iso, chosen, (), Metadata(settings=chosen))


def look(
    sensor: Sensor, light: Light, iso: float, seed: int, lowest: Look | None = None, gains: tuple[float, ...] = (1, 1)
) -> Look:
    """One rung seen; `gains` are the light of each of its frames."""
    rng = np.random.default_rng((seed, int(iso)))
    frames = [frame(sensor.codes(light * gain, iso, rng)) for gain in gains]
    return look_at(frames, GREY_SHARE, lowest.places if lowest else None)


def ladder(sensor: Sensor, isos: tuple[float, ...], seed: int = 1, frames: int = 2) -> list[Seen]:
    """A clean ladder, seen and checked."""
    looks: list[Look] = []
    for iso in isos:
        looks.append(look(sensor, scene(), iso, seed, looks[0] if looks else None, (1.0,) * frames))
    lowest = group(isos[0])
    return [
        Seen(group(iso), one, check_rung(group(iso), one, lowest, looks[0]))
        for iso, one in zip(isos, looks, strict=True)
    ]
