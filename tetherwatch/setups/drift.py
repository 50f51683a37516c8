"""Slow drift: how fast the light of a setup changes, how well that is known, and when the picture leaves tolerance.

The slope is that of a straight line through the light values of frames. Each view has a height of its own, so that
clothes and framing tell nothing of the light. Frames off the line count less or not at all: iteratively reweighted
least squares with Tukey's biweight (Beaton and Tukey, Technometrics 16, 1974), started from the median slope of all
pairs (Theil 1950, Sen 1968).
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tetherwatch.setups.records import Drift, LightPoint

PERIOD_S = 600.0
"""A slope is stated for so many seconds."""

_LEAST_POINTS = 8
_LEAST_SIGMA = 0.01
"""Stops: what a reading repeats to at best."""

_BIWEIGHT = 4.685
"""Tuning constant, in standard deviations: 95 % efficient where all errors are normal."""

_ROUNDS = 8
_INTERVAL = 3.2
"""Standard errors to each side that hold the truth of 95 % of 400 simulated drifts. They are more than 1.96, as a step
forward moves the light values of all frames after it alike."""

_KNOWN_TIMES = 1.3
"""A drift is told when its slope is so many times the half-width of its interval."""

_LEAST_SLOPE = 0.05
"""Stops per 10 minutes that nobody need be told of."""

Floats = NDArray[np.float64]


def drift_of(points: tuple[LightPoint, ...], offset_stops: float, tolerance_stops: float) -> Drift | None:
    """The drift that these frames show; None where they show none, or too little of it.

    `offset_stops` is that of the last frame against its aim, outside which it has no room.
    """
    fitted = slope_of(points)
    if fitted is None:
        return None
    slope, error = fitted
    half = _INTERVAL * error
    if abs(slope) < max(_KNOWN_TIMES * half, _LEAST_SLOPE):
        return None
    room = tolerance_stops - np.sign(slope) * offset_stops
    return Drift(slope, (slope - half, slope + half), max(float(room / abs(slope)), 0.0) * PERIOD_S)


@lru_cache(maxsize=64)  # the last frames are joined to their setup anew with each that comes
def slope_of(points: tuple[LightPoint, ...]) -> tuple[float, float] | None:
    """Slope in stops per `PERIOD_S` with its standard error; None for too few points or none apart in time."""
    if len(points) < _LEAST_POINTS:
        return None
    times = np.array([point.time_s for point in points]) / PERIOD_S
    light = np.array([point.light_value for point in points])
    views = np.array([point.view for point in points])
    slope = _median_slope(times - times[0], light, views)
    return None if slope is None else _reweighted(times - times[0], light, views, slope)


def _median_slope(times: Floats, light: Floats, views: NDArray[np.intp]) -> float | None:
    """Median of the slopes of all pairs of one view, each weighted by how far apart its frames are."""
    first, second = np.triu_indices(times.size, 1)
    apart = times[second] - times[first]
    pairs = (views[first] == views[second]) & (apart > 0)
    if not pairs.any():
        return None
    slopes = (light[second] - light[first])[pairs] / apart[pairs]
    order = np.argsort(slopes)
    weights = np.cumsum(apart[pairs][order])
    return float(slopes[order][np.searchsorted(weights, weights[-1] / 2)])


def _reweighted(times: Floats, light: Floats, views: NDArray[np.intp], slope: float) -> tuple[float, float] | None:
    weights = np.ones(times.size)
    for each in range(_ROUNDS):
        off = _centred(light - slope * times, views, weights, median=each == 0)
        sigma = max(1.4826 * float(np.median(np.abs(off))), _LEAST_SIGMA)
        weights = np.square(np.maximum(1 - np.square(off / (_BIWEIGHT * sigma)), 0.0))
        t, y = (_centred(values, views, weights) for values in (times, light))
        spread = float(weights @ np.square(t))
        if spread <= 0:
            return None
        slope = float(weights @ (t * y)) / spread
    free = max(float(weights.sum()) - np.unique(views).size - 1, 1.0)
    off = _centred(light - slope * times, views, weights)
    error = np.sqrt(max(float(weights @ np.square(off)) / free, _LEAST_SIGMA**2) / spread)
    return slope, float(error)


def _centred(values: Floats, views: NDArray[np.intp], weights: Floats, median: bool = False) -> Floats:
    """Values less the middle of their view."""
    centred = np.empty_like(values)
    for view in np.unique(views):
        here = views == view
        total = float(weights[here].sum())
        middle = np.median(values[here]) if median or not total else float(weights[here] @ values[here]) / total
        centred[here] = values[here] - middle
    return centred
