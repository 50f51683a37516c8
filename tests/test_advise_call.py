"""Calls: what must hold for any plan, any settings and any reading."""

import math
from dataclasses import replace

import pytest
from advise_records import cases, plans, reading, readings, tones
from hypothesis import given, settings
from hypothesis import strategies as st

from tetherwatch.advise.call import make_call, predict
from tetherwatch.advise.records import Allowed, Call, Plan
from tetherwatch.exposure.dial import Dial, Step, parse_value, snap
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness
from tetherwatch.meter.records import Aim, Reading

Case = tuple[Plan, Settings, Reading]
NEAR = 1e-6
LIGHT_STEP = 0.1
any_case = settings(max_examples=80)


def reachable(plan: Plan, now: Settings, setting: Setting) -> list[float]:
    """Stops of every move a lever can make: the dial positions inside its range (counted out, not calculated)."""
    value = None if setting is Setting.LIGHT else now.get(setting)
    if value is None:
        step = LIGHT_STEP if setting is Setting.LIGHT else plan.step.stops
        return [step * count for count in range(-400, 401)]
    allowed, dial = plan.allowed(setting), Dial(setting, plan.step)
    low, high = (brightness(setting, end) for end in (allowed.darkest, allowed.brightest))
    stops = (brightness(setting, dial.value(position)) for position in dial.positions)
    return [there - brightness(setting, value) for there in stops if low - NEAR <= there <= high + NEAR]


def comes_closer(moves: list[float], needed: float) -> bool:
    """Whether any of these moves leaves less than none does."""
    return any(abs(needed - move) < abs(needed) - NEAR for move in moves)


def followed(plan: Plan, now: Settings, measured: Reading, call: Call) -> tuple[Settings, Reading]:
    """Settings and reading of the next frame, if the call is obeyed by its labels and the light stays as it is."""
    offset = measured.offset_stops + call.move_stops
    after = replace(measured, offset_stops=offset, level_stops=offset)
    if call.setting in (None, Setting.LIGHT) or call.to_label is None:
        return now, after
    assert call.setting is not None
    return now.with_value(call.setting, spelled(plan, call.setting, call.to_label)), after


def spelled(plan: Plan, setting: Setting, label: str) -> float:
    """What a label says, in exact dial values."""
    return snap(setting, parse_value(setting, label), plan.step)


@any_case
@given(cases())
def test_the_sign_of_a_move_is_its_kind(case: Case) -> None:
    """`brighter` is called for a dark picture and moves up, `darker` for a bright one and moves down, others not."""
    call = make_call(*case)
    offset = case[2].offset_stops
    assert (call.kind == "brighter") == (call.move_stops > 0)
    assert (call.kind == "darker") == (call.move_stops < 0)
    assert call.move_stops * offset <= 0
    assert (call.setting is None) == (call.move_stops == 0) == (call.predicted is None)


@any_case
@given(cases())
def test_a_call_stays_inside_the_plan(case: Case) -> None:
    """One setting moves, it is in the plan's order, not locked, and ends on a position of its dial inside its range."""
    plan, now, measured = case
    call = make_call(*case)
    if call.setting is None:
        return
    assert call.setting in plan.levers(-measured.offset_stops)
    if call.setting is Setting.LIGHT or now.get(call.setting) is None:
        assert (call.from_label, call.to_label) == (None, None)
        return
    allowed = plan.allowed(call.setting)
    assert call.from_label is not None and call.to_label is not None and not allowed.locked
    to = spelled(plan, call.setting, call.to_label)
    assert Dial(call.setting, plan.step).position(to) is not None
    here, low, there, high = (
        brightness(call.setting, value or math.nan)
        for value in (now.get(call.setting), allowed.darkest, to, allowed.brightest)
    )
    assert low - NEAR <= there <= high + NEAR
    assert there - here == pytest.approx(call.move_stops, abs=1e-9)


@any_case
@given(cases())
def test_the_first_lever_that_comes_closer_moves_as_near_as_it_can(case: Case) -> None:
    """Levers are spent in the plan's order; within one, no reachable position is nearer."""
    plan, now, measured = case
    needed = -measured.offset_stops
    call = make_call(*case)
    useful = [lever for lever in plan.levers(needed) if comes_closer(reachable(plan, now, lever), needed)]
    if abs(needed) <= plan.aim.tolerance_stops:
        assert call.kind == "hold"
    elif abs(needed) > plan.aim.tolerance_stops + NEAR:
        assert call.setting is (useful[0] if useful else None)
        if useful:
            nearest = min(abs(needed - move) for move in reachable(plan, now, useful[0]))
            assert abs(needed - call.move_stops) == pytest.approx(nearest, abs=1e-6)
            assert abs(needed - call.move_stops) < abs(needed)


