"""A first look at a capture: its embedded preview, corrected by what earlier previews of the camera turned out to be.

A camera's own rendering is unknown, but always the same: its curve, and how far its grey lies from ours, show as soon
as a few previews can be set against the raw data they came with. The correction (exact level minus preview level) is
fitted as a straight line around the level in question, by Bayesian linear regression (textbook formulas): frames of a
like level and recent ones count more, and what does not fit counts less (weights of Student's t with 4 degrees of
freedom, begun from the weighted median). Before the first frame all that is known is how far cameras differ (common
practice, no source).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

from tetherwatch.meter.records import Reading

KEPT_LOOKS = 40
"""Looks that are remembered of one rendering: older ones count next to nothing."""

_SHIFT_SD = 0.6
"""Stops by which cameras' renderings of mid-grey differ."""

_SLOPE_SD = 0.3
"""Stops by which the shift may change with each stop of level: the contrast of the rendering."""

_SCATTER, _SCATTER_LOOKS = 0.06, 3.0
"""Stops of scatter that are expected, and how many looks that expectation is worth."""

_LIKE_STOPS = 1.5
"""A look so far away in level counts half."""

_FADING = 0.88
"""What a look counts after the next one."""

_TAIL = 4.0
_ROUNDS = 5


@dataclass(frozen=True, slots=True)
class Look:
    """What a preview said, and what the exact reading of the same capture did: levels in stops against mid-grey."""

    preview_stops: float
    exact_stops: float


def with_look(looks: Sequence[Look], preview: Reading, exact: Reading) -> tuple[Look, ...]:
    """The looks with one more, oldest first; the same if one of the readings only gives a bound."""
    if preview.area_clipped_percent + exact.area_clipped_percent > 0 or _black(preview) or _black(exact):
        return tuple(looks)
    return (*looks, Look(preview.level_stops, exact.level_stops))[-KEPT_LOOKS:]


def corrected(reading: Reading, looks: Sequence[Look]) -> Reading:
    """The reading of a preview as a provisional one, corrected by the looks of the same rendering."""
    shift, uncertainty = _correction(looks, reading.level_stops)
    return replace(
        reading,
        level_stops=reading.level_stops + shift,
        offset_stops=reading.offset_stops + shift,
        light_value=None if reading.light_value is None else reading.light_value + shift,
        uncertainty_stops=uncertainty + _bound_uncertainty(reading),
        provisional=True,
    )


def _black(reading: Reading) -> bool:
    return reading.crushed_percent > 50


def _bound_uncertainty(reading: Reading) -> float:
    """Clipped light is at least this bright: no more is known of that share."""
    return 2.0 * reading.area_clipped_percent / 100


def _correction(looks: Sequence[Look], level: float) -> tuple[float, float]:
    """The shift at a level of the preview, in stops, and its standard uncertainty for one more look."""
    if not looks:
        return 0.0, math.hypot(_SHIFT_SD, _SCATTER)
    ages = range(len(looks) - 1, -1, -1)
    base = [_nearness(look, level) * _FADING**age for look, age in zip(looks, ages, strict=True)]
    shift, slope, spread, variance = _middle(looks, base), 0.0, 0.0, _SCATTER**2
    for _ in range(_ROUNDS):
        misses = [_miss(look, level, shift, slope) for look in looks]
        weights = [b * (_TAIL + 1) / (_TAIL + miss**2 / variance) for b, miss in zip(base, misses, strict=True)]
        scatter = sum(weight * miss**2 for weight, miss in zip(weights, misses, strict=True))
        variance = (_SCATTER_LOOKS * _SCATTER**2 + scatter) / (_SCATTER_LOOKS + sum(weights))
        shift, slope, spread = _line(looks, weights, level, variance)
    return shift, math.sqrt(spread + variance)


def _middle(looks: Sequence[Look], weights: Sequence[float]) -> float:
    """The weighted median of the corrections: half of the weight lies on either side, whatever a few of them say."""
    ranked = sorted(zip((look.exact_stops - look.preview_stops for look in looks), weights, strict=True))
    below = accumulate(weight for _, weight in ranked)
    half = sum(weights) / 2
    return next(correction for (correction, _), weight in zip(ranked, below, strict=True) if weight >= half)


def _nearness(look: Look, level: float) -> float:
    return 1 / (1 + ((look.preview_stops - level) / _LIKE_STOPS) ** 2)


def _miss(look: Look, level: float, shift: float, slope: float) -> float:
    return look.exact_stops - look.preview_stops - shift - slope * (look.preview_stops - level)


def _line(looks: Sequence[Look], weights: Sequence[float], level: float, variance: float) -> tuple[float, float, float]:
    """Shift at `level`, its slope, and the variance of the shift, from looks that scatter by `variance`."""
    a = 1 / _SHIFT_SD**2
    b = c = d = 0.0
    e = 1 / _SLOPE_SD**2
    for look, weight in zip(looks, weights, strict=True):
        precision, away = weight / variance, look.preview_stops - level
        correction = look.exact_stops - look.preview_stops
        a += precision
        b += precision * away
        e += precision * away**2
        c += precision * correction
        d += precision * correction * away
    determinant = a * e - b**2
    return (e * c - b * d) / determinant, (a * d - b * c) / determinant, e / determinant
