"""Where a channel really saturates: the metadata's word, corrected by what the picture shows.

Raw white levels are one constant per model, while real saturation changes with ISO and channel. A channel that clips
leaves a mark: a narrow pile of pixels at the very top of its histogram, with next to nothing above. Photon noise makes
any bright but unclipped surface far wider than that (at 60,000 electrons and 0.25 DN per electron, 61 DN), which is how
the two are told apart. Common practice, no source; the thresholds are ours and tested against simulated captures.
"""

from dataclasses import dataclass

import numpy as np

from tetherwatch.meter.histogram import Counts

_PILE_WIDTH = 0.001
"""Width of a pile-up as a part of the range from black to white."""

_LOWEST = 0.6
"""A pile-up below this part of the range is not believed to be saturation."""

_LEAST_PIXELS = 50
_LEAST_SHARE = 1e-4
"""A pile-up holds at least this many pixels and this share of the channel."""

_ABOVE_SHARE = 0.02
_HOT_SHARE = 1e-5
"""Pixels above a pile-up: at most this share of it, or this share of the channel (hot pixels)."""

_CONTRAST = 8.0
"""A pile-up is at least this many times as dense as the codes just below it."""


@dataclass(frozen=True, slots=True)
class Saturation:
    """The saturation code of a channel, and whether it was found as a pile-up rather than taken from the metadata."""

    code: float
    pile_up: bool


def find_saturation(counts: Counts, black: float, white: float) -> Saturation:
    """Saturation of a channel from its code counts; `black` and `white` as the metadata state them.

    A pile-up within one pile width of `white` confirms the metadata, which are then kept as they are.
    """
    width = max(2, round(_PILE_WIDTH * (white - black)))
    start = _pile_start(counts, black, white, width)
    if start is None or abs(start + width / 2 - white) <= width:
        return Saturation(white, pile_up=False)
    return Saturation(float(start), pile_up=True)


def _pile_start(counts: Counts, black: float, white: float, width: int) -> int | None:
    """First code of the pile, or None."""
    total = int(counts.sum())
    used = np.flatnonzero(counts)
    if not used.size:
        return None
    cumulative = np.concatenate(([0], np.cumsum(counts[: used[-1] + 1 + width])))
    starts = np.arange(max(0, int(black + _LOWEST * (white - black))), max(0, cumulative.size - width))
    if not starts.size:
        return None
    inside = cumulative[starts + width] - cumulative[starts]
    above = total - cumulative[starts + width]
    below = cumulative[np.maximum(starts - width, 0)] - cumulative[np.maximum(starts - 8 * width, 0)]
    fits = (
        (inside >= max(_LEAST_PIXELS, _LEAST_SHARE * total))
        & (above <= np.maximum(_ABOVE_SHARE * inside, _HOT_SHARE * total))
        & (inside * 7 >= _CONTRAST * below)
    )
    if not fits.any():
        return None
    best = starts[fits][np.argmax(inside[fits])]
    occupied = np.flatnonzero(counts[best : best + width])
    return int(best + occupied[0])
