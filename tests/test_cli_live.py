"""The session behind the dashboard, when something goes wrong in it."""

from pathlib import Path

import pytest
from journal_records import program
from program import wait_for
from session_records import metered

from tetherwatch.cli.advice import advice_lines
from tetherwatch.cli.live import LiveSession
from tetherwatch.errors import JournalError, WatchStoppedError
from tetherwatch.session.chosen import choose
from tetherwatch.session.judging import LOOK_BACK
from tetherwatch.session.opening import Opened, Wish, opened
from tetherwatch.session.recorded import RecordedSession
from tetherwatch.session.records import NO_PAST
from tetherwatch.watch.ledger import NoLedger
from tetherwatch.watch.records import Capture


class FaultyLedger(NoLedger):
    """A ledger that raises, which none may: as only a fault of ours could."""

    def allows(self, capture: Capture) -> bool:
        """Fail in the watch's thread."""
        raise ValueError("bad\x1bvalue")


def test_a_watch_that_stops_by_a_fault_ends_the_dashboard_with_one_line(tmp_path: Path) -> None:
    """The fault of the watch's thread reaches the dashboard's as an error with advice, safe to show."""
    (tmp_path / "A.DNG").write_bytes(b"not a capture")
    session = RecordedSession(tmp_path, choose("window-card", None), NO_PAST, None)
    live = LiveSession(tmp_path, Opened(session, FaultyLedger(), from_start=True))
    caught: list[WatchStoppedError] = []

    live.listen(lambda: None)

    def stopped() -> bool:
        try:
            live.poll()
        except WatchStoppedError as error:
            caught.append(error)
        return bool(caught)

    try:
        wait_for(stopped, "the error of the watch")
    finally:
        live.close()
    assert advice_lines(caught[0]) == [
        r"the watch stopped (ValueError: bad\x1bvalue); start it again: it goes on where it was"
    ]


def test_a_session_whose_earlier_frames_are_damaged_ends_the_dashboard_with_one_line(tmp_path: Path) -> None:
    """The start does not wait for them, so it is found when the dashboard is up."""
    folder, path = tmp_path / "captures", tmp_path / "one.session"
    folder.mkdir()
    with program(path, folder) as before:
        for number in range(LOOK_BACK + 2):
            before.session.take(metered(f"{number}.DNG", at=number))
        with before.journal.transaction() as db:
            db.execute("UPDATE frames SET record = '{}' WHERE number = 1")
    with opened(folder, Wish("window-card", path)) as found:
        live = LiveSession(folder, found)
        live.listen(lambda: None)
        try:
            with pytest.raises(JournalError, match="damaged"):
                wait_for(live.poll, "the error of the session")
        finally:
            live.close()
