"""Signal and temporal noise of every tile of a picture, from a pair of frames or from one.

Two frames of a still scene differ by noise only: the variance of their difference is twice that of one frame (EMVA
1288, frame pair method; Janesick, Photon Transfer, SPIE 2007). One frame shows noise only where the scene is smooth:
second differences along rows and columns, which take out any gradient, leave 36 times the variance of white noise
(Immerkaer, Fast Noise Variance Estimation, 1996), but count fine texture and fixed pattern in.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel, Site

TILE = 48
"""Side of a tile in pixels of the picture: a multiple of every colour pattern's period in use (1, 2, 4, 6, 8)."""

_CHUNK_PIXELS = 1 << 16
"""Pixels of one site looked at together: small enough to stay in the processor's cache."""

_MASK_POWER = 36.0
"""Sum of squares of the second difference along both axes."""

_MASK_OVERLAP = (1 + 2 * ((4 / 6) ** 2 + (1 / 6) ** 2)) ** 2
"""Sum of the squared autocorrelation of second differences: so many times fewer independent pixels."""

Floats = NDArray[np.float64]
Plane = NDArray[np.float32]
Codes = NDArray[np.uint16] | NDArray[np.uint8]
ToLight = Callable[[Codes], Plane]
"""Codes of a site to signal: codes with black subtracted, or linear light of a finished picture."""


@dataclass(frozen=True, slots=True)
class Tiles:
    """One site's tiles, arrays of (tile rows, tile columns). Signal in codes above black (or linear light 0..1).

    `variance` is that of one frame, `spread` the standard deviation of all that is in a tile, the scene included.
    `pixels`: how many independent pixels a tile's variance comes from. `row`, `column` and `neighbours` are None for a
    single frame: the variance common to a row and to a column with the standard error of each, and the correlation of
    noise with that of the next pixel of the row and of the column.
    """

    channel: Channel
    signal: Floats
    variance: Floats
    spread: Floats
    pixels: float
    row: tuple[float, float] | None = None
    column: tuple[float, float] | None = None
    neighbours: tuple[float, float] | None = None


def single_tiles(site: Site, to_light: ToLight) -> Tiles:
    """Tiles of one frame, their noise by second differences: an upper bound where the scene has texture."""
    tile = TILE // site.pitch_y
    parts = []
    for chunk in _chunks(site.values, tile):
        light = to_light(chunk)
        folded = _second_differences(light, tile)
        means = (_tile_means(light, tile), _tile_means(light, tile, light), _tile_means(folded, tile, folded))
        parts.append(np.stack(means))
    mean, square, folded_square = np.concatenate(parts, axis=1).astype(np.float64)
    spread = np.sqrt(np.maximum(square - mean**2, 0.0))
    inner = (tile - 2) ** 2
    return Tiles(site.channel, mean, folded_square * tile**2 / inner / _MASK_POWER, spread, inner / _MASK_OVERLAP)


def pair_tiles(first: Site, second: Site, to_light: ToLight, ratio: float) -> Tiles:
    """Tiles of two frames of the same scene; `ratio` is the light of the first against that of the second.

    The second frame is scaled by `ratio`, so that flicker does not turn the scene into noise. With r the ratio, the
    difference has (1 + r^2) times the read variance and r + r^2 times the second frame's photon variance; both are put
    down to one frame by stating the signal accordingly.
    """
    tile = TILE // first.pitch_y
    scale, width = np.float32(ratio), first.values.shape[1] // tile * tile
    sums, lines = _Sums(width), []
    parts = []
    for one, other in zip(_chunks(first.values, tile), _chunks(second.values, tile), strict=True):
        light = to_light(one)
        noise = light - scale * to_light(other)
        means = [_tile_means(light, tile), _tile_means(light, tile, light), _tile_means(noise, tile)]
        parts.append(np.stack([*means, _tile_means(noise, tile, noise)]))
        lines.append(noise.mean(axis=1, dtype=np.float64))
        sums.add(noise)
    mean, square, offset, noise_square = np.concatenate(parts, axis=1).astype(np.float64)
    power = 1 + ratio**2
    variance = (noise_square - offset**2) * tile**2 / (tile**2 - 1) / power
    return Tiles(
        first.channel,
        (mean - offset / 2) * (1 + ratio) / power,
        variance,
        np.sqrt(np.maximum(square - mean**2, 0.0)),
        tile**2 - 1,
        _common(np.concatenate(lines), sums.power / width, power),
        _common(sums.columns / sums.rows, sums.power / sums.rows, power),
        sums.neighbours,
    )


class _Sums:
    """What is added up over a whole picture of noise."""

    def __init__(self, width: int) -> None:
        self.columns: Floats = np.zeros(width)
        self.rows = 0
        self._square = self._beside = self._below = 0.0

    def add(self, noise: Plane) -> None:
        """Take in a chunk of rows."""
        self.columns += noise.sum(axis=0)
        self.rows += len(noise)
        self._square += float(np.vdot(noise, noise))
        self._beside += float(np.einsum("ij,ij->", noise[:, 1:], noise[:, :-1]))
        self._below += float(np.vdot(noise[1:], noise[:-1]))

    @property
    def power(self) -> float:
        """Mean square of a pixel."""
        return self._square / (self.rows * self.columns.size)

    @property
    def neighbours(self) -> tuple[float, float]:
        """Correlation with the next pixel in the row, and in the column."""
        square = max(self._square, 1e-12)
        return self._beside / square, self._below / square


def _common(lines: Floats, noise: float, power: float) -> tuple[float, float]:
    """Variance that the means of lines have in one frame beyond the `noise` that their pixels leave, and its error.

    By the difference of neighbouring lines, which slow changes across the picture do not enter.
    """
    between = float(np.mean(np.diff(lines) ** 2)) / 2
    return (between - noise) / power, between * (3 / max(len(lines) - 1, 1)) ** 0.5 / power


def _chunks(values: Codes, tile: int) -> Iterator[Codes]:
    """Whole rows of tiles, several at a time."""
    rows, width = (size // tile * tile for size in values.shape)
    step = max(1, _CHUNK_PIXELS // (width * tile)) * tile
    for top in range(0, rows, step):
        yield values[top : min(top + step, rows), :width]


def _tile_means(light: Plane, tile: int, weight: Plane | None = None) -> Plane:
    """Mean of each tile, of the product with `weight` if there is one; numpy is much slower over both axes at once."""
    folded = light.reshape(-1, tile, light.shape[1])
    columns = folded.sum(axis=1) if weight is None else _column_products(folded, weight)
    means: Plane = columns.reshape(len(folded), -1, tile).sum(axis=2) / np.float32(tile**2)
    return means


def _column_products(folded: Plane, weight: Plane) -> Plane:
    products: Plane = np.einsum("ktw,ktw->kw", folded, weight.reshape(folded.shape))
    return products


def _second_differences(light: Plane, tile: int) -> Plane:
    """Second differences along both axes, 0 where they would reach out of their tile."""
    folded = np.zeros_like(light)
    folded[:-2, :-2] = np.diff(np.diff(light, 2, axis=0), 2, axis=1)
    tiles = folded.reshape(-1, tile, light.shape[1] // tile, tile)
    tiles[:, -2:] = 0.0
    tiles[:, :, :, -2:] = 0.0
    return folded
