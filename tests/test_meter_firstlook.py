"""What earlier previews teach of the next one."""

import math
from dataclasses import replace

import numpy as np
import pytest
import worker_stubs
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.meter.firstlook import KEPT_LOOKS, Look, corrected, with_look
from tetherwatch.meter.records import Aim, Reading

STOPS = st.floats(-3.0, 1.5)
LOOKS = st.lists(st.builds(Look, STOPS, STOPS), max_size=KEPT_LOOKS)


def reading(level: float, **changes: object) -> Reading:
    """A reading of the whole frame at a level, against mid-grey."""
    plain = worker_stubs.read_of(Aim()).reading
    return replace(plain, level_stops=level, offset_stops=level, light_value=7.0 + level, **changes)  # type: ignore[arg-type]


def rendered(exact: float, contrast: float, shift: float, shoulder: float) -> float:
    """The level of a camera's own rendering: contrast around grey, and highlights that are held back."""
    return shift + contrast * exact - shoulder * math.log1p(math.exp(2 * (exact - 1))) / 2


def test_ten_frames_bring_a_first_look_within_a_tenth_of_a_stop() -> None:
    """400 renderings of any contrast, shift and shoulder, frames at any level: 19 of 20 lie closer than 0.1 stop."""
    dice = np.random.default_rng(11)
    misses, inside = [], []
    for _ in range(400):
        rendering = dice.uniform(0.9, 1.4), dice.normal(0.0, 0.4), dice.uniform(0.0, 0.6)
        looks: tuple[Look, ...] = ()
        for exact in dice.uniform(-2.0, 1.2, 10):
            looks = with_look(looks, reading(rendered(exact, *rendering) + dice.normal(0, 0.02)), reading(exact))
        exact = dice.uniform(-2.0, 1.2)
        first = corrected(reading(rendered(exact, *rendering) + dice.normal(0, 0.02)), looks)
        misses.append(abs(first.level_stops - exact))
        inside.append(misses[-1] <= 2 * first.uncertainty_stops)
    assert np.percentile(misses, 95) <= 0.10
    assert np.median(misses) <= 0.03
    assert np.mean(inside) >= 0.95


@given(LOOKS, STOPS)
def test_a_first_look_is_marked_and_its_parts_agree(looks: list[Look], level: float) -> None:
    """Level, offset and light value are corrected alike, and the uncertainty is never less than the scatter."""
    before = reading(level)
    after = corrected(before, looks)
    shift = after.level_stops - before.level_stops
    assert after.provisional
    assert after.offset_stops - before.offset_stops == pytest.approx(shift)
    assert after.light_value - before.light_value == pytest.approx(shift)  # type: ignore[operator]
    assert 0.02 < after.uncertainty_stops < 3.0


def test_without_earlier_frames_nothing_is_corrected_and_little_is_claimed() -> None:
    """The uncertainty is that of cameras in general: more than any tolerance."""
    first = corrected(reading(-1.0), ())
    assert first.level_stops == -1.0
    assert first.uncertainty_stops > 0.5


def test_one_frame_that_does_not_fit_does_not_matter() -> None:
    """A flash between preview and raw, a preview of another picture: it is outvoted."""
    looks = [Look(level - 0.5, level) for level in (-1.0, -0.5, 0.0, 0.5, 0.2, -0.2)]
    odd = [*looks[:3], Look(0.0, -3.0), *looks[3:]]
    assert corrected(reading(0.0), odd).level_stops == pytest.approx(0.5, abs=0.06)


def test_another_rendering_is_learned_within_a_few_frames() -> None:
    """Recent frames count more, so a camera whose style was changed without saying so is followed."""
    old = [Look(level - 0.5, level) for level in np.linspace(-1, 1, 10)]
    new = [Look(level + 0.3, level) for level in np.linspace(-1, 1, 16)]
    assert corrected(reading(0.0), [*old, *new]).level_stops == pytest.approx(-0.3, abs=0.1)


@pytest.mark.parametrize("bound", [{"area_clipped_percent": 3.0}, {"crushed_percent": 80.0}])
def test_what_is_only_a_bound_teaches_nothing(bound: dict[str, float]) -> None:
    """A clipped or black area says nothing of the curve, in either reading."""
    assert with_look((), reading(0.0, **bound), reading(0.5)) == ()
    assert with_look((), reading(0.0), reading(0.5, **bound)) == ()


def test_looks_are_bounded() -> None:
    """The oldest are forgotten."""
    looks: tuple[Look, ...] = ()
    for number in range(KEPT_LOOKS + 5):
        looks = with_look(looks, reading(number / 100), reading(0.0))
    assert len(looks) == KEPT_LOOKS
    assert looks[0].preview_stops == pytest.approx(0.05)
