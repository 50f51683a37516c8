"""A face's place in a session: by a card, by a pinned frame or by the plan; told, kept over a restart."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from advise_records import GOOD, reading
from journal_records import program
from session_records import FOLDER, PLAN, SETTINGS, metered

from tetherwatch.advise.planfile import parse_plan
from tetherwatch.errors import UsageError
from tetherwatch.exposure.settings import Settings
from tetherwatch.meter.records import Box, Face, Point
from tetherwatch.screen.lines import news_line
from tetherwatch.session.records import FrameRecord, Warned
from tetherwatch.session.session import Session
from tetherwatch.watch.records import Metered

FACE = Face(Box(0.4, 0.2, 0.6, 0.6), Point(0.45, 0.35), Point(0.55, 0.35), 1.0)
LIGHT, BRIGHT = 7.0, 8.0


def shot(number: int, light: float = LIGHT, **changes: Any) -> Metered:
    """A capture, each after a pause, at settings that suit its light."""
    settings = replace(SETTINGS, iso=400 * 2.0 ** (LIGHT - light))
    channels = {"r": -4.0, "g": -3.0, "b": -3.5}
    measured = replace(reading(0.0, light_value=light), **{"channel_stops": channels, **changes})
    return metered(f"{number:03}.DNG", at=100.0 * number, settings=settings, measured=measured)


def card(number: int, stops: float, light: float = LIGHT) -> Metered:
    """A frame of a grey card only, metered where the last face was."""
    return shot(number, light, area="face", level_stops=0.4, card_stops=stops)


def face(number: int, stops: float, light: float = LIGHT, **changes: Any) -> Metered:
    """A frame of a face."""
    return shot(number, light, area="face", face=FACE, level_stops=stops, offset_stops=stops, **changes)


def newest(session: Session) -> FrameRecord:
    """The last frame."""
    return session.view().frames[-1]


def told(session: Session, frame: Metered) -> list[str]:
    """What is told of a face when a frame is taken."""
    news = session.take(frame)
    return [news_line(each) for each in news if isinstance(each, Warned) and each.finding.kind == "face"]


def test_a_frame_of_a_card_alone_places_the_faces_after_it() -> None:
    """The first one is measured and told once; later ones are held there, whatever the settings."""
    session = Session(FOLDER, PLAN)
    session.take(card(1, -0.3))
    kept = session.toggle_card()
    assert kept is not None and kept.from_grey is None
    assert told(session, face(2, -0.9)) == ["= the face lies -0.60 stops from the card of frame 1 and is held there"]
    assert newest(session).reading.offset_stops == pytest.approx(-0.3)
    assert told(session, face(3, -0.6)) == []
    assert newest(session).reading.offset_stops == pytest.approx(0.0)
    assert newest(session).call.kind == "hold"


def test_a_card_beside_a_face_places_it_at_once() -> None:
    """The newest frame is called again; the same key takes it back."""
    session = Session(FOLDER, PLAN)
    session.take(face(1, 0.7, card_stops=0.2))
    assert newest(session).call.kind == "darker"
    session.toggle_card()
    assert newest(session).reading.offset_stops == pytest.approx(0.2)
    assert session.toggle_card() is None
    assert newest(session).reading.offset_stops == pytest.approx(0.7)
    assert session.view().placements == ()


@pytest.mark.parametrize("shown", [LIGHT, BRIGHT])
def test_a_card_is_of_the_setup_whose_face_comes_next(shown: float) -> None:
    """Whichever setup its own picture is taken for; in another setup the plan's aim holds."""
    session = Session(FOLDER, PLAN)
    for number in (1, 2, 3):
        session.take(face(number, 0.0))
    session.take(card(4, 0.0, shown))
    session.toggle_card()
    for number in (5, 6, 7):
        session.take(face(number, 0.5, BRIGHT, card_stops=0.0))
    assert [record.setup for record in session.view().frames][4:] == [2, 2, 2]
    (placement,) = session.view().placements
    assert (placement.setup, placement.face_frame) == (2, 5)
    session.take(face(8, 0.0))
    assert (newest(session).setup, newest(session).reading.offset_stops) == (1, 0.0)


def test_why_a_card_does_not_place_a_face_is_told() -> None:
    """And it waits on."""
    session = Session(FOLDER, PLAN)
    session.take(card(1, -0.3))
    session.toggle_card()
    why = "= the card of frame 1 does not place this face: this face lies +3.3 stops from it, in another light"
    assert told(session, face(2, 3.0)) == [why]
    assert told(session, face(3, 0.0)) == ["= the face lies +0.30 stops from the card of frame 1 and is held there"]


