"""A session's file is read while it is recorded, after it ended and after a kill, and never written to."""

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from journal_records import CHOSEN, Clock, Program, program
from report_records import BRIGHTER, LANDED, SOFT, frame, keep, picture, write

from tetherwatch.advise.records import Estimate
from tetherwatch.errors import UsageError
from tetherwatch.report.reader import Reader, reading
from tetherwatch.report.records import SessionRecord
from tetherwatch.session.codec import to_plain
from tetherwatch.session.database import Database
from tetherwatch.session.migrations import MIGRATIONS, migrate
from tetherwatch.setups.records import Setup
from tetherwatch.watch.records import Problem


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """Where the session is kept."""
    return tmp_path / "a b?#%.session"


def read(path: Path) -> SessionRecord:
    """The record in a file."""
    with reading(path) as reader:
        return reader.record()


def test_what_was_written_is_read(session: Path, captures: Path) -> None:
    """Frames come with all that their record shows, under the plan that was in force."""
    first = frame(1, -1.0, BRIGHTER, folder=captures, findings=(SOFT,), notes=("a note",))
    keep(session, captures, [first, frame(2, 0.01, folder=captures, landing=LANDED)])
    found = read(session)
    assert (found.folder, found.began_at, len(found.runs)) == (captures, Clock().now, 1)
    one, two = found.frames
    assert (one.number, one.path, one.call, one.metadata) == (1, first.capture.path, BRIGHTER, first.metadata)
    assert (one.findings, one.notes, one.plan) == ((SOFT,), ("a note",), CHOSEN.plan)
    assert one.measured.offset_stops == -1.0 and one.measured.clipped_percent == {"r": 0.0, "g": 0.1, "b": 0.0}
    assert (two.landing, two.setup, one.landing) == (LANDED, None, None)


def test_frames_stand_in_the_order_of_arrival(session: Path, captures: Path) -> None:
    """One of the backlog that was read last stands where it arrived."""
    late = frame(3, folder=captures)
    early = frame(4, folder=captures, capture=frame(1, folder=captures, name="early.DNG").capture)
    keep(session, captures, [late, early])
    assert [each.number for each in read(session).frames] == [4, 3]


def test_a_resumed_session_is_one_record(session: Path, captures: Path) -> None:
    """Frames of all runs are there, each run is counted."""
    keep(session, captures, [frame(1, folder=captures)])
    keep(session, captures, [frame(2, folder=captures)])
    found = read(session)
    assert [each.number for each in found.frames] == [1, 2]
    assert [run.ended_at is not None for run in found.runs] == [True, True]


def test_it_is_read_while_it_is_recorded(session: Path, captures: Path) -> None:
    """Reader and writer do not keep each other waiting, and a later look sees what came meanwhile."""
    with program(session, captures) as running:
        write(running, [frame(1, folder=captures)])
        with reading(session) as reader:
            assert reader.frame_count() == 1 and not reader.ended()
            write(running, [frame(2, folder=captures)])
            assert reader.frame_count() == 2
            assert [each.number for each in reader.record().frames] == [1, 2]
    with reading(session) as reader:
        assert reader.ended()


def test_a_killed_program_leaves_a_record(session: Path, captures: Path) -> None:
    """What was written is read; the run has no end."""
    running = Program(session, captures)
    write(running, [frame(1, folder=captures)])
    running.die()
    assert [run.ended_at for run in read(session).runs] == [None]


def test_a_transaction_cut_by_a_kill_is_taken_back(session: Path, captures: Path, tmp_path: Path) -> None:
    """Files as a kill leaves them in the middle of writing read as they were before that."""
    keep(session, captures, [frame(1, folder=captures)])
    left = tmp_path / "left.session"
    with closing(sqlite3.connect(session, isolation_level=None)) as db:
        db.execute("PRAGMA cache_size = 1")
        db.execute("BEGIN IMMEDIATE")
        db.execute("UPDATE frames SET record = 'half-written'")
        row = "INSERT INTO problems VALUES (?, 'a', NULL, 0, ?, '')"
        db.executemany(row, [(number, f"{number:900}") for number in range(900)])
        for name in (session.name, f"{session.name}-journal"):
            shutil.copy(session.with_name(name), left.with_name(name.replace(session.name, left.name)))
        db.execute("ROLLBACK")
    assert b"half-written" in left.read_bytes() and left.with_name(f"{left.name}-journal").stat().st_size
    found = read(left)
    assert [each.number for each in found.frames] == [1] and not found.problems


def test_reading_changes_nothing(session: Path, captures: Path) -> None:
    """The file is the same to the byte, nothing lies beside it, and the connection refuses to write."""
    keep(session, captures, [frame(1, folder=captures)])
    before, beside = session.read_bytes(), sorted(session.parent.iterdir())
    with reading(session) as reader:
        reader.record()
        list(reader.thumbnails([1]))
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            reader._db.execute("DELETE FROM frames")
    assert (session.read_bytes(), sorted(session.parent.iterdir())) == (before, beside)


