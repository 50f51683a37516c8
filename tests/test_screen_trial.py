"""The sheet of what if: choosing, stepping, and what is said of the outcome."""

from dataclasses import replace

import screen_records as made
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from tetherwatch.advise.records import NOTHING_KNOWN, Finding, LightKind, Shot
from tetherwatch.advise.whatif import Tried, Try, tried
from tetherwatch.exposure.dial import Dial
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.screen.palette import DARK, PLAIN
from tetherwatch.screen.trial import TRIABLE, Trial, first_trial, trial_sheet
from tetherwatch.session.records import SessionView

_READING = made.reading(-1.0, area_tones=(made.tones("g"),))
_FRAME = made.frame(measured=_READING, metadata=Metadata(made.SETTINGS, focal_mm=85.0))
_VIEW = made.view(_FRAME)


def outcome(trial: Trial, light: LightKind = "continuous") -> tuple[SessionView, Tried]:
    """The session and what comes of a trial on it."""
    plan = made.plan(light=light)
    moved = (Try(trial.setting, stops=trial.stops(plan)),)
    return replace(_VIEW, plan=plan), tried(plan, Shot(_FRAME.metadata, _READING, 0.0), moved, NOTHING_KNOWN)


def sheet(trial: Trial, light: LightKind = "continuous", width: int = 80, height: int = 24) -> str:
    """The sheet's text."""
    return "\n".join(line.plain for line in trial_sheet(trial, *outcome(trial, light), PLAIN, width, height).lines)


@given(
    st.sampled_from(TRIABLE),
    st.integers(-60, 60),
    st.sampled_from(["flash", "continuous", "mixed"]),
    st.integers(1, 220),
    st.integers(1, 70),
)
def test_the_sheet_fills_any_window(setting: Setting, steps: int, light: LightKind, width: int, height: int) -> None:
    """As many lines as rows, each as wide as the window, the way back on the last."""
    trial = Trial(setting).stepped(steps, made.SETTINGS, made.plan())
    lines = trial_sheet(trial, *outcome(trial, light), DARK, width, height).lines
    assert [cell_len(line.plain) for line in lines] == [width] * height
    assert "escape back" in lines[-1].plain or width < 13


@given(st.sampled_from(CAMERA_SETTINGS), st.lists(st.integers(-40, 40), max_size=6))
def test_steps_stay_on_the_dial(setting: Setting, steps: list[int]) -> None:
    """However far it is stepped, the setting stands on a place of its dial, and one step back is possible."""
    plan, trial = made.plan(), Trial(setting)
    for each in steps:
        trial = trial.stepped(each, made.SETTINGS, plan)
    value = outcome(trial)[1].settings.get(setting)
    assert value is not None and Dial(setting, plan.step).position(value) is not None


def test_an_unknown_place_is_stepped_within_reason() -> None:
    """Without a place on the dial the move itself is bounded, light in steps of 0.3 stops."""
    plan = made.plan()
    assert Trial(Setting.LIGHT).stepped(1, made.SETTINGS, plan).stops(plan) == 0.3
    assert 7 < Trial(Setting.LIGHT).stepped(99, made.SETTINGS, plan).stops(plan) <= 8
    assert 7 < Trial(Setting.ISO).stepped(99, Settings(), plan).stops(plan) <= 8


def test_the_sheet_begins_with_the_setting_of_the_call() -> None:
    """With ISO where the call moves nothing, or something that cannot be tried."""
    assert first_trial(made.CALLS["darker"]) == Trial(Setting.SHUTTER)
    assert first_trial(made.CALLS["hold"]) == Trial(Setting.ISO)
    assert first_trial(made.COMPENSATION_CALL) == Trial(Setting.ISO)


def test_the_outcome_tells_move_offset_and_clipping() -> None:
    """One stop of ISO: from, to, offset with its uncertainty, verdict, each channel before and after, the plan."""
    text = sheet(Trial(Setting.ISO, 3))
    for words in ("> ISO", "ISO 400 → 800   +1.0 stops", "0.00 stops ±0.03   right", "clipped %", "plan       inside"):
        assert words in text
    for letter in "RGB":
        assert f"  {letter} 0." in text or f" {letter} 0." in text


def test_what_stands_still_is_said_to() -> None:
    """Before the first step the sheet tells the present."""
    text = sheet(Trial(Setting.ISO))
    assert "ISO 400   not moved" in text
    assert "-1.00 stops ±0.03   too dark" in text


def test_a_trial_outside_the_plan_names_range_and_hazards() -> None:
    """Two stops more on a locked shutter: outside, and slow to hold by hand."""
    text = sheet(Trial(Setting.SHUTTER, 6))
    assert "! outside: shutter is locked at 1/250" in text
    assert "! hand-hold: 1/60" in text
    assert "too bright" in text


def test_light_that_is_mixed_in_an_unknown_way_gives_bounds() -> None:
    """Neither a number nor a verdict is made up."""
    text = sheet(Trial(Setting.SHUTTER, 3), "mixed")
    assert "between -1.00 and 0.00 stops   right or not" in text
    assert "note: how much of the mixed light is flash is not known yet" in text


def test_light_is_told_by_its_stops() -> None:
    """Where it stands no capture tells."""
    assert "light   +0.9 stops" in sheet(Trial(Setting.LIGHT, 3))


def test_a_refusal_takes_the_place_of_the_outcome() -> None:
    """The words of an error, made safe, with the choice and the keys still there."""
    lines = trial_sheet(Trial(Setting.ISO), _VIEW, made.HOSTILE, PLAIN, 80, 24).lines
    text = "\n".join(line.plain for line in lines)
    assert "\\x1b[2J" in text and "\x1b" not in text
    assert "> ISO" in text and "escape back" in text


def test_hostile_hazards_stay_harmless() -> None:
    """Findings and notes are spelled out like any other text."""
    view, found = outcome(Trial(Setting.ISO))
    found = replace(found, hazards=(Finding("x", made.HOSTILE),), notes=(made.HOSTILE,))
    text = "".join(line.plain for line in trial_sheet(Trial(Setting.ISO), view, found, PLAIN, 120, 40).lines)
    assert "\x1b" not in text and "\x9b" not in text
