"""Faces through the whole program: workers, session and the keys of the dashboard."""

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from program import wait_for

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "scripts"))

from benchmarks.portraits import Portrait, Pose, portrait, sitters, skin_stops, take

from tetherwatch.cli.live import LiveSession
from tetherwatch.cli.main import cli
from tetherwatch.meter.records import Reading
from tetherwatch.session.chosen import choose
from tetherwatch.session.opening import Opened, Wish, opened
from tetherwatch.session.recorded import RecordedSession
from tetherwatch.session.records import NO_PAST
from tetherwatch.watch.ledger import NoLedger


def two_people(darker_stops: float) -> Portrait:
    """One beside the other; the one at the right is larger, and as much darker."""
    left = portrait(sitters()["scikit-image"], Pose(260, middle=(0.5, 0.35)), 800, 1068)
    right = portrait(sitters()["matplotlib"], Pose(330, darker_stops=darker_stops), 800, 1068)
    return Portrait(np.concatenate([left.cells, right.cells], axis=2), left.left_eye, left.right_eye)


@pytest.fixture
def live(tmp_path: Path) -> Iterator[LiveSession]:
    """A watch on one picture of two people."""
    take(tmp_path / "A.DNG", two_people(1.5), 0.0, 100, 1)
    session = RecordedSession(tmp_path, choose("studio-portrait", None), NO_PAST, None)
    source = LiveSession(tmp_path, Opened(session, NoLedger(), from_start=True))
    source.listen(lambda: None)
    try:
        yield source
    finally:
        source.close()


def metered(live: LiveSession) -> Reading | None:
    """The newest exact reading."""
    live.poll()
    frames = live.view().frames
    return frames[-1].reading if frames else None


def test_the_key_goes_to_the_next_face_and_the_card_places_it(live: LiveSession) -> None:
    """The larger face first, then the other one by its key; the card's place makes its offset that of the card."""

    def on_side(left: bool) -> bool:
        reading = metered(live)
        return reading is not None and reading.face is not None and (reading.face.middle.x < 0.5) is left

    wait_for(lambda: on_side(left=False), "the larger face")
    dark = metered(live)
    assert live.next_face()
    wait_for(lambda: on_side(left=True), "the other face")
    reading = metered(live)
    assert dark is not None and reading is not None and reading.card_stops is not None
    assert reading.level_stops - dark.level_stops > 1.0
    placement = live.toggle_card(None)
    assert placement is not None and placement.from_grey is not None
    assert placement.from_grey.value == pytest.approx(reading.level_stops - reading.card_stops)
    placed = metered(live)
    assert placed is not None and placed.offset_stops == pytest.approx(reading.card_stops)
    assert live.view().frame_count == 1


def exif(iso: int) -> dict[str, str]:
    """Settings of a flash picture, but for the shutter, which does not matter."""
    return {"Exif.Photo.FNumber": "8/1", "Exif.Photo.ISOSpeedRatings": str(iso)}


def card_alone() -> Portrait:
    """A grey card in the middle of the picture, before a dark backdrop."""
    cells = np.full((3, 534, 800), 0.05, np.float32)
    cells[:, 187:347, 280:520] = 0.18
    return Portrait(cells, (0.0, 0.0), (0.0, 0.0))


def test_a_picture_of_a_card_alone_places_the_face_of_the_next_one_also_after_a_restart(tmp_path: Path) -> None:
    """The face at one stop more ISO than the card: its offset is then what the card would have there."""
    person = portrait(sitters()["scikit-image"], Pose(320, darker_stops=1.0))
    folder = tmp_path / "captures"
    folder.mkdir()
    take(folder / "A.DNG", card_alone(), -0.7, 100, 1, tags=exif(100))
    wish = Wish("studio-portrait", session=tmp_path / "a.session", from_start=True)
    with opened(folder, wish) as found:
        live = LiveSession(folder, found)
        live.listen(lambda: None)
        wait_for(lambda: metered(live) is not None, "the card")
        kept = live.toggle_card(None)
        live.close()
    assert kept is not None and kept.from_grey is None
    take(folder / "B.DNG", person, 0.3, 200, 2, tags=exif(200))
    with opened(folder, wish) as found:
        live = LiveSession(folder, found)
        live.listen(lambda: None)
        wait_for(lambda: metered(live) is not None and live.view().frame_count == 2, "the face")
        live.close()
    newest, (placement,) = live.view().frames[-1], live.view().placements
    assert placement.from_grey is not None
    assert placement.from_grey.value == pytest.approx(skin_stops(person), abs=0.05)
    assert newest.reading.offset_stops == pytest.approx(0.3, abs=0.05)
    assert [finding.kind for finding in newest.findings if finding.kind == "face"] == ["face"]


def test_read_tells_that_eyes_were_measured_and_that_there_is_nothing_to_compare(tmp_path: Path) -> None:
    """Each file is judged by itself; where no eyes were seen there is no such object."""
    take(tmp_path / "A.DNG", portrait(sitters()["scikit-image"], Pose(400)), 0.0, 100, 1)
    take(tmp_path / "B.DNG", card_alone(), 0.0, 100, 1)
    files = [str(tmp_path / "A.DNG"), str(tmp_path / "B.DNG")]
    done = CliRunner().invoke(cli, ["read", *files, "--plan", "studio-portrait", "--json"])
    frames = [event for event in map(json.loads, done.stdout.splitlines()) if event["event"] == "frame"]
    assert [None if frame["eyes"] is None else frame["eyes"]["state"] for frame in frames] == ["unknown", None]
    assert "0 of 5" in frames[0]["eyes"]["reason"]
