"""Looking back: going through the frames, and all that is known of one."""

from dataclasses import replace
from pathlib import Path

import screen_records as made
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.advise.records import Finding
from tetherwatch.frame.records import Metadata
from tetherwatch.screen.history import detail_sheet, is_troubled, moved, shown_at
from tetherwatch.screen.palette import PLAIN

NUMBERS = (3, 1, 2, 7, 9)
"""Frames are in order of arrival, their numbers in that of reading."""

FRAMES = tuple(made.frame(number, made.CALLS["check" if number in (1, 9) else "hold"]) for number in NUMBERS)
VIEW = made.view(*FRAMES)


def test_a_frame_is_shown_as_the_newest_with_those_before_it() -> None:
    """And it is said how many came since; now, and from a frame that is not kept any more, nothing is held."""
    view, newer = shown_at(VIEW, 2)
    assert ([frame.number for frame in view.frames], newer) == ([3, 1, 2], 2)
    assert shown_at(VIEW, 9)[1] == 0
    for number in (None, 55):
        assert shown_at(VIEW, number) == (VIEW, None)


def test_back_and_forth_ends_at_both_ends() -> None:
    """Back stops at the oldest frame, forward at now, where newer frames take over by themselves."""
    at: int | None = None
    went = [at := moved(VIEW, at, False, False) for _ in range(6)]
    assert went == [7, 2, 1, 3, 3, 3]
    back = [at := moved(VIEW, at, True, False) for _ in range(6)]
    assert back == [1, 2, 7, None, None, None]


def test_only_frames_that_want_a_look_are_stopped_at() -> None:
    """Others are passed over; where there is none further on, now is next."""
    assert moved(VIEW, None, False, True) == 1
    assert moved(VIEW, 1, False, True) == 1
    assert moved(VIEW, 3, True, True) == 1
    assert moved(VIEW, 1, True, True) is None
    assert moved(made.view(FRAMES[0]), None, False, True) is None


@given(st.lists(st.booleans(), max_size=30))
def test_wherever_it_goes_there_is_a_frame(forward: list[bool]) -> None:
    """No key leads out of the session."""
    at = None
    for step in forward:
        at = moved(VIEW, at, step, False)
        assert at in (None, *NUMBERS)
    assert moved(made.view(), None, False, False) is None


def test_what_wants_a_look() -> None:
    """Odd, clipped in the metered area, soft eyes, or not read as it should be; not merely too dark."""
    fine, plan = made.frame(call=made.CALLS["brighter"], measured=made.reading(area_clipped_percent=0.0)), VIEW.plan
    assert not is_troubled(fine, plan)
    assert is_troubled(replace(fine, call=made.CALLS["check"]), plan)
    assert is_troubled(replace(fine, reading=made.reading(area_clipped_percent=3.0)), plan)
    assert is_troubled(replace(fine, findings=(Finding("eyes", "the eyes are soft"),)), plan)
    assert is_troubled(replace(fine, notes=("read from the embedded preview",)), plan)


def test_all_that_is_known_is_shown_and_nothing_is_obeyed() -> None:
    """File, settings, reading, call, what is told and noted; what is unknown is said to be."""
    frame = made.frame(call=made.CALLS["brighter"], name=made.HOSTILE, findings=(Finding("flicker", "lamps flicker"),))
    text = "\n".join(line.plain for line in detail_sheet(frame, VIEW, PLAIN, 80, 24).lines)
    for words in ("#12", "1/250 f/2.8 ISO 400", "-1.02 stops", "Halden K2", "brighter: The face", "lamps flicker"):
        assert words in text
    assert "\x1b" not in text
    bare = replace(made.frame(), metadata=Metadata(), capture=replace(frame.capture, path=Path("a.dng")))
    text = "\n".join(line.plain for line in detail_sheet(bare, VIEW, PLAIN, 80, 24).lines)
    assert text.count("unknown") >= 4
