"""A session in words: what they say is what the frames hold."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_records import BRIGHTER, CARD, HOLD, LANDED, MISFIRE, SOFT, entry, record

from tetherwatch.advise.records import Call
from tetherwatch.frame.records import Metadata
from tetherwatch.report.records import FrameEntry, ProblemEntry, Run, SessionRecord
from tetherwatch.report.summary import count_words, span_words, summarise, words
from tetherwatch.setups.records import Setup


def told(session: SessionRecord, in_use: bool = False) -> str:
    """The words of a session."""
    return " ".join(words(summarise(session, in_use)))


def test_a_session_without_frames_is_said_to_have_none() -> None:
    """No figures are made up."""
    assert told(record()) == "No frame was read in this session. Nothing went wrong."


def test_a_good_session() -> None:
    """Frames, span, camera, share and calls are told; nothing is said to be wrong."""
    frames = [entry(1, -1.0, BRIGHTER), entry(2, 0.01, landing=LANDED), entry(3), entry(4)]
    assert told(record(*frames, setups=(Setup(1, 1, 4, 4),))) == (
        "4 frames in 1 setup within 12 s, with Halden K2. "
        "3 of them (75 %) are within the tolerance; the middle frame is right on the aim. "
        "1 call asked for a move; 1 can be checked against the frame after: the middle one is 0.03 off its prediction; "
        "the worst 0.03 stops. Nothing went wrong."
    )


def test_all_that_went_wrong_is_named() -> None:
    """Misfires, other odd frames, clipping, softness, problems and runs that broke off, each with its count."""
    frames = [entry(1, -5.0, MISFIRE), entry(2, -0.6, CARD), entry(3, clipped=2.0), entry(4, findings=(SOFT,))]
    problem = ProblemEntry(frames[0].path, "it is cut short", "shoot it again", 0.0)
    session = record(*frames)
    session = replace(session, problems=(problem,), runs=(Run(0.0, None), Run(5.0, None)))
    wrong = (
        "What went wrong: 1 misfire, 1 other odd frame, 1 frame clipped beyond the plan's limit, "
        "1 frame not sharp where it matters, 1 problem with captures or the folder, "
    )
    assert f"{wrong}2 runs of the program that ended unexpectedly." in told(session)
    assert f"{wrong}1 run of the program that ended unexpectedly." in told(session, in_use=True)


def test_estimates_are_called_so() -> None:
    """Readings of finished pictures are counted as estimates."""
    one = entry(1)
    guessed = replace(one, measured=replace(one.measured, source="jpeg"))
    assert "all of the readings are estimates" in told(record(guessed))
    assert "1 of the readings are estimates" in told(record(guessed, entry(2)))
    assert "estimate" not in told(record(entry(2)))


def test_a_plan_without_room_is_told() -> None:
    """Blocked calls are no moves and are counted apart."""
    said = told(record(entry(1, -2.0, Call("blocked", "No lever has room."))))
    assert "No call asked for a move. At 1 frame the plan had no room left for the move it needed." in said


def untimed(frame: FrameEntry, arrived_at: float | None) -> FrameEntry:
    """A frame whose camera has no clock."""
    return replace(frame, metadata=Metadata(), arrived_at=arrived_at)


def test_the_span_is_by_the_camera_or_by_arrival() -> None:
    """Where one frame has no time, arrival counts for all; where that is not known either, nothing is said."""
    assert summarise(record(entry(1), entry(11)), False).span_s == 40.0
    assert summarise(record(entry(1), untimed(entry(2), 1e9 + 64)), False).span_s == 60.0
    assert summarise(record(entry(1), untimed(entry(2), None)), False).span_s is None
    assert "an unknown camera" in told(record(untimed(entry(2), None)))


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0, "0 s"), (119, "119 s"), (120, "2 min"), (3599, "1 h 0 min"), (7980, "2 h 13 min"), (90000, "25 h 0 min")],
)
def test_spans_are_said_in_their_fitting_unit(seconds: float, said: str) -> None:
    """Seconds, minutes or hours."""
    assert span_words(seconds) == said


def test_counts_take_their_nouns() -> None:
    """One and many."""
    assert [count_words(n, "frame") for n in (0, 1, 2, 12345)] == ["0 frames", "1 frame", "2 frames", "12,345 frames"]


calls = st.sampled_from([HOLD, BRIGHTER, MISFIRE, CARD, Call("blocked", "")])


@given(st.lists(st.tuples(st.floats(-9, 9), calls, st.floats(0, 100)), min_size=1, max_size=30))
def test_counts_agree_with_the_frames(shots: list[tuple[float, Call, float]]) -> None:
    """Each frame is counted where it belongs, and in no two kinds of odd frame."""
    frames = [entry(n, offset, call, clipped=clip) for n, (offset, call, clip) in enumerate(shots, start=1)]
    found = summarise(record(*frames), False)
    assert found.frames == len(shots) and 0 <= found.inside <= found.frames
    assert found.misfired + found.other_odd == sum(call.kind == "check" for _, call, _ in shots)
    assert found.inside == sum(abs(offset) <= 0.17 for offset, _, _ in shots)
    assert found.clipped == sum(clip > 0.5 for *_, clip in shots)
    assert found.span_s == 4.0 * (found.frames - 1)
    assert len(words(found)) >= 4
