"""Setups and pins in a session: told, kept over a restart, and what they do to the calls."""

from dataclasses import replace
from pathlib import Path

import pytest
from advise_records import reading
from journal_records import program
from session_records import FOLDER, PLAN, metered

from tetherwatch.errors import UsageError
from tetherwatch.exposure.settings import Settings
from tetherwatch.session.events import entered_event, frame_event, match_object
from tetherwatch.session.records import Entered, FrameRecord
from tetherwatch.session.session import Session
from tetherwatch.watch.records import Metered

DARK, BRIGHT = 7.0, 9.0


def frame(number: int, light: float, level: float = 0.0) -> Metered:
    """A capture of a card in light of this value, at the ISO that leaves it at a level."""
    settings = Settings(2.0**-8, 2.0**1.5, 100 * 2.0 ** (11 + level - light))
    measured = replace(
        reading(level, light_value=light), level_stops=level, channel_stops={"r": -4.0, "g": -3.0, "b": -3.5}
    )
    return metered(f"{number:03}.DNG", at=100.0 * number, settings=settings, measured=measured)


def shoot(session: Session, *frames: tuple[float, float], first: int = 1) -> list[object]:
    """Frames in these lights at these levels, each after a pause; what is told of them."""
    return [news for number, each in enumerate(frames, first) for news in session.take(frame(number, *each))]


def setups(session: Session) -> list[int | None]:
    """The setups of the frames."""
    return [record.setup for record in session.view().frames]


def test_a_new_and_a_returned_setup_are_told() -> None:
    """Once each, with the frame that shows them; not the first one, with which every session begins."""
    session = Session(FOLDER, PLAN)
    told = shoot(session, *[(DARK, 0.0)] * 3, *[(BRIGHT, 0.0)] * 3, *[(DARK, 0.0)] * 2)
    entered = [news for news in told if isinstance(news, Entered)]
    assert [(news.setup.number, news.returned) for news in entered] == [(2, False), (1, True)]
    assert setups(session) == [1, 1, 1, 2, 2, 2, 1, 1]
    event = entered_event(entered[1], PLAN.step, FOLDER)
    assert (event["event"], event["file"], event["setup"], event["returned"]) == ("setup", "007.DNG", 1, True)


def test_a_frame_that_was_out_of_line_goes_back_to_its_setup() -> None:
    """What looked like another light for one frame is set right in the frames and in the list."""
    session = Session(FOLDER, PLAN)
    shoot(session, *[(DARK, 0.0)] * 3, (BRIGHT, 2.0), *[(DARK, 0.0)] * 2)
    assert setups(session) == [1] * 6
    assert [setup.number for setup in session.view().setups] == [1]


def test_back_in_a_setup_its_settings_are_the_call() -> None:
    """ISO was right at 1600 there, and that is called."""
    session = Session(FOLDER, PLAN)
    shoot(session, *[(DARK, 0.0)] * 3, *[(BRIGHT, 0.0)] * 3)
    record, *_ = session.take(frame(7, DARK, level=-2.0))
    assert isinstance(record, FrameRecord)
    assert (record.setup, record.call.kind, record.call.to_label) == (1, "brighter", "1600")
    assert "setup 1" in record.call.reason


def test_a_pinned_frame_is_the_aim_in_its_setup_only() -> None:
    """The newest frame is called again at once; later ones are compared with it; another setup is as planned."""
    session = Session(FOLDER, PLAN)
    shoot(session, *[(DARK, -0.5)] * 3)
    assert session.view().frames[-1].call.kind != "hold"
    assert session.toggle_pin()
    assert session.view().frames[-1].call.kind == "hold"
    shoot(session, (DARK, 0.1), first=4)
    newest = session.view().frames[-1]
    assert newest.match is not None
    assert newest.match.offset_stops == newest.reading.offset_stops == pytest.approx(0.6)
    assert newest.call.kind == "darker"
    assert frame_event(newest, PLAN.step)["match"] == match_object(newest.match)
    shoot(session, (BRIGHT, 0.0), first=5)
    other = session.view().frames[-1]
    assert (other.setup, other.match, other.call.kind) == (2, None, "hold")


