"""The obedient photographer."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.errors import UsageError
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.rehearse.follow import apply_call, calls_from

START = Settings(2.0**-8, 2.0**1.5, 100.0)


@given(setting=st.sampled_from(CAMERA_SETTINGS), step=st.sampled_from(Step), data=st.data())
def test_moves_exactly_one_setting_to_the_label(setting: Setting, step: Step, data: st.DataObject) -> None:
    """A call to any engraved number sets that dial to its exact value and leaves the rest alone."""
    dial = Dial(setting, step)
    position = data.draw(st.sampled_from(dial.positions))
    call = {"kind": "brighter", "setting": setting.value, "to": dial.label(position), "move_stops": 1.0}
    settings, light = apply_call(START, 0.5, call, step)
    assert settings == START.with_value(setting, dial.value(position))
    assert light == 0.5


@given(move=st.floats(-5, 5))
def test_light_moves_by_its_stops(move: float) -> None:
    """A call for light changes the lamps and no setting."""
    call = {"kind": "darker", "setting": "light", "from": None, "to": None, "move_stops": move}
    assert apply_call(START, 1.0, call) == (START, 1.0 + move)


@pytest.mark.parametrize("kind", ["hold", "check", "blocked", None, "dance"])
def test_other_calls_move_nothing(kind: str | None) -> None:
    """Only brighter and darker are instructions to move."""
    call = {"kind": kind, "setting": "iso", "to": "800", "move_stops": 3.0}
    assert apply_call(START, 1.0, call) == (START, 1.0)


@pytest.mark.parametrize(
    "call",
    [
        {"kind": "brighter"},
        {"kind": "brighter", "setting": "focus", "to": "3"},
        {"kind": "brighter", "setting": "iso", "to": None},
        {"kind": "brighter", "setting": "iso", "to": "many"},
        {"kind": "brighter", "setting": "light"},
        {"kind": "brighter", "setting": "light", "move_stops": "x"},
        {"kind": "brighter", "setting": "light", "move_stops": float("nan")},
        {"kind": "brighter", "setting": "light", "move_stops": 1e9},
    ],
)
def test_incomplete_calls_are_refused_with_advice(call: dict[str, object]) -> None:
    """A call that cannot be obeyed is the user's to mend, not a crash."""
    with pytest.raises(UsageError, match="cannot be followed") as caught:
        apply_call(START, 0.0, call)
    assert "--follow" in caught.value.advice


def frame(file: str, to: str, provisional: bool = False) -> str:
    """One line as the headless watch prints it."""
    call = {"kind": "brighter", "setting": "iso", "to": to}
    return json.dumps({"event": "frame", "file": file, "reading": {"provisional": provisional}, "call": call})


def test_calls_are_found_by_file_among_other_lines() -> None:
    """Noise, other events, other files and provisional readings are passed over; folders and suffixes do not matter."""
    lines = [
        "not json",
        "[1, 2]",
        '{"event": "folder"}',
        frame("RHS_0001.DNG", "125"),
        frame("C:\\shoot\\RHS_0002.DNG", "160", provisional=True),
        '{"event": "landed", "file": "RHS_0002.DNG"}',
        frame("C:\\shoot\\RHS_0002.DNG", "200"),
        frame("/shoot/RHS_0003.JPG", "250"),
    ]
    next_call = calls_from(lines)
    found = [next_call(f"RHS_{number:04d}.DNG") for number in (2, 3)]
    assert [call and call["to"] for call in found] == ["200", "250"]


def test_problem_or_end_means_no_call() -> None:
    """A capture that could not be read gives no call and does not use up the next one's; neither does the end."""
    lines = ['{"event": "problem", "file": "RHS_0001.DNG", "problem": "x"}', frame("RHS_0002.DNG", "200")]
    next_call = calls_from(lines)
    assert next_call("RHS_0001.DNG") is None
    assert next_call("RHS_0002.DNG") is not None
    assert next_call("RHS_0003.DNG") is None


def test_lines_are_read_only_as_far_as_needed() -> None:
    """Nothing is read beyond the line that answers: the next one is not there yet."""

    def live() -> object:
        yield frame("RHS_0001.DNG", "125")
        raise AssertionError("read ahead")

    assert calls_from(live())("RHS_0001.DNG") is not None  # type: ignore[arg-type]
