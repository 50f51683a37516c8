"""Noise of single pixels: known from a body's profile, or estimated from the picture itself."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tetherwatch.body.records import Noise

Floats = NDArray[np.float64]
Codes = NDArray[np.uint16] | NDArray[np.uint8]

BLOCK = 8
"""Pixels along each side of a block in which noise is looked for."""

_BLOCKS_ACROSS = 40

_KNOWN_DOUBT = 0.05
"""How far a measured body's variance may be off, as a part of it."""

_LEVELS = 8
"""Classes of brightness, equally filled, in which the quietest blocks are looked for."""

_QUIET_PERCENT = 10.0
_QUIET_SHARE = 0.66
"""The tenth percentile of a pure noise's variance over a block, as a part of its mean: 49 mixed differences of 64
pixels that share neighbours (simulated)."""

_LEAST_PERCENT = 25.0
"""Which of the classes, by variance over light, gives the gain: those with detail in all their blocks lie above."""

_MOST_READ_NOISE_E = 10.0
"""No body of recent years reads its pixels with more noise, in electrons (common practice, no source)."""

_LEAST_BLOCKS = 40
_BRIGHTEST = 0.9
"""Blocks nearer to saturation than this may hold pixels that clip, which have less noise."""


@dataclass(frozen=True, slots=True)
class PixelNoise:
    """Variance of a pixel = `gain` * light + `floor`, light being 1 at saturation (EMVA 1288, linear model).

    `doubt`: one standard uncertainty of the variance, as a part of it.
    """

    gain: float
    floor: float
    doubt: float

    def variance(self, light: Floats) -> Floats:
        """The variance at each light; what is below black counts as black."""
        return self.gain * np.maximum(light, 0.0) + self.floor


def known_noise(noise: Noise, range_codes: float) -> PixelNoise:
    """The noise of a measured body at the capture's ISO, for so many codes from black to saturation."""
    gain = noise.gain_dn_per_e / range_codes
    return PixelNoise(gain, (gain * noise.read_noise_e) ** 2, _KNOWN_DOUBT)


def sampled_blocks(plane: Codes) -> Codes:
    """Blocks of 8 x 8 pixels spread over a plane (blocks x 8 x 8), copied."""
    starts = (np.unique(np.linspace(0, max(side - BLOCK, 0), _BLOCKS_ACROSS).astype(int)) for side in plane.shape)
    rows, columns = ((start[:, None] + np.arange(BLOCK)).ravel() for start in starts)
    blocks = plane[np.ix_(rows, columns)].reshape(rows.size // BLOCK, BLOCK, -1, BLOCK)
    return blocks.swapaxes(1, 2).reshape(-1, BLOCK, BLOCK)


def estimated_noise(blocks: Floats, doubt: float) -> PixelNoise | None:
    """The noise that all detail rests on: that of the quietest blocks at each brightness; None if there are too few.

    `blocks` (blocks x 8 x 8) hold linear light, 1 at saturation; neighbours must have independent noise. The variance
    of a block is a quarter of its mean squared mixed difference a - b - c + d, which even slopes leave at zero; only
    the quietest tenth counts, because detail adds to it and nothing takes from it.
    """
    mixed = blocks[:, :-1, :-1] - blocks[:, :-1, 1:] - blocks[:, 1:, :-1] + blocks[:, 1:, 1:]
    light, variance = blocks.mean((1, 2)), (mixed**2).mean((1, 2)) / 4
    sound = (light < _BRIGHTEST) & (variance > 0)
    if np.count_nonzero(sound) < _LEAST_BLOCKS:
        return None
    return _fitted(*_quiet(light[sound], variance[sound]), doubt)


def _quiet(light: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """For each class of brightness its light and the variance of its noise."""
    order = np.argsort(light)
    classes = [part for part in np.array_split(order, _LEVELS) if part.size]
    quiet = [float(np.percentile(variance[part], _QUIET_PERCENT)) / _QUIET_SHARE for part in classes]
    return np.array([light[part].mean() for part in classes]), np.array(quiet)


def _fitted(light: Floats, variance: Floats, doubt: float) -> PixelNoise:
    """Gain from the classes with the least variance for their light, then what the darkest ones have beyond it."""
    lit = light > 0
    if not lit.any():
        return PixelNoise(0.0, float(variance.min()), doubt)
    gain = float(np.percentile(variance[lit] / light[lit], _LEAST_PERCENT))
    beyond = float(np.min(variance[: _LEVELS // 4] - gain * np.maximum(light[: _LEVELS // 4], 0.0)))
    return PixelNoise(gain, min(max(beyond, 0.0), (_MOST_READ_NOISE_E * gain) ** 2), doubt)