def test_the_same_key_takes_the_pin_away() -> None:
    """And the plan's aim is back."""
    session = Session(FOLDER, PLAN)
    shoot(session, (DARK, -0.5))
    session.toggle_pin()
    assert not session.toggle_pin()
    newest = session.view().frames[-1]
    assert (newest.match, newest.call.kind) == (None, "brighter")
    assert session.view().pins == {}


def test_without_frames_there_is_nothing_to_pin_or_split() -> None:
    """Both are said."""
    session = Session(FOLDER, PLAN)
    for change in (session.toggle_pin, session.split_setup):
        with pytest.raises(UsageError):
            change()


def test_setups_are_merged_split_and_named() -> None:
    """In the frames too."""
    session = Session(FOLDER, PLAN)
    shoot(session, *[(DARK, 0.0)] * 2, *[(BRIGHT, 0.0)] * 2)
    assert session.merge_setup(2) == 1
    assert setups(session) == [1] * 4
    assert session.split_setup() == 2
    assert setups(session) == [1, 1, 1, 2]
    session.rename_setup(2, " Key left ")
    assert [setup.name for setup in session.view().setups] == [None, "Key left"]
    with pytest.raises(UsageError):
        session.split_setup()
    with pytest.raises(UsageError):
        session.merge_setup(1)


def test_the_next_frame_names_its_setup_or_begins_one() -> None:
    """As the start says; a setup that has another name already is left as it is."""
    session = Session(FOLDER, PLAN)
    session.name_next_setup("Window")
    shoot(session, *[(DARK, 0.0)] * 3)
    session.name_next_setup("Reflector")
    shoot(session, *[(DARK, 0.0)] * 2, first=4)
    assert [setup.name for setup in session.view().setups] == ["Window", "Reflector"]
    assert setups(session) == [1, 1, 1, 2, 2]


def test_setups_and_pins_outlive_a_restart(tmp_path: Path) -> None:
    """With names, corrections, samples and the setup of each frame; the shoot goes on in them."""
    path, folder = tmp_path / "a.session", tmp_path / "captures"
    folder.mkdir()
    with program(path, folder) as running:
        shoot(running.session, *[(DARK, 0.0)] * 2, *[(BRIGHT, 0.0)] * 2, (11.0, 0.0))
        running.session.merge_setup(2)
        running.session.rename_setup(1, "Window")
        running.session.toggle_pin()
        before = running.session.view()
    with program(path, folder) as running:
        after = running.session.view()
        assert (after.setups, after.pins) == (before.setups, before.pins)
        assert setups(running.session) == [1, 1, 1, 1, 3]
        shoot(running.session, *[(DARK, 0.0)] * 2, *[(11.0, 0.2)] * 2, first=6)
        assert setups(running.session)[-4:] == [1, 1, 3, 3]
        assert running.session.view().frames[-1].match is not None
        assert running.rows("SELECT number, setup FROM frames ORDER BY number")[-2:] == [(8, 3), (9, 3)]


def test_what_a_full_disk_refused_of_setups_is_written_in_the_end(tmp_path: Path) -> None:
    """The file holds what the session does, once it can be written."""
    folder = tmp_path / "captures"
    folder.mkdir()
    with program(tmp_path / "a.session", folder) as running:
        shoot(running.session, (DARK, 0.0))
        running.disk.protect()
        shoot(running.session, (DARK, 0.0), (BRIGHT, 0.0), first=2)
        running.session.toggle_pin()
        running.disk.protect(False)
        running.steady.now += 60
        shoot(running.session, (BRIGHT, 0.0), first=4)
        assert running.rows("SELECT number, first_frame, last_frame FROM setups") == [(1, 1, 2), (2, 3, 4)]
        assert running.rows("SELECT setup, frame FROM pins") == [(2, 3)]
