"""Raw arrays become sites, and are looked at for what cannot be: blank data, a black level the margins contradict."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel, Site

Codes = NDArray[np.uint16]
Colours = NDArray[np.int64]

TAIL_ROWS = 4
"""So many last rows of exact zeros, where the black level is not zero, mean that the file ends early."""

DOUBT_PART, DOUBT_CODES = 0.01, 20.0
"""The black level is doubted when the margins differ by more than both: a part of the range, and codes."""

_PERIODS = (1, 2, 4, 6, 8, 16)
_LONGEST_PERIOD = _PERIODS[-1]
_BAND_SAMPLES = 100_000


def colour_cell(colour_at: Callable[[int, int], int]) -> Colours | None:
    """The smallest square of colour numbers that repeats over the visible picture; None if there is none.

    `colour_at(row, column)` is the colour number of a visible pixel. Bayer gives 2 x 2, X-Trans 6 x 6, and
    monochrome 1 x 1.
    """
    span = range(2 * _LONGEST_PERIOD)
    colours = np.array([[colour_at(row, column) for column in span] for row in span])
    for period in _PERIODS:
        if (colours[period:] == colours[:-period]).all() and (colours[:, period:] == colours[:, :-period]).all():
            return colours[:period, :period]
    return None


def mosaic_sites(
    visible: Codes, cell: Colours, channels: Sequence[Channel], black: Sequence[float], white: Sequence[float]
) -> tuple[Site, ...]:
    """One site for each place of the colour cell. `channels`, `black` and `white` go by colour number."""
    pitch = cell.shape[0]
    return tuple(
        Site(channels[c], visible[top::pitch, left::pitch], top, left, pitch, pitch, black[c], white[c])
        for top, row in enumerate(cell.tolist())
        for left, c in enumerate(row)
    )


def plane_sites(
    visible: Codes, channels: Sequence[Channel], black: Sequence[float], white: Sequence[float]
) -> tuple[Site, ...]:
    """One site for each plane (rows x columns x planes) that `channels` names."""
    return tuple(
        Site(channel, visible[:, :, plane], 0, 0, 1, 1, black[plane], white[plane])
        for plane, channel in enumerate(channels)
    )


def is_blank(visible: Codes) -> bool:
    """Whether every code is zero. Costs one row on anything else."""
    return not any(row.any() for row in visible)


def ends_blank(visible: Codes, black: float) -> bool:
    """Whether the last rows are exactly zero though black is not: what is left when uncompressed data are cut short."""
    return black > 0 and not visible[-TAIL_ROWS:].any()


def black_is_doubtful(image: Codes, top: int, left: int, black: float, white: float) -> bool:
    """Whether the masked margins left of and above the visible picture both say that the black level is another.

    `image` includes the margins (`top` rows, `left` columns). A margin that is not even is no masked area, and one of
    zeros was never filled: such say nothing.
    """
    allowed = max(DOUBT_PART * (white - black), DOUBT_CODES)
    bands = (image[:, left // 4 : left - left // 4], image[top // 4 : top - top // 4])
    levels = [level for band in bands if (level := _even_level(band, allowed)) is not None]
    return bool(levels) and all(abs(level - black) > allowed for level in levels)


def _even_level(band: Codes, allowed: float) -> float | None:
    step = max(1, band.size // _BAND_SAMPLES)
    sample = band.reshape(-1)[::step] if band.flags.c_contiguous else band[:: max(1, step)].reshape(-1)
    if not sample.any():
        return None
    low, middle, high = np.percentile(sample, (25, 50, 75))
    return float(middle) if high - low <= allowed else None
