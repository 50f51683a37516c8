"""The whole watch and a real session file in a made-up world: whatever happens, each shot is written down once."""

import json
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

from advise_records import reading
from hypothesis import settings
from journal_records import Program
from test_watch_faults import FOLDER, Shoot

from tetherwatch.frame.faults import Fault
from tetherwatch.watch.ledger import Remembered
from tetherwatch.watch.listing import Listing
from tetherwatch.watch.records import Capture, FirstLook, Metered, Problem, WatchEvent

IN_MEMORY = Path("/dev/shm")
"""Where files take no disk, if there is such a place: what is tried here is not the disk."""


class SessionFile:
    """What outlives a watch: a real session file, with the session and the recorder that write it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.program = Program(path, FOLDER)

    def remembered(self) -> Remembered:
        """See `Ledger`."""
        return self.program.recorder.remembered()

    def looked(self, skipped: Listing) -> None:
        """See `Ledger`."""
        self.program.recorder.looked(skipped)

    def allows(self, capture: Capture) -> bool:
        """See `Ledger`."""
        return self.program.recorder.allows(capture)

    def began(self, capture: Capture) -> None:
        """See `Ledger`."""
        self.program.recorder.began(capture)

    def ended(self, capture: Capture, fault: Fault | None) -> None:
        """See `Ledger`."""
        self.program.recorder.ended(capture, fault)

    def recognised(self, capture: Capture) -> None:
        """See `Ledger`."""
        self.program.recorder.recognised(capture)

    def take(self, event: WatchEvent) -> None:
        """The session takes an event, with a reading that calls can be made of."""
        if isinstance(event, (Metered, FirstLook)):
            measured = replace(reading(0.0), provisional=event.reading.provisional)
            event = replace(event, reading=measured)
        self.program.session.take(event)

    def reopened(self) -> "SessionFile":
        """The file as the next start finds it after a kill."""
        self.program.die()
        return SessionFile(self.path)

    @property
    def begun(self) -> dict[int, int]:
        """Attempts of this run that have not ended."""
        self.program.recorder.looked({})  # with which whatever waits is written
        run = "run = (SELECT max(id) FROM runs)"
        return dict(self.program.rows(f"SELECT id, capture FROM attempts WHERE ended_at IS NULL AND {run}"))


class RecordedShoot(Shoot):
    """Everything that may happen in a capture folder, written down by the real journal."""

    def _start(self) -> None:
        if not isinstance(self.book, SessionFile):
            place = IN_MEMORY if IN_MEMORY.is_dir() else None
            self.folder = Path(tempfile.mkdtemp(dir=place))
            self.book = SessionFile(self.folder / "a.session")
        super()._start()

    def teardown(self) -> None:
        """What was given is in the file once, whole, with growing numbers and in order of arrival."""
        if not hasattr(self, "folder"):
            return
        try:
            super().teardown()
            self._check_file()
        finally:
            self.book.program.die()
            shutil.rmtree(self.folder)

    def _check_file(self) -> None:
        program = self.book.program
        query = "SELECT number, sequence, record, path, width FROM frames JOIN captures ON captures.id = capture "
        rows = program.rows(f"{query} JOIN thumbnails ON frame = number ORDER BY number")
        assert [row[0] for row in rows] == list(range(1, len(rows) + 1))
        written = [json.loads(row[2])["notes"][0] for row in rows]
        assert len(written) == len(set(written)), written
        assert set(written) == {frame.notes[0] for frame in self._frames()}
        sequences = [row[1] for row in rows]
        assert len(sequences) == len(set(sequences)), sequences
        assert program.rows("SELECT count(*) FROM frames") == [(len(rows),)]
        assert program.rows("PRAGMA integrity_check") == [("ok",)]

    def _is_excused(self, path: Path) -> bool:
        """What was being read at many kills is set aside, and told."""
        return any(isinstance(event, Problem) and event.path == path for event in self.events)


def begun() -> RecordedShoot:
    """A shoot whose events are set by hand."""
    shoot = RecordedShoot()
    shoot.begin()
    return shoot


def test_a_new_aim_gives_no_content_the_mark_of_another() -> None:
    """What is written anew while its forerunner waits to be read once more is not lost at the next start."""
    shoot = begun()
    shoot.shoot(kind="good", name="a.dng", seconds=1.2)
    shoot.aim(stops=1.0)
    shoot.burst(names=["a.dng", "b.dng"])
    shoot.wait(seconds=0.3)
    shoot.restart(politely=False)
    shoot.teardown()


def test_a_capture_renamed_while_it_is_read_once_more_is_one_frame() -> None:
    """The reading under another aim takes the place of the first one, whatever the name is by then."""
    shoot = begun()
    shoot.shoot(kind="good", name="a.dng", seconds=0.0)
    shoot.aim(stops=1.0)
    shoot.wait(seconds=0.3)
    shoot.aim(stops=0.0)
    shoot.world.files[FOLDER / "b.dng"] = shoot.world.files.pop(FOLDER / "a.dng")
    shoot.calm = False
    shoot.teardown()


def test_a_capture_renamed_over_another_takes_no_frame_from_it() -> None:
    """Read once more under another aim, it is still the frame of its content, not that of its new name."""
    shoot = begun()
    shoot.burst(names=["a.dng", "d.jpg"])
    shoot.wait_long(seconds=8.0)
    shoot.aim(stops=1.0)
    shoot.world.files[FOLDER / "a.dng"] = shoot.world.files.pop(FOLDER / "d.jpg")
    shoot.calm = False
    shoot.teardown()


RecordedShoot.TestCase.settings = settings(max_examples=80, stateful_step_count=30, deadline=None)
TestRecordedShoot = RecordedShoot.TestCase