def test_pictures_come_in_the_order_asked_for(session: Path, captures: Path) -> None:
    """More of them than are read at once; None for one that is not there."""
    keep(session, captures, [frame(n, folder=captures, thumbnail=picture(n)) for n in range(1, 131)])
    wanted = [130, 999, *range(1, 121)]
    with reading(session) as reader:
        found = list(reader.thumbnails(wanted))
    assert found[1] is None
    assert [each.rgb[0] for each in found if each is not None] == [130, *range(1, 121)]


def test_pictures_are_read_as_they_are_used(session: Path, captures: Path) -> None:
    """Taking the first one reads a part of the frames only: memory does not grow with the session."""
    keep(session, captures, [frame(n, folder=captures) for n in range(1, 251)])
    asked: list[str] = []
    with reading(session) as reader:
        reader._db.set_trace_callback(asked.append)
        assert next(reader.thumbnails(range(1, 251))) == picture()
        assert len(asked) == 1


def test_problems_are_in_it(session: Path, captures: Path) -> None:
    """Each line that was said about a capture is kept with its advice."""
    with program(session, captures) as running:
        running.recorder.note(Problem(captures / "bad.DNG", "it is cut short", "shoot it again"))
    (problem,) = read(session).problems
    assert (problem.path, problem.problem, problem.advice) == (
        captures / "bad.DNG",
        "it is cut short",
        "shoot it again",
    )


def test_setups_are_read_where_there_are_some(session: Path, captures: Path) -> None:
    """A setup comes with its name and light; a frame knows the setup it belongs to."""
    keep(session, captures, [frame(1, folder=captures)])
    setup = Setup(1, 1, 1, 1, "Window", Estimate(7.0, 0.03), proven=True)
    with closing(sqlite3.connect(session)) as db, db:
        add_setup(db, setup)
        db.execute("UPDATE frames SET setup = 1")
    found = read(session)
    assert found.setups == (setup,) and found.setup(found.frames[0].setup) == setup


def add_setup(db: sqlite3.Connection, setup: Setup) -> None:
    """Write a setup as the journal does."""
    values = (setup.number, setup.first_frame, setup.last_frame, setup.frame_count, setup.state)
    columns = "number, first_frame, last_frame, frame_count, state, record"
    db.execute(f"INSERT INTO setups ({columns}) VALUES (?, ?, ?, ?, ?, ?)", (*values, json.dumps(to_plain(setup))))


def test_a_session_from_before_setups_is_read(session: Path, captures: Path) -> None:
    """Tables that an older program did not make are not needed."""
    database = Database(session)
    migrate(database, MIGRATIONS[:1])
    with database.transaction() as db:
        db.execute("INSERT INTO session (folder, began_at) VALUES (?, 1.0)", (str(captures),))
    database.close()
    found = read(session)
    assert (found.frames, found.setups, found.pins) == ((), (), ())


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"", "not a session"), (b"SQLite format 3\0" + b"\xff" * 4096, "cannot be read"), (b"GIF89a" * 99, "not a data")],
)
def test_another_file_is_refused_in_words(session: Path, content: bytes, said: str) -> None:
    """What is no session is named as such, and left as it is."""
    session.write_bytes(content)
    with pytest.raises(UsageError, match=said), reading(session):
        pass
    assert session.read_bytes() == content


def test_a_session_that_was_only_begun_is_said_to_be_empty(session: Path) -> None:
    """A program that died before its first word left tables only."""
    database = Database(session)
    migrate(database)
    database.close()
    with pytest.raises(UsageError, match="nothing is in it yet"), reading(session):
        pass


def test_a_missing_file_is_not_made(session: Path) -> None:
    """Looking for a session leaves no file behind."""
    with pytest.raises(UsageError), reading(session):
        pass
    assert not session.exists()


def test_a_session_of_a_newer_program_is_refused(session: Path, captures: Path) -> None:
    """Its step is named, since its meaning is not known."""
    keep(session, captures, [])
    with closing(sqlite3.connect(session)) as db, db:
        db.execute("INSERT INTO migrations VALUES ('holograms', 0)")
    with pytest.raises(UsageError, match="newer version of this program \\(holograms\\)"), reading(session):
        pass


@pytest.mark.parametrize("damage", ["UPDATE frames SET record = 'x'", "UPDATE thumbnails SET pixels = x'00'"])
def test_a_damaged_session_is_said_to_be(session: Path, captures: Path, damage: str) -> None:
    """Content that is none becomes advice, not a traceback."""
    keep(session, captures, [frame(1, folder=captures)])
    with closing(sqlite3.connect(session)) as db, db:
        db.execute(damage)

    def use(reader: Reader) -> None:
        reader.record()
        list(reader.thumbnails([1]))

    with reading(session) as reader, pytest.raises(UsageError, match="cannot be read"):
        use(reader)
