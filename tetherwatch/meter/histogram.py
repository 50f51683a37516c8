"""Counting codes in bounded memory: all pixels of every site, or those of every so many rows, and all clipped ones."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel, Frame, Site

Counts = NDArray[np.int64]

_CHUNK_PIXELS = 1 << 18
"""Pixels of one site counted at a time. `bincount` makes an 8-byte copy of its input, so this bounds memory; chunks of
this size also stay in the processor's cache."""

_ENOUGH_PIXELS = 1 << 20
"""Pixels of one site that tell how tones are spread: 0.1 % of them, the brightest that count, are still a thousand."""

_CLIP_ROWS = 64


@dataclass(frozen=True, slots=True)
class SiteCounts:
    """How often each code occurs in one place of the colour pattern: `counts[code]`, int64, one entry per code.

    Where rows were left out, each pixel counted stands for as many as there are rows to one.
    """

    channel: Channel
    black: float
    white: float
    counts: Counts


def code_count(values: NDArray[np.uint16] | NDArray[np.uint8]) -> int:
    """How many codes the type of `values` can hold."""
    return 1 << (8 * values.dtype.itemsize)


def _rows_per_chunk(sites: Sequence[Site]) -> int:
    widest = max(int(site.values.shape[1]) for site in sites)
    return max(1, _CHUNK_PIXELS // max(1, widest))


def count_codes(values: NDArray[np.uint16] | NDArray[np.uint8], into: Counts) -> None:
    """Add the number of times each code occurs in `values` (any shape) to `into` (one entry per possible code)."""
    counts = np.bincount(values.astype(np.intp).ravel())
    into[: counts.size] += counts


def tone_pitch(sites: Sequence[Site]) -> int:
    """Every how many rows of each site are enough for its tones; 1 where the picture is small."""
    return max(1, max(site.values.size for site in sites) // _ENOUGH_PIXELS)


def count_sites(sites: Sequence[Site], pitch: int = 1) -> tuple[SiteCounts, ...]:
    """Count the pixels of every `pitch`-th row of every site, as `pitch` each.

    Sites that share channel, black and white are counted together.
    """
    groups: dict[tuple[Channel, float, float], Counts] = {}
    for site in sites:
        key = (site.channel, site.black, site.white)
        groups.setdefault(key, np.zeros(code_count(site.values), dtype=np.int64))
    rows = pitch * _rows_per_chunk(sites)
    for start in range(0, max(site.values.shape[0] for site in sites), rows):
        for site in sites:
            count_codes(site.values[start : start + rows : pitch], groups[site.channel, site.black, site.white])
    return tuple(SiteCounts(*key, counts=counts * pitch) for key, counts in groups.items())


def count_clipped(frame: Frame, saturation: Mapping[Channel, float]) -> Mapping[Channel, int]:
    """How many pixels of each channel are at or above its saturation (a code); every pixel is looked at.

    Which rows hold any is told by their highest code, which is a hundred times as fast as counting; few rows do.
    """
    codes = {channel: math.ceil(code) for channel, code in saturation.items()}
    highest = frame.pixels.max(axis=tuple(range(1, frame.pixels.ndim)))
    bright = highest >= min(codes.values())
    clipped = dict.fromkeys(codes, 0)
    for site in frame.sites:
        rows = np.flatnonzero(bright[site.top :: site.pitch_y][: site.values.shape[0]])
        for start in range(0, rows.size, _CLIP_ROWS):
            values = site.values[rows[start : start + _CLIP_ROWS]]
            clipped[site.channel] += int(np.count_nonzero(values >= codes[site.channel]))
    return clipped
