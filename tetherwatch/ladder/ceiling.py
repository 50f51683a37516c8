"""The highest ISO that keeps every grade, interpolated between rungs and never beyond them."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tetherwatch.errors import UsageError
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.stops import BASE_ISO, Setting
from tetherwatch.ladder.grouping import iso_words
from tetherwatch.ladder.records import Ceiling, Figure, Finding, Limit, Options, Rung
from tetherwatch.ladder.tiles import Floats

NORMAL_95 = 1.96
"""Standard uncertainties to each side that hold 95 % of a normal curve."""

_GRID_STOPS = 1 / 192
_SAME = 1e-6

_Value = Callable[[Rung], Figure | None]


@dataclass(frozen=True, slots=True)
class Criterion:
    """One thing a rung must keep: `least` of what `value` says of it."""

    limit: Limit
    value: _Value
    least: float
    words: str


def grades(options: Options) -> tuple[float, float]:
    """The least SNR at mid-grey and 3 stops below it. Each stop that denoising is worth lowers them by the square root
    of 2, as a stop less light does to photon noise."""
    shadow = options.grade / 4 if options.shadow_grade is None else options.shadow_grade
    worth = 2.0 ** (-options.denoise_stops / 2)
    return options.grade * worth, shadow * worth


def criteria(options: Options) -> tuple[Criterion, ...]:
    """What every rung up to the ceiling must keep."""
    grey, shadow = grades(options)
    return (
        Criterion(
            "grey", lambda rung: rung.snr_grey_viewing, grey, f"signal to noise at mid-grey falls below {grey:.3g}"
        ),
        Criterion(
            "shadows",
            lambda rung: rung.snr_shadow_viewing,
            shadow,
            f"signal to noise 3 stops below mid-grey falls below {shadow:.3g}",
        ),
        Criterion(
            "detail",
            lambda rung: rung.detail_kept,
            options.detail_least,
            f"less than {100 * options.detail_least:.0f} % of the fine detail is kept",
        ),
    )


def find_ceiling(rungs: Sequence[Rung], options: Options) -> Ceiling | Finding:
    """The ceiling of rungs from low to high ISO, or why there is none.

    Raises UsageError for an accepted ISO outside the rungs.
    """
    if options.accept_iso is not None:
        return _accepted(rungs, options.accept_iso)
    rungs = [rung for rung in rungs if rung.snr_grey_viewing is not None]
    if not rungs:
        return Finding("range", "no rung shows its noise at mid-grey: put a grey card into the scene")
    reached = [(_reach(rungs, criterion, 0.0), criterion) for criterion in criteria(options)]
    stops, first = min(reached, key=lambda pair: pair[0])
    lowest, highest = _stops(rungs[0].iso), _stops(rungs[-1].iso)
    if stops < lowest - _SAME:
        return Finding(
            "grade", f"already at {iso_words(rungs[0].iso)} {first.words}: no ISO of this ladder is good enough"
        )
    low, high = (
        min(_reach(rungs, criterion, sign * NORMAL_95) for criterion in criteria(options)) for sign in (-1.0, 1.0)
    )
    interval = (_dial_iso(max(low, lowest)), _dial_iso(high))
    iso = _dial_iso(stops)
    limited_by: Limit = "ladder" if stops >= highest - _SAME else first.limit
    reason = f"above {iso_words(iso)} {first.words}"
    if limited_by == "ladder":
        reason = f"{iso_words(iso)}, the highest that was shot, is still good enough"
    return Ceiling(iso, interval, limited_by, reason, *_seen_at(rungs, iso))


def _accepted(rungs: Sequence[Rung], iso: float) -> Ceiling:
    if not rungs[0].iso * (1 - _SAME) <= iso <= rungs[-1].iso * (1 + _SAME):
        shot = f"{iso_words(rungs[0].iso)} to {iso_words(rungs[-1].iso)}"
        raise UsageError(f"{iso_words(iso)} lies outside the rungs that were shot", f"accept one from {shot}")
    grey, shadow = _seen_at(rungs, iso)
    worth = "" if grey is None else f"; it stands for a signal to noise of {grey:.3g} at mid-grey"
    reason = f"accepted by eye{worth}"
    return Ceiling(iso, (iso, iso), None, reason, grey, shadow, accepted=True)


def _seen_at(rungs: Sequence[Rung], iso: float) -> tuple[float | None, float | None]:
    """SNR at mid-grey and in the shadows at any ISO between the rungs, seen at the output size; None if not
    measured."""
    return (_at(rungs, lambda rung: rung.snr_grey_viewing, iso), _at(rungs, lambda rung: rung.snr_shadow_viewing, iso))


def _at(rungs: Sequence[Rung], value: _Value, iso: float) -> float | None:
    places, values, _ = _curve(rungs, value)
    if not values.size:
        return None
    return float(np.exp(interpolated(np.array([_stops(iso)]), places, np.log(values))[0]))


def _curve(rungs: Sequence[Rung], value: _Value) -> tuple[Floats, Floats, Floats]:
    """Stops above ISO 100, values and their uncertainties where there are any."""
    known = [(_stops(rung.iso), figure) for rung in rungs if (figure := value(rung)) is not None]
    values = np.maximum([figure.value for _, figure in known], 1e-6)
    return np.array([at for at, _ in known]), values, np.array([figure.uncertainty for _, figure in known])


def _reach(rungs: Sequence[Rung], criterion: Criterion, uncertainties: float) -> float:
    """Stops above ISO 100 up to which a criterion holds, the values moved by so many uncertainties; below the lowest
    rung where it holds nowhere, the highest rung where it holds everywhere or was not measured."""
    places, values, errors = _curve(rungs, criterion.value)
    highest = _stops(rungs[-1].iso)
    if not values.size:
        return highest
    moved = np.log(np.maximum(values + uncertainties * errors, 1e-9)) - math.log(criterion.least)
    if moved[0] < 0:
        return float(places[0]) - 1.0
    grid = np.unique(np.append(np.arange(places[0], places[-1], _GRID_STOPS), places))
    margin = interpolated(grid, places, moved)
    below = np.flatnonzero(margin < 0)
    if not below.size:
        return highest
    after = below[0]
    part = margin[after - 1] / (margin[after - 1] - margin[after])
    return float(grid[after - 1] + part * (grid[after] - grid[after - 1]))


def interpolated(at: Floats, places: Floats, values: Floats) -> Floats:
    """A smooth curve through points (places ascending), which overshoots nowhere.

    Piecewise cubic with limited slopes (Fritsch and Carlson, Monotone Piecewise Cubic Interpolation, 1980; slopes by
    the weighted harmonic mean of Fritsch and Butland, 1984).
    """
    if places.size == 1:
        return np.full_like(at, values[0])
    width, rise = np.diff(places), np.diff(values) / np.diff(places)
    slopes = np.concatenate(([rise[0]], _inner_slopes(width, rise), [rise[-1]]))
    index = np.clip(np.searchsorted(places, at, "right") - 1, 0, places.size - 2)
    h, t = width[index], (at - places[index]) / width[index]
    bent: Floats = (
        values[index] * (1 + 2 * t) * (1 - t) ** 2
        + h * slopes[index] * t * (1 - t) ** 2
        + values[index + 1] * t**2 * (3 - 2 * t)
        - h * slopes[index + 1] * t**2 * (1 - t)
    )
    return bent


def _inner_slopes(width: Floats, rise: Floats) -> Floats:
    first, second = 2 * width[1:] + width[:-1], width[1:] + 2 * width[:-1]
    product = rise[:-1] * rise[1:]
    below = np.where(product > 0, first * rise[1:] + second * rise[:-1], 1.0)
    slopes: Floats = np.where(product > 0, (first + second) * product / below, 0.0)
    return slopes


def _stops(iso: float) -> float:
    return math.log2(iso / BASE_ISO)


def _dial_iso(stops: float) -> float:
    """The highest third-stop of the dial not above a place in stops above ISO 100."""
    return Dial(Setting.ISO, Step.THIRD).value(math.floor(stops * 3 + _SAME * 100))
