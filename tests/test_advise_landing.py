"""Landings: what a call promised against the frame that followed it, and the score of the last ones."""

from dataclasses import replace
from statistics import median

import pytest
from advise_records import GOOD, offsets, reading
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.advise.call import make_call
from tetherwatch.advise.landing import FELL_SHORT_TIMES, NO_LANDINGS, Landing, Score, landed, odd
from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Call, Plan, Predicted, Shot
from tetherwatch.exposure.dial import Dial, Step, label
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness
from tetherwatch.frame.records import Metadata

PLAN = parse_plan(GOOD, "mine.toml", 3200.0)
SETTINGS = Settings(2.0**-8, 2.0**1.5, 400.0)
NEAR = 1e-9
stops = st.floats(-6, 6).filter(lambda value: abs(value) > 0.01)


def shot(level: float, settings: Settings = SETTINGS, light: float | None = 7.0, bias: float | None = None) -> Shot:
    """A frame whose card is `level` stops from mid-grey."""
    return Shot(Metadata(settings=settings, bias_stops=bias), reading(level, light_value=light), 0.0)


def asking(setting: Setting, to: str | None, move: float, offset: float) -> Call:
    """A call for one move that is to act in full."""
    return Call("brighter", "Too dark.", setting, "400", to, move, 0.0, Predicted(offset + move, 0.0))


@given(
    setting=st.sampled_from(CAMERA_SETTINGS),
    step=st.sampled_from(Step),
    ends=st.tuples(st.floats(0, 1), st.floats(0, 1)),
    before=offsets,
    came=st.floats(-8, 8),
)
def test_any_move_on_any_dial_lands(
    setting: Setting, step: Step, ends: tuple[float, float], before: float, came: float
) -> None:
    """Once the setting stands where it was asked to, the error is what came less what was promised."""
    dial = Dial(setting, step)
    here, there = (dial.value(dial.positions[round(part * (len(dial.positions) - 1))]) for part in ends)
    move = brightness(setting, there) - brightness(setting, here)
    asked = asking(setting, label(setting, there, step), move, before)
    start = SETTINGS.with_value(setting, here)
    found = landed(
        asked, shot(before, start), shot(before + came, start.with_value(setting, there)), replace(PLAN, step=step)
    )
    if here == there:
        assert found is None
        return
    assert found is not None and found.setting is setting
    assert found.predicted_offset_stops == pytest.approx(before + move, abs=NEAR)
    assert found.offset_stops == pytest.approx(before + came, abs=NEAR)
    assert found.error_stops == pytest.approx(came - move, abs=NEAR)
    assert found.delivered == pytest.approx(came / move, abs=NEAR)


def test_a_real_call_that_is_followed_lands() -> None:
    """The call for a frame one stop too dark, and the frame it promised: nothing is left over."""
    before = shot(-1.0)
    asked = make_call(PLAN, SETTINGS, before.reading)
    assert (asked.setting, asked.to_label) == (Setting.ISO, "800")
    found = landed(asked, before, shot(0.25, SETTINGS.with_value(Setting.ISO, 800.0)), PLAN)
    assert found == Landing(Setting.ISO, 1.0, 0.0, 0.25, 0.25, 1.25)


@pytest.mark.parametrize(
    "after",
    [
        SETTINGS,
        SETTINGS.with_value(Setting.ISO, 640.0),
        SETTINGS.with_value(Setting.ISO, 800.0).with_value(Setting.SHUTTER, 2.0**-9),
        Settings(2.0**-8, None, 800.0),
        Settings(2.0**-8, 2.0**1.5, None),
    ],
    ids=["unmoved", "elsewhere", "another too", "aperture unknown", "unknown"],
)
def test_what_is_not_the_call_alone_is_no_landing(after: Settings) -> None:
    """Only the frame in which the asked setting, and nothing else, stands as asked is compared."""
    assert landed(asking(Setting.ISO, "800", 1.0, -1.0), shot(-1.0), shot(0.0, after), PLAN) is None


def test_an_old_lens_is_no_obstacle() -> None:
    """An aperture that neither frame knows is taken to stand still."""
    before = Settings(2.0**-8, None, 400.0)
    after = shot(0.0, before.with_value(Setting.ISO, 800.0), None)
    assert landed(asking(Setting.ISO, "800", 1.0, -1.0), shot(-1.0, before, None), after, PLAN) is not None


def test_calls_without_a_move_cannot_land() -> None:
    """Hold, check and blocked ask for nothing; a hidden value leaves nothing to compare with."""
    after = shot(0.0, SETTINGS.with_value(Setting.ISO, 800.0))
    for call in (Call("hold", "Right."), Call("check", "Again."), Call("blocked", "No room.", left_stops=1.0)):
        assert landed(call, shot(-1.0), after, PLAN) is None
    assert landed(asking(Setting.ISO, None, 1.0, -1.0), shot(-1.0), after, PLAN) is None


def test_frames_metered_otherwise_are_not_compared() -> None:
    """A preview against a raw, or a face against the frame, would measure the metering."""
    after = shot(0.0, SETTINGS.with_value(Setting.ISO, 800.0))
    asked = asking(Setting.ISO, "800", 1.0, -1.0)
    assert landed(asked, shot(-1.0), after, PLAN) is not None
    for changes in ({"source": "jpeg"}, {"area": "frame"}, {"provisional": True}):
        other = replace(after, reading=replace(after.reading, **changes))
        assert landed(asked, shot(-1.0), other, PLAN) is None


