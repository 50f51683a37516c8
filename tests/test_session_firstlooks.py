"""First looks in a session: shown until the exact reading is there, never counted, never kept."""

from dataclasses import replace

import pytest
from session_records import FOLDER, PLAN, metered

from tetherwatch.session.records import FrameRecord
from tetherwatch.session.session import Session
from tetherwatch.watch.records import FirstLook, Health, Metered, Problem

SHIFT = -0.7
"""What this camera's previews read against its raw data."""


def look(name: str, offset: float, at: int, **changes: object) -> FirstLook:
    """A first look at a capture whose exact offset will be `offset`."""
    exact = metered(name, offset + SHIFT, at=at)
    reading = replace(exact.reading, **{"source": "preview", "provisional": True, **changes})
    return FirstLook(replace(exact.capture, sequence=0), exact.metadata, reading, exact.thumbnail)


def shown(session: Session, event: FirstLook) -> FrameRecord:
    """What a session makes of a first look."""
    (record,) = session.take(event)
    assert isinstance(record, FrameRecord)
    return record


def taught(count: int) -> Session:
    """A session that has seen some captures by their previews first."""
    session = Session(FOLDER, PLAN)
    for number in range(count):
        offset = (number % 3 - 1) / 2
        shown(session, look(f"{number}.DNG", offset, at=number))
        session.take(metered(f"{number}.DNG", offset, at=number))
    return session


def test_a_first_look_is_the_newest_frame_until_the_exact_reading_comes() -> None:
    """It is neither counted nor among the frames; then the frame takes its place and its number."""
    session = taught(2)
    record = shown(session, look("A.DNG", -1.0, at=5))
    view = session.view()
    assert (view.frame_count, len(view.frames), view.look) == (2, 2, record)
    assert view.with_look().frames[-1] == record
    assert record.reading.provisional
    exact, *_ = session.take(metered("A.DNG", -1.0, at=5))
    assert isinstance(exact, FrameRecord)
    assert (exact.number, exact.firm, exact.reading.provisional) == (record.number, True, False)
    assert session.view().look is None
    assert session.view().with_look() == session.view()


def test_a_call_is_firm_once_previews_have_proved_themselves() -> None:
    """The first one is too uncertain to act on; after ten the same call is given as by the exact reading."""
    first = shown(taught(0), look("A.DNG", -1.0, at=50))
    assert not first.firm
    assert first.reading.uncertainty_stops > PLAN.aim.tolerance_stops
    session = taught(10)
    later = shown(session, look("A.DNG", -1.0, at=50))
    assert later.firm
    assert later.reading.offset_stops == pytest.approx(-1.0, abs=0.10)
    exact, *_ = session.take(metered("A.DNG", -1.0, at=50))
    assert isinstance(exact, FrameRecord)
    assert (later.call.kind, later.call.setting, later.call.to_label) == (
        exact.call.kind,
        exact.call.setting,
        exact.call.to_label,
    )


def test_each_camera_and_rendering_is_learned_by_itself() -> None:
    """Another body, or another picture style, says nothing of this one."""
    session = taught(10)
    event = look("A.DNG", 0.0, at=50)
    for changes in ({"serial": "another"}, {"style": "vivid"}):
        assert not shown(session, replace(event, metadata=replace(event.metadata, **changes))).firm


def test_the_first_look_at_a_jpeg_is_not_corrected() -> None:
    """It is a look at the JPEG itself: what previews of the camera's raws turned out to be does not bear on it."""
    seen = look("A.JPG", -1.0, at=50, source="jpeg")
    assert shown(taught(10), seen).reading == seen.reading


def test_a_jpeg_shown_first_gives_way_to_its_raw() -> None:
    """The frame of the pair is that of the raw."""
    session = taught(1)
    shown(session, look("A.JPG", 0.0, at=5))
    raw = metered("A.DNG", 0.0, at=5)
    session.take(replace(raw, capture=replace(raw.capture, pair=FOLDER / "A.JPG")))
    assert session.view().look is None


def test_what_turns_out_to_be_no_capture_is_not_shown_any_longer() -> None:
    """It has a problem, or the watch has looked since and nothing waits."""
    session = taught(1)
    event = look("A.DNG", 0.0, at=5)
    shown(session, event)
    session.take(Problem(event.capture.path, "the file is cut short", "copy it again"))
    assert session.view().look is None
    shown(session, event)
    since = event.capture.arrived_at + 0.1
    for backlog, last_look, is_shown in ((1, since, True), (0, since - 0.2, True), (0, since, False)):
        session.take(Health(FOLDER, True, "events", backlog, last_look))
        assert (session.view().look is not None) == is_shown


def test_other_frames_do_not_end_it_and_a_newer_look_takes_its_place() -> None:
    """Frames of the backlog are read meanwhile."""
    session = taught(1)
    shown(session, look("A.DNG", 0.0, at=5))
    session.take(metered("9.DNG", 0.0, at=2))
    assert session.view().look is not None
    newer = shown(session, look("B.DNG", 0.0, at=6))
    assert session.view().look == newer


def test_a_look_that_was_not_followed_teaches_nothing() -> None:
    """Nor does one whose exact reading is only another preview."""
    session = taught(0)
    for number in range(20):
        shown(session, look(f"{number}.DNG", 0.0, at=number))
        exact: Metered = metered(f"{number}.DNG", 0.0, at=number)
        session.take(replace(exact, reading=replace(exact.reading, source="preview")))
    assert not shown(session, look("A.DNG", 0.0, at=50)).firm
