"""How much of the fine detail of the lowest rung is still there in another one.

The finest band of a picture (what a small blur takes away) is compared with that of the lowest rung by regression: 1
where nothing was smoothed, less where noise reduction, blur or a lost focus took some. The noise of the lowest rung
would make the regression too small, so the band's power there is taken from the product of its two frames, whose noise
differs, or from one frame less the known power of its noise. Our own measure; the correction for noise in the regressor
is textbook statistics (errors in variables).
"""

from collections.abc import Sequence

import numpy as np

from tetherwatch.ladder.records import Figure
from tetherwatch.ladder.tiles import Floats, Plane

Windows = Sequence[Plane]
"""The same parts of one frame of a rung, at full resolution."""

_BLUR = np.array([0.25, 0.5, 0.25])
_BAND_POWER = 1 - 2 * 0.25 + float(np.sum(np.outer(_BLUR, _BLUR) ** 2))
"""Sum of the squares of the band's weights: what it leaves of the power of white noise."""

_BLOCK = 24
"""Pixels; parts that small are taken to err independently of each other."""

_LEAST_POWER = 3.0
"""The band must have so many times the standard error of its power, or there is no fine detail to speak of."""


def fine_band(window: Plane) -> Floats:
    """What a 3 x 3 binomial blur takes away, without the outermost pixels."""
    image = window.astype(np.float64)
    rows = (image[:-2] + 2 * image[1:-1] + image[2:]) / 4
    blurred = (rows[:, :-2] + 2 * rows[:, 1:-1] + rows[:, 2:]) / 4
    band: Floats = image[1:-1, 1:-1] - blurred
    return band


def in_light(frames: Sequence[Windows], stops: Sequence[float]) -> list[Windows]:
    """Windows brought to the light of the lowest rung's first frame; `stops`: what each frame has more of it."""
    return [[window * np.float32(2.0**-more) for window in frame] for frame, more in zip(frames, stops, strict=False)]


def detail_kept(lowest: Sequence[Windows], rung: Sequence[Windows], noise: float) -> Figure | None:
    """The part of the lowest rung's fine detail that a rung has kept; None where there is none to compare.

    Each rung is one or two frames of windows. `noise`: variance of a pixel of the lowest rung (used where it is a
    single frame). All windows are in the same light: see `in_light`.
    """
    one = [[fine_band(window) for window in frame] for frame in lowest]
    other = [[fine_band(window) for window in frame] for frame in rung]
    common = np.mean([_products(a, b) for a in one for b in other], axis=0)
    power = _products(one[0], one[1]) if len(one) == 2 else _products(one[0], one[0]) - noise * _BAND_POWER
    total, error = float(power.mean()), float(power.std() / np.sqrt(power.size))
    if total <= _LEAST_POWER * error:
        return None
    kept = float(common.mean()) / total
    return Figure(kept, float(np.std(common - kept * power) / np.sqrt(power.size)) / total)


def _products(one: Sequence[Floats], other: Sequence[Floats]) -> Floats:
    """Mean product of two bands in each block of all windows."""
    return np.concatenate([_block_means(a * b) for a, b in zip(one, other, strict=True)])


def _block_means(product: Floats) -> Floats:
    rows, columns = (size // _BLOCK for size in product.shape)
    blocks = product[: rows * _BLOCK, : columns * _BLOCK].reshape(rows, _BLOCK, columns, _BLOCK)
    means: Floats = blocks.mean(axis=(1, 3)).ravel()
    return means