@given(asked=stops, came=st.floats(-9, 9))
def test_light_lands_once_half_of_it_came(asked: float, came: float) -> None:
    """Light has no dial to read: it landed if it moved the right way by half of what was asked or more."""
    call = asking(Setting.LIGHT, None, asked, -asked)
    found = landed(call, shot(-asked, light=7.0), shot(-asked + came, light=7.0 + came), PLAN)
    if abs(came / asked - 0.5) > 1e-6:
        assert (found is not None) == (came / asked > 0.5)
    if found is not None:
        assert found.delivered == pytest.approx(came / asked)
        assert found.error_stops == pytest.approx(came - asked, abs=NEAR)


@pytest.mark.parametrize(
    ("after", "light"),
    [
        (SETTINGS.with_value(Setting.ISO, 800.0), 8.0),
        (Settings(2.0**-9, 2.0**1.5, 800.0), 8.0),
        (Settings(2.0**-8, None, 400.0), None),
    ],
    ids=["a setting too", "settings that cancel", "not known any more"],
)
def test_light_and_settings_moved_together_are_no_landing(after: Settings, light: float | None) -> None:
    """What came of the light cannot be told then."""
    assert landed(asking(Setting.LIGHT, None, 1.0, -1.0), shot(-1.0), shot(0.0, after, light), PLAN) is None


@pytest.mark.parametrize(
    ("before", "after", "lands"), [(0.0, 1.0, True), (0.0, 0.0, False), (-1.0, 0.0, True), (None, 1.0, False)]
)
def test_compensation_lands_when_it_moved_as_asked(before: float | None, after: float, lands: bool) -> None:
    """The camera's settings follow compensation, so they are not asked to stand still."""
    call = asking(Setting.COMPENSATION, "+1.0", 1.0, -1.0)
    follows = shot(0.0, Settings(2.0**-7, 2.0**1.5, 400.0), bias=after)
    assert (landed(call, shot(-1.0, bias=before), follows, PLAN) is not None) == lands


def test_part_of_mixed_light_is_measured_against_its_own_promise() -> None:
    """A shutter that was to give half a stop and gave it delivered in full, however far it moved."""
    call = replace(asking(Setting.SHUTTER, "1/60", 2.0, -0.5), predicted=Predicted(0.0, 0.0))
    plan: Plan = replace(PLAN, light="mixed")
    found = landed(call, shot(-0.5), shot(0.0, SETTINGS.with_value(Setting.SHUTTER, 2.0**-6)), plan)
    assert found is not None and (found.error_stops, found.delivered) == (0.0, 1.0)


def test_only_a_check_without_a_move_is_odd() -> None:
    """A stray setting is a check too, but its frame is sound."""
    assert odd(Call("check", "Shoot again."))
    assert not odd(Call("check", "Set it back.", Setting.ISO, "800", "400", -1.0))
    assert not odd(Call("hold", "Right."))


def landing(setting: Setting = Setting.ISO, error: float = 0.0, delivered: float = 1.0, asked: float = 1.0) -> Landing:
    """What came of one call."""
    return Landing(setting, asked, 0.0, error, error, delivered)


@given(st.lists(st.tuples(st.sampled_from(Setting), st.floats(-5, 5)), min_size=1, max_size=30))
def test_a_score_is_the_median_and_the_worst_of_what_landed(pairs: list[tuple[Setting, float]]) -> None:
    """Of the errors' sizes, of all levers and of each."""
    score = Score(tuple(landing(setting, error) for setting, error in pairs))
    assert score.count == len(pairs) == sum(score.of(setting).count for setting in Setting)
    assert score.median_error_stops == median(abs(error) for _, error in pairs)
    worst = [score.of(setting).worst_error_stops for setting in Setting]
    assert score.worst_error_stops == max(error for error in worst if error is not None)


def test_without_a_landing_there_is_no_score() -> None:
    """Nothing known is None, not a perfect nought."""
    assert (NO_LANDINGS.count, NO_LANDINGS.median_error_stops, NO_LANDINGS.worst_error_stops) == (0, None, None)
    assert NO_LANDINGS.under_delivering(Setting.ISO) is None


@given(st.lists(st.tuples(st.sampled_from([Setting.ISO, Setting.SHUTTER]), st.floats(-1, 2)), max_size=9))
def test_a_lever_is_named_when_its_last_moves_all_fell_short(parts: list[tuple[Setting, float]]) -> None:
    """Three in a row of that lever, whatever others did in between; one good move clears it."""
    score = Score(tuple(landing(setting, delivered=part) for setting, part in parts))
    for setting in (Setting.ISO, Setting.SHUTTER):
        last = [part for which, part in parts if which is setting][-FELL_SHORT_TIMES:]
        short = len(last) == FELL_SHORT_TIMES and max(last) < 0.7
        assert (score.under_delivering(setting) is not None) == short


def test_the_lever_that_falls_short_is_named_with_figures_and_a_reason() -> None:
    """One sentence: how often, how far, what came of it, and what to look at."""
    found = Score((landing(Setting.SHUTTER, delivered=0.1),) * 3).under_delivering(Setting.SHUTTER)
    assert found is not None and found.kind == "lever"
    assert found.reason == (
        "the last 3 moves of the shutter were 3.0 stops in all, the picture moved 0.3: "
        "flash does not depend on the shutter; see what light the plan claims"
    )


@pytest.mark.parametrize("setting", Setting)
def test_any_lever_can_be_named(setting: Setting) -> None:
    """Each has its own thing to look at."""
    found = Score((landing(setting, delivered=0.0, asked=-1.0),) * 3).under_delivering(setting)
    assert found is not None and "3.0 stops in all, the picture moved 0.0: " in found.reason