def test_the_raw_of_a_card_takes_the_place_of_its_jpeg() -> None:
    """So that it is of the kind of file that the faces are."""
    session = Session(FOLDER, PLAN)
    first = card(1, -0.1)
    session.take(replace(first, reading=replace(first.reading, source="jpeg")))
    session.toggle_card()
    session.take(replace(card(1, -0.3), replaces=True))
    session.take(face(2, -0.9))
    assert session.view().placements[0].source == "raw"
    assert newest(session).reading.offset_stops == pytest.approx(-0.3)


def test_a_new_card_takes_the_place_of_the_old_one_once_a_face_is_seen() -> None:
    """Until then the old one holds."""
    session = Session(FOLDER, PLAN)
    session.take(face(1, 0.5, card_stops=0.0))
    session.toggle_card()
    session.take(card(2, -0.2))
    session.toggle_card()
    assert session.view().placements[0].card_frame == 1 and len(session.view().placements) == 2
    session.take(face(3, 0.5))
    assert [(each.card_frame, each.face_frame) for each in session.view().placements] == [(2, 3)]
    assert newest(session).reading.offset_stops == pytest.approx(-0.2)
    with pytest.raises(UsageError):
        session.toggle_card()


def test_a_pinned_face_is_the_aim_and_goes_before_a_card() -> None:
    """Taken away, the card's place is back."""
    session = Session(FOLDER, PLAN)
    session.take(face(1, 0.7, card_stops=0.2))
    session.toggle_card()
    session.take(face(2, 0.9))
    assert session.toggle_pin()
    session.take(face(3, 1.0))
    assert newest(session).reading.offset_stops == pytest.approx(0.1)
    session.toggle_pin(2)
    assert newest(session).reading.offset_stops == pytest.approx(0.5)


def test_the_plan_places_a_face_where_nothing_else_does() -> None:
    """By its `from_grey_stops`."""
    placed = parse_plan(GOOD.replace("from_grey_stops = 0.0", "from_grey_stops = 0.5"), "mine.toml", 3200.0)
    session = Session(FOLDER, placed)
    session.take(replace(face(1, 0.5), reading=replace(face(1, 0.5).reading, offset_stops=0.0)))
    assert newest(session).call.kind == "hold"
    assert placed.aim.from_grey_stops == 0.5


def test_a_frame_whose_face_was_not_found_is_no_pin() -> None:
    """Its reading is that of a place where one was before; and without a card in sight there is none to keep."""
    session = Session(FOLDER, PLAN)
    with pytest.raises(UsageError):
        session.toggle_card()
    session.take(shot(1, area="face"))
    for key in (session.toggle_pin, session.toggle_card):
        with pytest.raises(UsageError):
            key()


def test_setups_that_are_merged_keep_the_card() -> None:
    """The earlier setup's own one goes before."""
    session = Session(FOLDER, PLAN)
    session.take(face(1, 0.0))
    session.take(face(2, 0.0))
    for number in (3, 4):
        session.take(face(number, 0.5, BRIGHT, card_stops=0.0))
    session.toggle_card()
    session.merge_setup(2)
    assert [each.setup for each in session.view().placements] == [1]


@pytest.mark.parametrize("seen_before", [True, False])
def test_a_card_outlives_a_restart(tmp_path: Path, seen_before: bool) -> None:
    """Whether the face was seen before it or comes after."""
    path, folder = tmp_path / "a.session", tmp_path / "captures"
    folder.mkdir()
    with program(path, folder) as running:
        running.session.take(card(1, -0.3))
        running.session.toggle_card()
        if seen_before:
            running.session.take(face(2, -0.9))
        before = running.session.view().placements
    with program(path, folder) as running:
        assert running.session.view().placements == before
        running.session.take(face(3, -0.9))
        assert newest(running.session).reading.offset_stops == pytest.approx(-0.3)
        row = "SELECT setup, card_frame, face_frame, round(from_grey_stops, 2) FROM placements"
        assert running.rows(row) == [(newest(running.session).setup, 1, 2, -0.6)]
        running.session.toggle_card(1)
        assert running.rows(row) == []


def test_a_face_exposed_otherwise_than_its_card_is_placed_by_the_light() -> None:
    """One stop more ISO for the face is no part of its place."""
    session = Session(FOLDER, PLAN)
    session.take(card(1, -0.3))
    session.toggle_card()
    lighter = Settings(SETTINGS.shutter_s, SETTINGS.aperture, 800.0)
    frame = face(2, 0.1)
    session.take(replace(frame, metadata=replace(frame.metadata, settings=lighter)))
    found = session.view().placements[0].from_grey
    assert found is not None and found.value == pytest.approx(-0.6)
