"""The level of the metered area: its linear light against mid-grey, with an honest uncertainty."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tetherwatch.exposure.light import RAW_GREY
from tetherwatch.frame.records import Channel
from tetherwatch.meter.histogram import Counts
from tetherwatch.meter.tone import LUMINANCE, PICTURE_GREY, Floats

_FLOOR = 2.0**-14
"""Linear light below which a level is only an upper bound."""

_RAW_UNCERTAINTY = 0.03
"""Stops: black level, linearity and flare of a raw (judgement)."""

_PICTURE_UNCERTAINTY = 0.2
_PICTURE_SLOPE = 0.15
"""Stops, and stops per stop from grey: a camera's tone curve is unknown and departs from sRGB away from mid-grey
(judgement: an uncalibrated picture is good to 0.2 stop)."""

_BLACK_ERROR_CODES = 1.0


@dataclass(frozen=True, slots=True)
class AreaPart:
    """Pixels of one kind of site in the area with their weight in the mean.

    `counts` pixels have the linear light `light` (1 at saturation), in ascending order; `range_codes` is the number of
    codes from black to saturation.
    """

    channel: Channel
    counts: Counts
    light: Floats
    range_codes: float
    weight: float


@dataclass(frozen=True, slots=True)
class Level:
    """`stops` against mid-grey (negative: darker), one standard `uncertainty` in stops, `floor` if only a bound."""

    stops: float
    uncertainty: float
    floor: bool = False


def trimmed(counts: Counts, share: float) -> Floats:
    """Counts with the darkest and the brightest `share` (0 to 0.5) of the pixels taken out."""
    total = float(counts.sum())
    edges = np.concatenate(([0.0], np.cumsum(counts, dtype=np.float64)))
    kept: Floats = np.diff(np.clip(edges, share * total, (1 - share) * total))
    return kept


def mean_light(parts: Sequence[AreaPart], trim: float) -> float:
    """Weighted mean of linear light over parts of one channel; each part's own mean is trimmed first."""
    total = 0.0
    weights = 0.0
    for part in parts:
        kept = trimmed(part.counts, trim)
        pixels = kept.sum()
        if pixels:
            total += part.weight * float(kept @ part.light) / pixels
            weights += part.weight
    return total / weights if weights else 0.0


def _standard_error(parts: Sequence[AreaPart], mean: float) -> float:
    """Standard error of a mean of linear light, in the same unit."""
    pixels = sum(float(part.counts.sum()) for part in parts)
    square = sum(float(part.counts @ np.square(part.light - mean)) for part in parts)
    return math.sqrt(square) / pixels


def raw_level(parts: Sequence[AreaPart], trim: float, grey_share: float = RAW_GREY) -> Level:
    """Level of a raw from its green (or only) channel: green carries most of the luminance, and no white balance,
    the camera's or ours, moves it. `grey_share`: mid-grey as a part of saturation."""
    chosen = [part for part in parts if part.channel in ("g", "y")] or parts
    mean = mean_light(chosen, trim)
    light = max(mean, _FLOOR)
    black = _BLACK_ERROR_CODES / min(part.range_codes for part in chosen)
    relative = math.hypot(black, _standard_error(chosen, mean)) / light
    uncertainty = math.hypot(_RAW_UNCERTAINTY, relative / math.log(2))
    return Level(math.log2(light / grey_share), uncertainty, floor=mean <= _FLOOR)


def channel_stops(parts: Sequence[AreaPart], trim: float) -> Mapping[Channel, float]:
    """Linear light of each channel in stops against saturation, -14 at least."""
    by_channel = {part.channel: [each for each in parts if each.channel == part.channel] for part in parts}
    return {channel: math.log2(max(mean_light(own, trim), _FLOOR)) for channel, own in by_channel.items()}


def picture_level(parts: Sequence[AreaPart], trim: float) -> Level:
    """Level of a finished picture from its luminance; an estimate, since its tone curve is only assumed."""
    channels: Mapping[Channel, float] = {
        channel: mean_light([part for part in parts if part.channel == channel], trim)
        for channel in {part.channel for part in parts}
    }
    mean = sum(LUMINANCE[channel] * light for channel, light in channels.items())
    stops = math.log2(max(mean, _FLOOR) / PICTURE_GREY)
    return Level(stops, _PICTURE_UNCERTAINTY + _PICTURE_SLOPE * abs(stops), floor=mean <= _FLOOR)
