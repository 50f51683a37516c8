"""A simulated camera: light in, raw codes out, with photon noise, read noise, full well, gain and black level.

Mid-grey sits at 10/78 of saturation in the green channel (ISO 12232: saturation speed 78/H, metered exposure 10/S).
Noise follows the linear model of EMVA 1288: variance in electrons = signal + read noise squared; the photon part is
drawn from a normal distribution, which is close above some 20 electrons.
"""

import math
from dataclasses import dataclass
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from tetherwatch.exposure.stops import BASE_ISO
from tetherwatch.rehearse.scene import GREY, Cells

GREY_SHARE = 10 / 78
"""Mid-grey as a share of saturation."""

PATTERN = (0, 1, 1, 2)
"""Colour of the four pixels of a cell, row by row: 0 red, 1 green, 2 blue."""

_BAND = 64
"""Rows of cells exposed at a time: small enough to stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class Camera:
    """A camera body with its lens.

    `sensor_mm` is the width of the sensor, `response` what it records of a neutral object in r, g, b. Read noise has a
    part before the amplifier (electrons) and one after it (codes). Full well and saturation code coincide at ISO 100;
    any ISO can be set. `prnu` is how unequally pixels respond to light: one standard deviation over the mean, the same
    pattern in every frame (photo response non-uniformity, EMVA 1288).
    """

    make: str = "Harrow"
    model: str = "Harrow Q24"
    serial: str = "HQ-204417"
    lens: str = "Harrow 85mm F1.8"
    focal_mm: int = 85
    sensor_mm: float = 36.0
    full_well_e: float = 60_000.0
    early_noise_e: float = 2.4
    late_noise_dn: float = 1.1
    black: int = 512
    white: int = 16383
    response: tuple[float, float, float] = (0.55, 1.0, 0.70)
    prnu: float = 0.0

    def gain(self, iso: float) -> float:
        """Codes per electron."""
        return (self.white - self.black) / self.full_well_e * iso / BASE_ISO

    def read_noise_e(self, iso: float) -> float:
        """Standard deviation of the signal in the dark, in electrons, before rounding to codes."""
        return math.hypot(self.early_noise_e, self.late_noise_dn / self.gain(iso))

    def electrons(self, offset_stops: float, iso: float) -> float:
        """Electrons a perfect white (reflectance 1) gives a green pixel when grey sits at `offset_stops`."""
        grey_dn = GREY_SHARE * (self.white - self.black) * 2.0**offset_stops
        return float(grey_dn / self.gain(iso) / GREY)

    def limit_e(self, iso: float) -> float:
        """Electrons at which a pixel clips: full well or the last code, whichever comes first."""
        return min(self.full_well_e, (self.white - self.black) / self.gain(iso))

    def clipped_percent(self, cells: Cells, offset_stops: float, iso: float) -> dict[str, float]:
        """Percent of each channel's pixels that clip, before noise."""
        limit = self.limit_e(iso) / self.electrons(offset_stops, iso)
        shares = {c: cells[i] >= limit / self.response[i] for i, c in enumerate("rgb")}
        return {channel: 100 * float(np.mean(share)) for channel, share in shares.items()}

    def expose(self, cells: Cells, offset_stops: float, iso: float, rng: np.random.Generator) -> NDArray[np.uint16]:
        """The raw mosaic, two rows and columns for each cell, with the grey card at `offset_stops`."""
        _, rows, columns = cells.shape
        mosaic = np.empty((2 * rows, 2 * columns), np.uint16)
        white_e = self.electrons(offset_stops, iso)
        for top in range(0, rows, _BAND):
            for place, colour in enumerate(PATTERN):
                light = cells[colour, top : top + _BAND] * np.float32(white_e * self.response[colour])
                if self.prnu:
                    light *= self._response_pattern(light.shape, (top, place))
                row = 2 * top + place // 2
                mosaic[row : row + 2 * len(light) : 2, place % 2 :: 2] = self._digitised(light, iso, rng)
        return mosaic

    def _response_pattern(self, shape: tuple[int, ...], place: tuple[int, int]) -> NDArray[np.float32]:
        """Gain of each pixel around 1; the same for the same camera and place."""
        pattern = np.random.default_rng((crc32(self.serial.encode()), *place)).standard_normal(shape, np.float32)
        return 1 + np.float32(self.prnu) * pattern

    def _digitised(self, light_e: NDArray[np.float32], iso: float, rng: np.random.Generator) -> NDArray[np.float32]:
        noise = rng.standard_normal(light_e.shape, np.float32)
        noise *= np.sqrt(light_e + np.float32(self.read_noise_e(iso) ** 2))
        codes: NDArray[np.float32] = np.minimum(light_e + noise, np.float32(self.full_well_e))
        codes *= np.float32(self.gain(iso))
        codes += np.float32(self.black)
        np.rint(codes, out=codes)
        np.clip(codes, 0, self.white, out=codes)
        return codes
