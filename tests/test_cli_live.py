"""The session behind the dashboard, when something goes wrong in it."""

from pathlib import Path
from typing import cast

from program import wait_for

from tetherwatch.advise.library import load_plan
from tetherwatch.cli.advice import advice_lines
from tetherwatch.cli.live import LiveSession
from tetherwatch.errors import WatchStoppedError
from tetherwatch.session.opening import Opened
from tetherwatch.session.recorded import RecordedSession
from tetherwatch.session.session import Session
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
    session = cast(RecordedSession, Session(tmp_path, load_plan("window-card")))
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
