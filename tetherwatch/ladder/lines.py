"""A ladder's looks become lines: the photon transfer of each rung and channel, from its sound tiles."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel
from tetherwatch.ladder.checks import Seen, sound_tiles
from tetherwatch.ladder.grouping import refuse
from tetherwatch.ladder.look import Look
from tetherwatch.ladder.tiles import Floats, Tiles
from tetherwatch.ladder.transfer import (
    LEAST_GAIN,
    Points,
    Transfer,
    fit_transfer,
    joined,
    lowest_from_others,
    without_texture,
)

_LEAST_TILES = 8
"""Tiles of one channel without which nothing is fitted."""

_VAGUE = 0.1
"""A gain with a larger relative uncertainty is none: the scene holds too few tones."""

_SURE = 3.0
"""Standard uncertainties by which a gain must be too low before noise reduction is suspected."""

_NOTHING = Transfer(0.0, 0.0, np.diag([math.inf, math.inf]))

_Own = Mapping[Channel, Sequence[Transfer]]


@dataclass(frozen=True, slots=True)
class Lines:
    """The lines of one rung by channel, without those that could not be told. `quiet`: noise is too low for the ISO."""

    by_channel: Mapping[Channel, Transfer]
    quiet: bool


def fit_lines(seen: Sequence[Seen]) -> tuple[Lines, ...]:
    """The lines of every rung. Raises Refusal where no rung has one for green."""
    green = seen[0].look.green
    pairs = all(one.look.is_pair for one in seen)
    found = _pair_transfers(seen) if pairs else {green: _green_transfers(seen)}
    if not any(map(_is_sure, found[green])):
        refuse("range", "too few tones of the scene can be measured: shoot one with dark and bright parts, not clipped")
    quiet = _too_quiet(found[green], [one.group.iso for one in seen])
    return tuple(
        Lines({channel: lines[i] for channel, lines in found.items() if _is_sure(lines[i])}, i in quiet)
        for i in range(len(seen))
    )


def _is_sure(line: Transfer) -> bool:
    return line.gain > 0 and line.covariance[0, 0] <= (_VAGUE * line.gain) ** 2


def _pair_transfers(seen: Sequence[Seen]) -> _Own:
    """The photon transfer of each channel at every rung of pairs.

    All rungs and channels help each other if they agree, else the rungs of each channel do, else none.
    """
    channels = list(dict.fromkeys(tiles.channel for tiles in seen[0].look.noise))
    own = {channel: [_line(_pair_points(one.look, channel)) for one in seen] for channel in channels}
    together = _joined([line for lines in own.values() for line in lines])
    if together is None:
        return {channel: _joined(lines) or lines for channel, lines in own.items()}
    count = len(seen)
    return {channel: together[i * count : (i + 1) * count] for i, channel in enumerate(channels)}


def _joined(lines: Sequence[Transfer]) -> list[Transfer] | None:
    """Lines joined, those that could not be told left as they are."""
    sure = [i for i, line in enumerate(lines) if _is_sure(line)]
    together = joined([lines[i] for i in sure])
    if together is None:
        return None
    better = dict(zip(sure, together, strict=True))
    return [better.get(i, line) for i, line in enumerate(lines)]


def _green_transfers(seen: Sequence[Seen]) -> list[Transfer]:
    """The photon transfer of green at every rung, where some rungs are single frames."""
    lowest = seen[0].look
    singles = [_single_points(one.look, lowest) for one in seen]
    known = _lowest_transfer(seen, singles)
    fitted = [known]
    for one, (points, reference) in zip(seen[1:], singles[1:], strict=True):
        if one.look.is_pair:
            fitted.append(_line(_pair_points(one.look, lowest.green)))
        else:
            line = _line(without_texture(points, reference, known))
            fitted.append(replace(line, covariance=line.covariance + known.covariance))
    return fitted


def _lowest_transfer(seen: Sequence[Seen], singles: Sequence[tuple[Points, Points]]) -> Transfer:
    lowest = seen[0]
    if lowest.look.is_pair:
        return _line(_pair_points(lowest.look, lowest.look.green))
    own = singles[0][0]
    usable = [i for i in range(1, len(seen)) if _is_enough(singles[i][0])]
    if not usable or not _is_enough(own):
        return _NOTHING
    isos = [seen[i].group.iso for i in usable]
    return lowest_from_others(own, [singles[i] for i in usable], isos, lowest.group.iso)


def _is_enough(points: Points) -> bool:
    return points.signal.size >= _LEAST_TILES


def _line(points: Points) -> Transfer:
    return fit_transfer(points) if _is_enough(points) else _NOTHING


def _pair_points(look: Look, channel: Channel) -> Points:
    """The sound tiles of a channel's sites."""
    rough = _channel_points(look, channel, None)
    return _channel_points(look, channel, fit_transfer(rough)) if _is_enough(rough) else rough


def _channel_points(look: Look, channel: Channel, noise: Transfer | None) -> Points:
    sites = [tiles for tiles in look.noise if tiles.channel == channel]
    parts = [_sound_points(tiles, sound_tiles(tiles, look, noise)) for tiles in sites]
    return Points(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))


def _single_points(look: Look, lowest: Look) -> tuple[Points, Points]:
    """Tiles that are sound in a rung and in the lowest one, by their first frames alone: of both rungs."""
    both = sound_tiles(look.texture, look) & sound_tiles(lowest.texture, lowest) & (lowest.texture.signal > 0)
    return Points(*_sound_points(look.texture, both)), Points(*_sound_points(lowest.texture, both))


def _sound_points(tiles: Tiles, sound: NDArray[np.bool_]) -> tuple[Floats, Floats, Floats, Floats]:
    count = int(sound.sum())
    return tiles.signal[sound], tiles.variance[sound], np.full(count, tiles.pixels), np.zeros(count)


def _too_quiet(lines: Sequence[Transfer], isos: Sequence[float]) -> set[int]:
    """Which rungs have too little noise for their ISO, against the upper half of all: smoothing takes noise away."""
    usual = float(np.quantile([line.gain / iso for line, iso in zip(lines, isos, strict=True) if _is_sure(line)], 0.75))
    return {
        i
        for i, (line, iso) in enumerate(zip(lines, isos, strict=True))
        if line.gain + _SURE * math.sqrt(line.covariance[0, 0]) < LEAST_GAIN * usual * iso
    }
