"""Locks of this session on top of the plan."""

import pytest
from advise_records import GOOD, cases, offsets, plans, reading
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.advise.call import make_call
from tetherwatch.advise.locks import locked_at, unlocked
from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Plan
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.meter.records import Reading

PLAN = parse_plan(GOOD, "mine.toml", 6400.0)
camera_settings = st.sampled_from(CAMERA_SETTINGS)


def test_a_locked_setting_is_held_where_it_stands() -> None:
    """The range becomes one value and the setting leaves both orders; nothing else changes."""
    plan = locked_at(PLAN, Setting.ISO, 400.0)
    assert plan.iso.locked and plan.iso.start == 400.0
    assert (plan.brighter, plan.darker) == ((Setting.SHUTTER,), (Setting.SHUTTER, Setting.LIGHT))
    assert (plan.shutter, plan.aperture, plan.aim) == (PLAN.shutter, PLAN.aperture, PLAN.aim)


@given(cases(), camera_settings, offsets)
def test_a_locked_setting_never_moves(case: tuple[Plan, Settings, Reading], setting: Setting, offset: float) -> None:
    """Whatever the reading; not even where the capture does not say the setting."""
    plan, now, _ = case
    value = now.get(setting) or plan.allowed(setting).start
    call = make_call(locked_at(plan, setting, value), now, reading(offset))
    assert call.setting is not setting
    assert call.kind != "check"


def test_with_everything_locked_only_light_can_give() -> None:
    """An empty order blocks and says so."""
    plan = PLAN
    for setting, value in zip(CAMERA_SETTINGS, (2.0**-8, 2.0**1.5, 400.0), strict=True):
        plan = locked_at(plan, setting, value)
    call = make_call(plan, Settings(2.0**-8, 2.0**1.5, 400.0), reading(-1.0))
    assert (call.kind, call.left_stops) == ("blocked", 1.0)
    assert call.reason == (
        "The card is 1.00 stop too dark, and no setting of the plan has room left: "
        "unlock shutter or aperture or ISO, or add light."
    )


def test_an_unlocked_setting_is_spent_last_but_before_light() -> None:
    """The plan's own levers keep their order."""
    plan = unlocked(PLAN, Setting.APERTURE)
    dial = Dial(Setting.APERTURE, Step.THIRD)
    assert (plan.aperture.darkest, plan.aperture.brightest) == (dial.value(-10 * 3), dial.value(0))
    assert plan.brighter == (Setting.SHUTTER, Setting.ISO, Setting.APERTURE)
    assert plan.darker == (Setting.ISO, Setting.SHUTTER, Setting.APERTURE, Setting.LIGHT)


@pytest.mark.parametrize(("held", "ends"), [(200, (100.0, 6400.0)), (50, (50.0, 6400.0)), (12800, (100.0, 12800.0))])
def test_an_unlocked_iso_keeps_to_base_and_ceiling(held: int, ends: tuple[float, float]) -> None:
    """Below its base ISO only darkens the file, and the ceiling is the user's word; where it was held it may stay."""
    text = GOOD.replace("start = 100", f"start = {held}").replace('[100, "ceiling"]', f"[{held}, {held}]")
    text = text.replace('["shutter", "iso"]', '["shutter"]').replace('["iso", "shutter", "light"]', '["shutter"]')
    plan = unlocked(parse_plan(text, "mine.toml", 6400.0), Setting.ISO)
    assert (plan.iso.darkest, plan.iso.brightest) == ends


@pytest.mark.parametrize(
    ("light", "fastest", "lever"), [("continuous", 2.0**-13, True), ("mixed", 2.0**-8, True), ("flash", 2.0**-8, False)]
)
def test_an_unlocked_shutter_keeps_to_the_sync_speed(light: str, fastest: float, lever: bool) -> None:
    """With flash in the light no time is shorter than sync; with flash alone the shutter is no lever."""
    text = GOOD.replace("continuous", light).replace('"1/4000"', '"1/250"')
    text = text.replace('["shutter", "iso"]', '["iso"]').replace('["iso", "shutter", "light"]', '["iso", "light"]')
    plan = unlocked(parse_plan(text, "mine.toml"), Setting.SHUTTER)
    assert (plan.shutter.darkest, plan.shutter.brightest) == (fastest, 32.0)
    assert (Setting.SHUTTER in plan.brighter, Setting.SHUTTER in plan.darker) == (lever, lever)


@given(plans(), camera_settings)
def test_unlocking_keeps_each_lever_once(plan: Plan, setting: Setting) -> None:
    """No lever is named twice and none of the others is lost; light stays last."""
    free = unlocked(plan, setting)
    for before, after in ((plan.brighter, free.brighter), (plan.darker, free.darker)):
        assert len(set(after)) == len(after)
        assert set(after) - {setting} == set(before) - {setting}
        if setting is not Setting.SHUTTER or plan.light != "flash":
            assert after.index(setting) >= len(set(after) - {Setting.LIGHT}) - 1


@given(plans(), camera_settings)
def test_an_unlocked_range_holds_the_locked_one(plan: Plan, setting: Setting) -> None:
    """Unlocking never makes a camera stand outside its plan that stood inside it."""
    value = plan.allowed(setting).brightest
    free = unlocked(locked_at(plan, setting, value), setting)
    call = make_call(free, Settings().with_value(setting, value), reading(0.0))
    assert call.kind == "hold"
