"""Levers: the nearest dial position, room, and what would give more."""

from dataclasses import replace

import pytest
from advise_records import GOOD, cases
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.advise.levers import Move, best_move, first_move, has_room, room, rounded_move, worth_unlocking
from tetherwatch.advise.locks import unlocked
from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Allowed, Knowledge, Plan
from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.meter.records import Reading

ISO = Allowed(Setting.ISO, 100.0, 3200.0, 100.0)
NOW = Settings(2.0**-8, 2.0**1.5, 400.0)
PLAN = parse_plan(GOOD, "mine.toml", 3200.0)


@pytest.mark.parametrize(
    ("value", "darker", "brighter", "outside"),
    [(100.0, 0.0, 5.0, False), (400.0, 2.0, 3.0, False), (6400.0, 6.0, -1.0, True), (50.0, -1.0, 6.0, True)],
)
def test_room_is_counted_both_ways(value: float, darker: float, brighter: float, outside: bool) -> None:
    """Stops to either end of the range; negative on the side where a setting stands outside."""
    found = room(ISO, value)
    assert (found.darker, found.brighter, found.outside) == (darker, brighter, outside)


def test_room_runs_the_other_way_for_f_numbers() -> None:
    """A larger f-number is darker."""
    found = room(Allowed(Setting.APERTURE, 8.0, 2.0, 4.0), 4.0)
    assert (found.darker, found.brighter) == (2.0, 2.0)


@pytest.mark.parametrize(
    ("step", "needed", "to", "stops"),
    [
        (Step.THIRD, 1.0, 800.0, 1.0),
        (Step.THIRD, 0.5, 503.97, 1 / 3),
        (Step.THIRD, -9.0, 100.0, -2.0),
        (Step.FULL, 1.5, 800.0, 1.0),
        (Step.HALF, -0.75, 282.84, -0.5),
        (Step.HALF, 0.3, 565.69, 0.5),
    ],
)
def test_the_nearest_position_is_taken(step: Step, needed: float, to: float, stops: float) -> None:
    """The position inside the range that comes closest; halfway between two, the smaller move."""
    move = best_move(replace(PLAN, step=step), ISO, 400.0, needed)
    assert move is not None
    assert (move.value, move.stops) == (pytest.approx(to, rel=1e-4), pytest.approx(stops))


@pytest.mark.parametrize(("value", "needed"), [(400.0, 0.16), (400.0, 0.0), (3200.0, 2.0), (100.0, -2.0)])
def test_no_move_where_none_comes_closer(value: float, needed: float) -> None:
    """Less than half a step, and beyond a limit, a setting stays."""
    assert best_move(PLAN, ISO, value, needed) is None


def test_a_setting_between_positions_moves_onto_the_dial() -> None:
    """From a third-stop value a full-stop camera moves to its own positions."""
    move = best_move(replace(PLAN, step=Step.FULL), ISO, 100 * 2 ** (1 / 3), 1.0)
    assert move is not None
    assert (move.value, move.stops) == (200.0, pytest.approx(2 / 3))


@pytest.mark.parametrize(
    ("setting", "needed", "stops"),
    [
        (Setting.LIGHT, 1.234, 1.2),
        (Setting.LIGHT, -0.05, None),
        (Setting.LIGHT, -0.06, -0.1),
        (Setting.ISO, 1.5, 1.0),
        (Setting.ISO, -1.5, -1.0),
        (Setting.ISO, 0.5, None),
    ],
)
def test_what_has_no_known_value_moves_in_whole_steps(setting: Setting, needed: float, stops: float | None) -> None:
    """Light in tenths, and a setting the capture hides in dial steps; halfway between two, the smaller move."""
    move = rounded_move(replace(PLAN, step=Step.FULL), setting, needed)
    assert (move and move.stops) == (None if stops is None else pytest.approx(stops))


def test_a_move_is_applied_to_its_setting_only() -> None:
    """Light and unknown settings leave the camera's settings as they are."""
    known = Knowledge(power=0.25)
    changed = Settings(2.0**-8, 2.0**1.5, 800.0)
    assert Move(Setting.ISO, 800.0, 1.0, 1.0).applied(NOW, known) == (changed, known)
    assert Move(Setting.LIGHT, None, 1.0, 1.0).applied(NOW, known) == (NOW, known)
    assert Move(Setting.LIGHT, 0.5, 1.0, 1.0).applied(NOW, known) == (NOW, Knowledge(power=0.5))


def test_levers_are_tried_in_order() -> None:
    """The first one that comes closer moves; one without room is passed over."""
    assert first_move(PLAN, NOW, 1.0) == Move(Setting.ISO, 800.0, 1.0, 1.0)
    assert first_move(PLAN, NOW, -1.0) == Move(Setting.ISO, 200.0, -1.0, -1.0)
    at_base = NOW.with_value(Setting.ISO, 100.0)
    assert first_move(PLAN, at_base, -1.0) == Move(Setting.SHUTTER, 2.0**-9, -1.0, -1.0)
    assert first_move(PLAN, NOW.with_value(Setting.ISO, 3200.0), 1.0) is None


def test_an_unknown_setting_counts_as_having_room() -> None:
    """Its limit cannot be checked, so it is not ruled out."""
    known = NOW.with_value(Setting.ISO, 3200.0)
    assert not has_room(PLAN, known, 1.0)
    assert has_room(PLAN, Settings(2.0**-8, 2.0**1.5, None), 1.0)
    assert first_move(PLAN, Settings(2.0**-8, 2.0**1.5, None), 1.0) == Move(Setting.ISO, None, 1.0, 1.0)


@given(cases(), st.sampled_from([-1.0, 1.0]))
def test_only_a_lock_that_would_help_is_worth_unlocking(case: tuple[Plan, Settings, Reading], needed: float) -> None:
    """Each setting named is locked, and once it is unlocked the plan has room that way."""
    plan, now, _ = case
    for setting in worth_unlocking(plan, now, needed):
        assert plan.allowed(setting).locked
        assert has_room(unlocked(plan, setting), now, needed)


@pytest.mark.parametrize(
    ("light", "needed", "useful"),
    [
        ("continuous", 1.0, {"shutter", "aperture", "iso"}),
        ("continuous", -1.0, {"shutter", "aperture"}),
        ("mixed", -1.0, {"aperture"}),
        ("mixed", 1.0, {"shutter", "aperture", "iso"}),
        ("flash", 1.0, {"aperture", "iso"}),
    ],
)
def test_unlocking_is_offered_where_it_helps(light: str, needed: float, useful: set[str]) -> None:
    """Not ISO below its base, not a shutter beyond sync speed, and under flash no shutter at all."""
    held = GOOD.replace('"1/4000"', '"1/250"').replace('"ceiling"', "100").replace("continuous", light)
    held = held.replace('["shutter", "iso"]', '["light"]').replace('["iso", "shutter", "light"]', '["light"]')
    now = Settings(2.0**-8, 2.0**1.5, 100.0)
    found = worth_unlocking(parse_plan(held, "mine.toml", 3200.0), now, needed)
    assert {setting.value for setting in found} == useful
    assert list(found) == [setting for setting in CAMERA_SETTINGS if setting in found]