@any_case
@given(cases())
def test_a_move_lands_within_half_a_step_or_at_a_limit(case: Case) -> None:
    """What a followed call leaves is less than half a step, or the lever stands at the last position it may take."""
    plan, now, measured = case
    call = make_call(*case)
    if call.setting is None:
        return
    step = LIGHT_STEP if call.setting is Setting.LIGHT else plan.step.stops
    moves = reachable(plan, now, call.setting)
    at_limit = min(abs(call.move_stops - end) for end in (min(moves), max(moves))) < NEAR
    assert at_limit or abs(measured.offset_stops + call.move_stops) <= step / 2 + NEAR


@any_case
@given(cases())
def test_blocked_means_that_no_lever_has_room(case: Case) -> None:
    """`blocked` gives all that is needed; while a lever has room, a picture that is off is moved or held."""
    plan, now, measured = case
    needed = -measured.offset_stops
    call = make_call(*case)
    room = any(move * needed > NEAR for lever in plan.levers(needed) for move in reachable(plan, now, lever))
    if call.kind == "blocked":
        assert not room
        assert call.left_stops == needed
        assert call.reason.endswith(("add light.", "take light away."))
    elif call.kind == "hold" and abs(needed) > plan.aim.tolerance_stops + NEAR:
        assert room
        assert not any(comes_closer(reachable(plan, now, lever), needed) for lever in plan.levers(needed))


@any_case
@given(cases())
def test_what_is_left_is_what_the_next_call_is_for(case: Case) -> None:
    """`left_stops` and the move make up what was needed; it is 0 exactly where the next frame will hold."""
    plan, now, measured = case
    call = make_call(*case)
    if call.setting is None:
        return
    following = make_call(plan, *followed(plan, now, measured, call))
    assert (call.left_stops == 0) == (following.kind == "hold")
    if call.left_stops:
        assert call.move_stops + call.left_stops == pytest.approx(-measured.offset_stops, abs=1e-9)
        named = {Setting.ISO: "ISO"}.get(following.setting, following.setting.value) if following.setting else None
        assert (f": {named} is next" in call.reason) == (following.setting is not None)


@any_case
@given(cases())
def test_the_prediction_is_offset_plus_move(case: Case) -> None:
    """Raw data are linear: what is predicted is the reading moved, and the clipping of the tones moved.

    A lever that acts on an unknown part of mixed light is predicted to do something between nothing and all.
    """
    call = make_call(*case)
    if call.predicted is None:
        return
    if case[0].light == "mixed" and call.setting in (Setting.SHUTTER, Setting.LIGHT):
        change = call.predicted.offset_stops - case[2].offset_stops
        assert change == pytest.approx(call.move_stops / 2)
        assert call.predicted.uncertainty_stops > 0
    else:
        moved = predict(case[2], call.move_stops)
        assert call.predicted.offset_stops == pytest.approx(case[2].offset_stops + call.move_stops)
        assert replace(call.predicted, offset_stops=moved.offset_stops) == moved


@any_case
@given(cases())
def test_clipping_beyond_the_limit_is_always_said(case: Case) -> None:
    """A call that makes the metered area clip beyond the plan's limit says how much; one that does not is silent."""
    plan, _, _ = case
    call = make_call(*case)
    if call.move_stops > 0 and call.predicted is not None:
        much = call.predicted.clipped_percent > plan.aim.clip_limit_percent
        assert (f"{call.predicted.clipped_percent:.1f} % of the metered area will clip" in call.reason) == much
    else:
        assert "will clip" not in call.reason


@settings(max_examples=80)
@given(cases())
def test_following_calls_comes_to_rest(case: Case) -> None:
    """On unchanged light each call comes closer, no setting is moved back, and soon there is nothing left to move."""
    plan, now, measured = case
    directions: dict[Setting, str] = {}
    for _ in range(2 * len(Setting) + 1):
        call = make_call(plan, now, measured)
        if call.setting is None:
            assert call.kind in ("hold", "blocked")
            return
        assert directions.setdefault(call.setting, call.kind) == call.kind
        before = abs(measured.offset_stops)
        now, measured = followed(plan, now, measured, call)
        assert abs(measured.offset_stops) < before
    pytest.fail("still calling")


