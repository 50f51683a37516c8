"""Noise of finished pictures: local, because the camera's processing has left no law that holds for all tones.

In linear light by the sRGB curve. EMVA 1288 release 4 excludes processed data from its linear photon transfer; so do
we: there is no gain and no read noise, and tones that the scene does not hold have no figure.
"""

from collections.abc import Sequence

import numpy as np

from tetherwatch.ladder.checks import Seen, sound_tiles
from tetherwatch.ladder.figures import common_rung
from tetherwatch.ladder.look import Look
from tetherwatch.ladder.noise import SHADOW_STOPS
from tetherwatch.ladder.records import Figure, Options, Rung
from tetherwatch.meter.tone import PICTURE_GREY

_NEAR_STOPS = 0.5
"""Tiles so near to a tone show its noise."""

_LEAST_TILES = 4


def processed_rungs(seen: Sequence[Seen], options: Options) -> tuple[Rung, ...]:
    """The figures of finished pictures, from low to high ISO."""
    return tuple(_processed_rung(one, seen[0], options) for one in seen)


def _processed_rung(one: Seen, lowest: Seen, options: Options) -> Rung:
    grey, shadow = (local_snr(one.look, PICTURE_GREY * 2.0**stops) for stops in (0.0, SHADOW_STOPS))
    return common_rung(one, lowest, grey, shadow, options)


def local_snr(look: Look, signal: float) -> Figure | None:
    """Signal to noise of the tiles near a signal; None where the scene has too few of them."""
    tiles = next(tiles for tiles in look.noise if tiles.channel == look.green)
    near = np.abs(np.log2(np.maximum(tiles.signal, 1e-6) / signal)) <= _NEAR_STOPS
    relative = tiles.variance[near & sound_tiles(tiles, look)] / tiles.signal[near & sound_tiles(tiles, look)] ** 2
    if relative.size < _LEAST_TILES or not relative.mean() > 0:
        return None
    value = float(relative.mean() ** -0.5)
    return Figure(value, value * float(relative.std() / relative.mean()) / 2 / relative.size**0.5)
