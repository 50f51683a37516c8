"""A disk that refuses to be written never stops the shoot, and nothing is missing once it takes writes again."""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, note
from hypothesis import settings as examples
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from journal_records import Program
from session_records import FOLDER, metered

from tetherwatch.session.recorder import MOST_WAITING, RETRY_S
from tetherwatch.session.records import SessionEvent
from tetherwatch.watch.records import Health, Problem

HEALTH = Health(FOLDER, True, "events", 0, None)


def read(running: Program, name: str) -> tuple[SessionEvent, ...]:
    """Read a capture from beginning to end; the news."""
    event = metered(name, at=float(running.session.frame_count))
    running.recorder.began(event.capture)
    running.recorder.ended(event.capture, None)
    return running.session.take(event)


def said(news: tuple[SessionEvent, ...]) -> list[str]:
    """The problems among the news."""
    return [each.problem for each in news if isinstance(each, Problem)]


def numbers(running: Program) -> list[int]:
    """The frames in the file."""
    return [number for (number,) in running.rows("SELECT number FROM frames ORDER BY number")]


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Program]:
    """A session with one frame."""
    program = Program(tmp_path / "a.session", FOLDER)
    read(program, "1.DNG")
    yield program
    program.die()


def test_a_full_disk_is_said_once_and_frames_go_on(running: Program) -> None:
    """The frames come out as ever; then all of them are written, and that is said too."""
    running.disk.fill_up()
    news = [read(running, f"{number}.DNG") for number in range(2, 12)]
    assert [problem for each in news for problem in said(each)] == [
        "the session is not being recorded: database or disk is full"
    ]
    assert running.session.frame_count == 11
    assert running.session.problem_count == 1
    running.disk.make_room()
    running.steady.now += RETRY_S
    assert said(running.session.take(HEALTH)) == ["the session is recorded again, nothing is missing"]
    assert numbers(running) == list(range(1, 12))
    assert said(read(running, "12.DNG")) == []


def test_a_disk_that_became_read_only_is_said(running: Program) -> None:
    """With SQLite's own reason."""
    running.disk.protect()
    (problem,) = said(read(running, "2.DNG"))
    assert problem == "the session is not being recorded: attempt to write a readonly database"
    running.disk.protect(False)


def test_it_is_not_tried_at_every_frame(running: Program) -> None:
    """A disk in trouble is asked now and then."""
    running.disk.protect()
    read(running, "2.DNG")
    running.disk.protect(False)
    running.steady.now += RETRY_S / 2
    assert said(read(running, "3.DNG")) == []
    assert numbers(running) == [1]
    running.steady.now += RETRY_S / 2
    assert said(running.session.take(HEALTH)) == ["the session is recorded again, nothing is missing"]
    assert numbers(running) == [1, 2, 3]


def test_what_waits_is_bounded_and_what_is_lost_is_said(running: Program) -> None:
    """Memory does not grow with the outage; captures that were lost are not known at the next start."""
    running.disk.protect()
    for number in range(2, MOST_WAITING):
        read(running, f"{number}.DNG")
    running.disk.protect(False)
    running.steady.now += RETRY_S
    (problem,) = said(running.session.take(HEALTH))
    kept = len(numbers(running))
    lost = 3 * (MOST_WAITING - 2) - MOST_WAITING
    assert problem == f"the session is recorded again, {lost} entries are missing"
    assert 1 < kept < MOST_WAITING / 2
    running.die()
    again = Program(running.journal.path, FOLDER)
    assert len(again.recorder.remembered().known) == kept
    again.die()


def test_the_end_is_written_if_the_disk_allows_it_by_then(tmp_path: Path) -> None:
    """Without waiting for the next try."""
    running = Program(tmp_path / "a.session", FOLDER)
    running.disk.protect()
    read(running, "1.DNG")
    running.disk.protect(False)
    running.recorder.close()
    again = Program(tmp_path / "a.session", FOLDER)
    assert again.recalled.past.frame_count == 1
    assert again.recalled.broke_off is None
    again.die()


class Outages(RuleBasedStateMachine):
    """Captures, outages of the disk and deaths of the program in any order."""

    def __init__(self) -> None:
        super().__init__()
        self.place = Path(tempfile.mkdtemp())
        self.program = Program(self.place / "a.session", FOLDER)
        self.names = 0
        self.refusing = False
        self.unread: set[str] = set()
        self.said: set[str] = set()

    @rule()
    def capture(self) -> None:
        """A capture lands and is read."""
        self.names += 1
        self._read(f"{self.names}.DNG")

    @rule()
    def wait(self) -> None:
        """Time for another try, and a sign of life."""
        self.program.steady.now += RETRY_S
        self.program.session.take(HEALTH)

    @precondition(lambda self: not self.refusing)
    @rule()
    def refuse(self) -> None:
        """The disk refuses from now on."""
        self.program.disk.protect()
        self.refusing = True

    @precondition(lambda self: self.refusing)
    @rule()
    def allow(self) -> None:
        """The disk takes writes again."""
        self.program.disk.protect(False)
        self.refusing = False

    @rule()
    def die(self) -> None:
        """Killed and started again: whatever is not known is read."""
        self.program.die()
        self.refusing = False
        self.program = Program(self.place / "a.session", FOLDER)
        known = {Path(path).name for path in self.program.recorder.remembered().known}
        for number in range(1, self.names + 1):
            if f"{number}.DNG" not in known:
                self._read(f"{number}.DNG")

    def _read(self, name: str) -> None:
        note(name)
        read(self.program, name)

    @invariant()
    def each_capture_is_one_frame(self) -> None:
        """Whatever happened, in the file and in view."""
        frames = self.program.session.view().frames
        assert sorted(frame.capture.path.name for frame in frames) == sorted(
            f"{number}.DNG" for number in range(1, self.names + 1)
        )
        assert self.program.rows("SELECT capture FROM frames GROUP BY capture HAVING count(*) > 1") == []

    def teardown(self) -> None:
        """Leave nothing behind."""
        self.program.die()
        shutil.rmtree(self.place)


TestOutages = Outages.TestCase
TestOutages.settings = examples(
    max_examples=12, stateful_step_count=15, deadline=None, suppress_health_check=list(HealthCheck)
)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of one MiB."""
    if sys.platform != "linux" or os.geteuid() != 0 or shutil.which("mount") is None:
        pytest.skip("only root on Linux may mount a small disk")
    place = tmp_path / "small"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("no disk may be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_disk_that_is_really_full(small_disk: Path) -> None:
    """Filled by something else, then freed."""
    running = Program(small_disk / "a.session", FOLDER)
    read(running, "1.DNG")
    ballast = small_disk / "ballast"
    with ballast.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space left"):
        while True:
            file.write(b"\0" * 4096)
    news = [said(read(running, f"{number}.DNG")) for number in range(2, 60)]
    (problem,) = [each for many in news for each in many]
    assert problem.startswith("the session is not being recorded: ")
    ballast.unlink()
    running.steady.now += RETRY_S
    assert said(running.session.take(HEALTH)) == ["the session is recorded again, nothing is missing"]
    assert numbers(running) == list(range(1, 60))
    assert replace(running.session.view().frames[-1]).number == 59
    running.die()
