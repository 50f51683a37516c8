"""Counting codes: every pixel of every site, once, in bounded memory."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel, Site

Counts = NDArray[np.int64]

_CHUNK_PIXELS = 1 << 18
"""Pixels of one site counted at a time. `bincount` makes an 8-byte copy of its input, so this bounds memory; chunks of
this size also stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class SiteCounts:
    """How often each code occurs in one place of the colour pattern: `counts[code]`, int64, one entry per code."""

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


def count_sites(sites: Sequence[Site]) -> tuple[SiteCounts, ...]:
    """Count every pixel of every site. Sites that share channel, black and white are counted together."""
    groups: dict[tuple[Channel, float, float], Counts] = {}
    for site in sites:
        key = (site.channel, site.black, site.white)
        groups.setdefault(key, np.zeros(code_count(site.values), dtype=np.int64))
    rows = _rows_per_chunk(sites)
    for start in range(0, max(site.values.shape[0] for site in sites), rows):
        for site in sites:
            count_codes(site.values[start : start + rows], groups[site.channel, site.black, site.white])
    return tuple(SiteCounts(*key, counts=counts) for key, counts in groups.items())
