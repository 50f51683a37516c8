"""The slope of a slow drift against its truth."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.setups.drift import PERIOD_S, drift_of, slope_of
from tetherwatch.setups.records import LightPoint


def points(slope: float, count: int = 60, scatter: float = 0.04, views: int = 1, seed: int = 1) -> list[LightPoint]:
    """Frames every ten seconds in light that drifts by `slope` stops in ten minutes; each view has its own height."""
    rng = random.Random(seed)
    made = []
    for number in range(count):
        view = number * views // count
        light = 7.0 + 1.3 * view + slope * number * 10 / PERIOD_S + rng.gauss(0, scatter)
        made.append(LightPoint(10.0 * number, light, view))
    return made


@given(st.floats(0.8, 4), st.sampled_from([-1, 1]), st.integers(0, 50))
def test_a_slope_is_found_within_a_tenth(slope: float, sign: int, seed: int) -> None:
    """Whatever its direction."""
    found = drift_of(tuple(points(sign * slope, seed=seed)), 0.0, 0.17)
    assert found is not None
    assert found.slope == pytest.approx(sign * slope, rel=0.1)
    assert found.interval[0] < found.slope < found.interval[1]


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    """In at least 9 of 10 of many shoots (95 % are meant)."""
    held = 0
    for seed in range(200):
        found = slope_of(tuple(points(1.0, count=30, seed=seed)))
        assert found is not None
        held += abs(found[0] - 1.0) <= 2.1 * found[1]
    assert held >= 180


def test_frames_off_the_line_count_little() -> None:
    """A few misread frames tilt nothing."""
    made = points(1.0)
    for place in (7, 20, 41, 55):
        made[place] = LightPoint(made[place].time_s, made[place].light_value - 2, 0)
    found = slope_of(tuple(made))
    assert found is not None
    assert found[0] == pytest.approx(1.0, rel=0.1)


def test_other_views_are_no_drift() -> None:
    """A step between two views tells nothing of the light."""
    found = slope_of(tuple(points(1.0, views=3)))
    assert found is not None
    assert found[0] == pytest.approx(1.0, rel=0.15)


def test_steady_light_has_no_drift() -> None:
    """Scatter is not told as one, nor are a few frames."""
    told = sum(drift_of(tuple(points(0.0, seed=seed)), 0.0, 0.17) is not None for seed in range(50))
    assert told <= 1
    assert drift_of(tuple(points(2.0, count=7)), 0.0, 0.17) is None


def test_when_the_picture_leaves_the_tolerance() -> None:
    """The room on the side it drifts to, at its pace; none where it is outside."""
    found = drift_of(tuple(points(-1.0, scatter=0.0)), 0.07, 0.17)
    assert found is not None
    assert found.leaves_in_s == pytest.approx(0.24 * PERIOD_S, rel=0.01)
    gone = drift_of(tuple(points(-1.0, scatter=0.0)), -0.2, 0.17)
    assert gone is not None
    assert gone.leaves_in_s == 0


def test_points_without_time_between_them_have_no_slope() -> None:
    """Nor do views of one frame each."""
    assert slope_of(tuple(LightPoint(5.0, 7.0, 0) for _ in range(20))) is None
    assert slope_of(tuple(LightPoint(5.0 * each, 7.0, each) for each in range(20))) is None