@any_case
@given(plans(), readings(), st.data())
def test_a_setting_outside_its_range_is_named_first(plan: Plan, measured: Reading, data: st.DataObject) -> None:
    """A camera set outside the plan gets `check` with the way back to the nearest end, whatever the reading."""
    setting = data.draw(st.sampled_from(CAMERA_SETTINGS))
    allowed, dial = plan.allowed(setting), Dial(setting, plan.step)
    value = dial.value(data.draw(st.sampled_from(dial.positions)))
    here, low, high = (brightness(setting, stop) for stop in (value, allowed.darkest, allowed.brightest))
    call = make_call(plan, Settings().with_value(setting, value), measured)
    if low - NEAR <= here <= high + NEAR:
        assert call.kind != "check"
        return
    assert (call.kind, call.setting) == ("check", setting)
    assert "set it back" in call.reason
    assert call.move_stops == pytest.approx(high - here if here > high else low - here)
    assert call.predicted is not None
    brighter = call.predicted.offset_stops > measured.offset_stops
    if brighter and call.predicted.clipped_percent > plan.aim.clip_limit_percent:
        assert "will clip" in call.reason


def coarse(step: Step, iso: Allowed, **orders: tuple[Setting, ...]) -> Plan:
    """A plan in which only ISO has a range."""
    held = (Allowed(Setting.SHUTTER, 2**-8, 2**-8, 2**-8), Allowed(Setting.APERTURE, 4.0, 4.0, 4.0))
    made = Plan("Coarse", "coarse", "continuous", step, Aim("card"), *held, iso, (), (), sync_s=2**-8)
    return replace(made, **orders)  # type: ignore[arg-type]


ISO_100_TO_800 = Allowed(Setting.ISO, 100.0, 800.0, 100.0)


def test_a_move_past_the_aim_looks_at_the_other_order() -> None:
    """A lever that is no lever the other way may overshoot: light, which is, takes the rest back."""
    plan = coarse(Step.FULL, ISO_100_TO_800, brighter=(Setting.ISO,), darker=(Setting.LIGHT,))
    call = make_call(plan, Settings(2**-8, 4.0, 100.0), reading(-1.6))
    assert (call.to_label, call.move_stops, call.left_stops) == ("400", 2.0, pytest.approx(-0.4))
    assert call.reason == "The card is 1.60 stops too dark; this leaves it 0.40 stops too bright: light is next."


def test_a_dial_too_coarse_holds() -> None:
    """Off by less than half a step there is nothing to move, and the call says why."""
    plan = coarse(Step.FULL, ISO_100_TO_800, brighter=(Setting.ISO,), darker=(Setting.ISO,))
    call = make_call(plan, Settings(2**-8, 4.0, 200.0), reading(-0.45))
    assert call.kind == "hold"
    assert call.reason == "The card is 0.45 stops too dark, and the dial's steps come no closer."


def test_a_limit_between_dial_positions_blocks() -> None:
    """Where the last position inside the range is reached, the rest of the range is no room."""
    half = Dial(Setting.ISO, Step.HALF)
    plan = coarse(Step.HALF, Allowed(Setting.ISO, 100.0, 100 * 2 ** (2 / 3), 100.0), brighter=(Setting.ISO,))
    call = make_call(plan, Settings(2**-8, 4.0, half.value(1)), reading(-3.0))
    assert (call.kind, call.left_stops) == ("blocked", 3.0)


@pytest.mark.parametrize(("offset", "kind"), [(0.17, "hold"), (-0.17, "hold"), (0.18, "darker"), (-0.18, "brighter")])
def test_the_tolerance_itself_is_inside(offset: float, kind: str) -> None:
    """A picture exactly at the tolerance is right; a hundredth beyond it moves one step."""
    plan = coarse(Step.THIRD, ISO_100_TO_800, brighter=(Setting.ISO,), darker=(Setting.ISO,))
    assert make_call(plan, Settings(2**-8, 4.0, 200.0), reading(offset)).kind == kind


def test_a_right_picture_that_clips_says_so() -> None:
    """`hold` does not hide that the area is clipped beyond the limit."""
    plan = coarse(Step.THIRD, ISO_100_TO_800, brighter=(Setting.ISO,), darker=(Setting.ISO,))
    call = make_call(plan, Settings(), reading(0.0, [tones(clipped=20, below=980)]))
    assert call.kind == "hold"
    assert call.reason == "The card is right to within 0.17 stops; 2.0 % of the metered area is clipped (limit 0.5 %)."
