"""Faces through the whole program: workers, session and the keys of the dashboard."""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import cast

import numpy as np
import pytest
from program import wait_for

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "scripts"))

from benchmarks.portraits import Portrait, Pose, portrait, sitters, take

from tetherwatch.advise.library import load_plan
from tetherwatch.cli.live import LiveSession
from tetherwatch.meter.records import Reading
from tetherwatch.session.opening import Opened
from tetherwatch.session.recorded import RecordedSession
from tetherwatch.session.session import Session
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
    session = cast(RecordedSession, Session(tmp_path, load_plan("studio-portrait")))
    source = LiveSession(tmp_path, Opened(session, NoLedger(), from_start=True))
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
    stops = live.place_by_card()
    assert stops == pytest.approx(reading.level_stops - reading.card_stops)
    placed = metered(live)
    assert placed is not None and placed.offset_stops == pytest.approx(reading.card_stops)
    assert live.view().frame_count == 1
