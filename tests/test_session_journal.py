"""What was written of a session is there after the program died, and it goes on without counting twice."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from advise_records import GOOD
from body_records import BODY
from hypothesis import given
from hypothesis import settings as examples
from journal_records import CHOSEN, Clock, Program, frames, program
from session_records import FOLDER, metered

from tetherwatch.advise.landing import Landing
from tetherwatch.errors import JournalError, SessionBusyError
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.faults import Fault
from tetherwatch.session.chosen import chosen_plan
from tetherwatch.session.database import Database
from tetherwatch.session.journal import Journal
from tetherwatch.session.judging import LOOK_BACK
from tetherwatch.session.migrations import MIGRATIONS, migrate
from tetherwatch.session.recall import numbered_frame, recall
from tetherwatch.session.recorded import RecordedSession
from tetherwatch.session.recorder import MOST_DEATHS, Recorder
from tetherwatch.session.records import NO_PAST, FrameRecord
from tetherwatch.session.roll import KEPT_FRAMES
from tetherwatch.session.session import KEPT_PROBLEMS
from tetherwatch.watch.ledger import identity
from tetherwatch.watch.listing import Entry
from tetherwatch.watch.records import Capture, Health, Problem

BROKEN = Problem(FOLDER / "9.DNG", "the file is empty", "copy it again")


def capture(name: str, sequence: int = 1, fingerprint: bytes | None = None) -> Capture:
    """A capture of the folder."""
    return Capture(FOLDER / name, 100, 7, 5.0, None, sequence, fingerprint)


def read(running: Program, name: str, offset: float = 0.0, **changes) -> FrameRecord:
    """Read a capture from beginning to end; its frame."""
    event = metered(name, offset, at=float(running.session.frame_count), **changes)
    running.recorder.began(event.capture)
    running.recorder.ended(event.capture, None)
    record, *_ = running.session.take(event)
    assert isinstance(record, FrameRecord)
    return record


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the session is kept."""
    return tmp_path / "data" / "a.session"


@given(frame=frames)
@examples(max_examples=30)
def test_any_frame_is_recalled_as_it_was(frame: FrameRecord, tmp_path_factory: pytest.TempPathFactory) -> None:
    """With its capture, thumbnail, landing and call."""
    path = tmp_path_factory.mktemp("any") / "a.session"
    number = abs(frame.number) % 1000 + 1
    frame = replace(frame, number=number, capture=replace(frame.capture, sequence=3, size=abs(frame.capture.size) % 99))
    frame = replace(frame, capture=replace(frame.capture, mtime_ns=abs(frame.capture.mtime_ns) % 99))
    with program(path, FOLDER) as running:
        running.recorder.note(frame)
        (recalled,) = recall(running.journal).past.frames
    assert recalled == frame


def test_a_session_goes_on_where_it_died(path: Path) -> None:
    """Same frames, problems, counts, locks and score; the next frame has the next number."""
    first = Program(path, FOLDER)
    for number in range(1, 4):
        read(first, f"{number}.DNG", -1.0)
    first.session.toggle_lock(Setting.ISO)
    first.session.take(BROKEN)
    before = first.session.view()
    first.die()
    second = Program(path, FOLDER)
    assert second.session.view() == before
    assert second.session.locks == first.session.locks
    assert read(second, "4.DNG").number == 4
    second.die()


def test_only_the_last_frames_are_recalled_but_all_are_counted(path: Path) -> None:
    """What a start has to read does not grow with the session; what may be looked back on comes after it."""
    first = Program(path, FOLDER)
    for number in range(1, KEPT_FRAMES + 6):
        first.recorder.note(replace(read_once(first), number=number, capture=capture(f"{number}.DNG", number)))
    for number in range(KEPT_PROBLEMS + 5):
        first.session.take(replace(BROKEN, problem=f"problem {number}"))
    first.die()
    second = Program(path, FOLDER)
    past = second.recalled.past
    last = list(range(6, KEPT_FRAMES + 6))
    assert [frame.number for frame in past.frames] == last[-LOOK_BACK:]
    assert [frame.number for frame in second.recorder.earlier()] == last[:-LOOK_BACK]
    assert [frame.number for frame in second.session.view().frames] == last
    oldest = numbered_frame(second.journal, 1)
    assert oldest is not None
    assert (oldest.number, oldest.capture.path.name) == (1, "1.DNG")
    assert numbered_frame(second.journal, KEPT_FRAMES + 6) is None
    assert (past.frame_count, past.problem_count) == (KEPT_FRAMES + 5, KEPT_PROBLEMS + 5)
    assert [problem.problem for problem in past.problems] == [f"problem {n}" for n in range(5, KEPT_PROBLEMS + 5)]
    second.die()


def read_once(running: Program) -> FrameRecord:
    """Any frame."""
    return read(running, "0.DNG") if not running.session.frame_count else running.session.view().frames[-1]


def test_what_was_read_is_known_and_what_was_not_is_not(path: Path) -> None:
    """Also what lay there before, and what failed for good; what another start may mend is tried again."""
    first = Program(path, FOLDER)
    first.recorder.looked({str(FOLDER / "old.DNG"): Entry("file", 1, 2)})
    record = read(first, "1.DNG")
    for name, fault in (("cut.DNG", Fault.CUT_SHORT), ("denied.DNG", Fault.NO_ACCESS)):
        first.recorder.began(capture(name))
        first.recorder.ended(capture(name), fault)
        first.session.take(Problem(FOLDER / name, fault.problem, fault.advice))
    first.recorder.began(capture("flying.DNG"))
    first.recorder.recognised(replace(record.capture, path=FOLDER / "renamed.DNG"))
    first.recorder.note()
    first.die()
    second = Program(path, FOLDER)
    known = {Path(name).name: entry for name, entry in second.recorder.remembered().known.items()}
    assert set(known) == {"old.DNG", "1.DNG", "cut.DNG", "renamed.DNG"}
    assert known["1.DNG"] == Entry("file", record.capture.size, record.capture.mtime_ns)
    assert second.recorder.remembered().doubtful == {identity(capture("flying.DNG"))}
    assert {Path(path).name for path, *_ in second.recorder.remembered().given} == {"1.DNG", "renamed.DNG"}
    assert second.recalled.begun
    second.die()
    third = Program(path, FOLDER, also_skipped=True)
    assert str(FOLDER / "old.DNG") not in third.recorder.remembered().known
    third.die()


def test_a_problem_that_was_not_said_yet_is_found_again(path: Path) -> None:
    """Killed between the attempt and its line: the capture is read once more, so that the line is said."""
    first = Program(path, FOLDER)
    first.recorder.began(capture("cut.DNG"))
    first.recorder.ended(capture("cut.DNG"), Fault.CUT_SHORT)
    first.recorder.note()
    first.die()
    second = Program(path, FOLDER)
    assert not second.recorder.remembered().known
    second.die()


def test_sequence_and_fingerprint_go_on(path: Path) -> None:
    """New arrivals are numbered after the old ones, and old contents are recognised."""
    first = Program(path, FOLDER)
    record = read(first, "1.DNG")
    kept = replace(record.capture, sequence=41, fingerprint=b"\0print")
    first.recorder.note(replace(record, capture=kept))
    first.die()
    second = Program(path, FOLDER)
    assert second.recorder.remembered().sequence == 41
    assert second.recorder.remembered().given == {identity(kept): b"\0print"}
    second.die()


def test_names_that_are_no_text_are_kept(path: Path) -> None:
    """A file name may hold any bytes."""
    name = "a\udcffb\n\x1b.DNG"
    first = Program(path, FOLDER)
    frame = read(first, name)
    first.session.take(replace(BROKEN, path=FOLDER / name))
    first.die()
    second = Program(path, FOLDER)
    assert second.recalled.past.frames == (frame,)
    assert second.recalled.past.problems[-1].path == FOLDER / name
    second.die()


def test_metadata_that_are_no_text_are_kept(path: Path) -> None:
    """A camera's name may hold half a character."""
    first = Program(path, FOLDER)
    event = metered("1.DNG")
    first.session.take(replace(event, metadata=replace(event.metadata, camera="a\ud800b")))
    first.die()
    second = Program(path, FOLDER)
    assert second.recalled.past.frames[0].metadata.camera == "a\ud800b"
    second.die()


def test_a_capture_that_stopped_the_reader_twice_is_set_aside(path: Path) -> None:
    """Once in this run and once in the last; and in the next as well."""
    killer = capture("killer.DNG")
    for allowed in (True, True, False, False):
        running = Program(path, FOLDER)
        assert running.recorder.allows(killer) is allowed
        if allowed:
            running.recorder.began(killer)
            running.recorder.ended(killer, Fault.CRASHED)
            running.session.take(Problem(killer.path, Fault.CRASHED.problem, ""))
        running.die()


def test_a_capture_that_took_the_program_down_again_and_again_is_set_aside(path: Path) -> None:
    """The start of an attempt is written before anything is decoded, so it is known who was on."""
    killer, same_name = capture("killer.DNG"), replace(capture("killer.DNG"), mtime_ns=8)
    for doubtful in (False, *[True] * (MOST_DEATHS - 1)):
        running = Program(path, FOLDER)
        assert (identity(killer) in running.recorder.remembered().doubtful) is doubtful
        assert running.recorder.allows(killer)
        running.recorder.began(killer)
        running.die()
    running = Program(path, FOLDER)
    assert not running.recorder.allows(killer)
    assert running.recorder.allows(same_name)
    running.die()


def test_a_program_that_stops_by_itself_blames_no_capture(path: Path) -> None:
    """What was under way then is simply read at the next start."""
    for _ in range(4):
        with program(path, FOLDER) as running:
            running.recorder.began(capture("1.DNG"))
            assert not running.recorder.remembered().known


def test_the_next_start_knows_how_the_last_run_ended(path: Path) -> None:
    """A new session has no last run, a stopped one ended well, a killed one at its last sign."""
    clock = Clock()
    with program(path, FOLDER, clock=clock) as running:
        assert running.recalled.broke_off is None
    first = Program(path, FOLDER, clock=clock)
    assert first.recalled.broke_off is None
    clock.now += 100
    read(first, "1.DNG")
    first.die()
    clock.now += 1000
    second = Program(path, FOLDER, clock=clock)
    assert second.recalled.broke_off == clock.now - 1000
    second.die()


def test_a_better_reading_is_the_same_frame(path: Path) -> None:
    """One row a frame, with the capture, picture and landing of the last reading."""
    landing = Landing(Setting.ISO, 1.0, 0.0, 0.1, 0.1, 0.9)
    running = Program(path, FOLDER)
    first = read(running, "1.JPG")
    running.recorder.note(replace(first, landing=landing))
    record, *_ = running.session.take(metered("1.DNG", 1.0, pair="1.JPG", replaces=True))
    assert running.rows("SELECT count(*) FROM frames") == [(1,)]
    assert running.rows("SELECT count(*) FROM thumbnails") == [(1,)]
    assert running.rows("SELECT count(*) FROM landings") == [(0,)]
    assert recall(running.journal).past.frames == (record,)
    running.die()


def test_columns_say_the_same_as_the_record(path: Path) -> None:
    """So a report can ask the file without reading records."""
    running = Program(path, FOLDER)
    frame = read(running, "1.DNG", -1.0)
    (row,) = running.rows(
        "SELECT shutter_s, aperture, iso, offset_stops, light_value, call_kind, call_setting, call_from, call_to, "
        "predicted_offset_stops, captures.path, state FROM frames JOIN captures ON captures.id = capture"
    )
    settings, call = frame.metadata.settings, frame.call
    assert call.setting is not None
    assert call.predicted is not None
    assert row == (
        *(settings.shutter_s, settings.aperture, settings.iso, frame.reading.offset_stops, frame.reading.light_value),
        *(call.kind, call.setting.value, call.from_label, call.to_label, call.predicted.offset_stops),
        *("1.DNG", "read"),
    )
    running.die()


def test_the_plan_in_force_is_kept_with_its_text_and_locks(path: Path) -> None:
    """The file of the plan may be changed or gone by the next start."""
    other = chosen_plan("gone.toml", CHOSEN.text.replace('"Window"', '"Other"'), None)
    first = Program(path, FOLDER)
    read(first, "1.DNG")
    first.session.choose(other)
    first.session.toggle_lock(Setting.SHUTTER)
    first.die()
    second = Program(path, FOLDER)
    assert second.recalled.chosen == other
    assert second.recalled.past.locks == {Setting.SHUTTER: 2.0**-8}
    assert second.recalled.past.set_after == 1
    second.die()


def test_the_body_in_force_is_kept_with_its_whole_profile(path: Path) -> None:
    """A session goes on under its body's ceiling although the profile has gone; without one nothing is made up."""
    chosen = chosen_plan("mine.toml", GOOD, None)
    with program(path, FOLDER) as running:
        running.recorder.use_plan(chosen.under(BODY), {}, 0)
    with program(path, FOLDER) as again:
        kept = again.recalled.chosen
        assert kept is not None
        assert (kept.body, kept.ceiling_iso) == (BODY, None)
        assert (kept.plan.ceiling_iso, kept.plan.iso.brightest) == (6400.0, 6400.0)
        again.recorder.use_plan(chosen, {}, 0)
    with program(path, FOLDER) as last:
        assert last.recalled.chosen == chosen


def test_a_session_from_before_bodies_is_read(path: Path) -> None:
    """A file without the columns gets them, and its plan has no body."""
    path.parent.mkdir()
    with closing(Database(path)) as database:
        before = [name for name, _ in MIGRATIONS].index("bodies")
        migrate(database, MIGRATIONS[:before])
    with program(path, FOLDER) as running:
        assert running.rows("SELECT body, body_text FROM plans") == [(None, None)]


def test_the_same_line_is_kept_once(path: Path) -> None:
    """A problem said again at each start is one problem."""
    for _ in range(3):
        running = Program(path, FOLDER)
        running.session.take(BROKEN)
        assert running.rows("SELECT count(*) FROM problems") == [(1,)]
        running.die()


def test_a_second_program_is_refused(path: Path) -> None:
    """Until the first has let go."""
    running = Program(path, FOLDER)
    with pytest.raises(SessionBusyError):
        Program(path, FOLDER)
    running.die()
    Program(path, FOLDER).die()


def test_a_session_of_another_folder_is_refused(path: Path) -> None:
    """And can be used by its own afterwards."""
    Program(path, FOLDER).die()
    with pytest.raises(JournalError, match="another folder"):
        Program(path, FOLDER / "other")
    Program(path, FOLDER).die()


def test_a_file_that_is_no_session_is_refused_and_left_alone(path: Path) -> None:
    """Whatever it is."""
    path.parent.mkdir()
    for content in (b"a picture, perhaps" * 100, b"SQLite format 3\0" + b"\xff" * 2000):
        path.write_bytes(content)
        with pytest.raises(JournalError):
            Program(path, FOLDER)
        assert path.read_bytes() == content


def test_a_damaged_record_is_said(path: Path) -> None:
    """As a session that cannot be used, not as a crash."""
    running = Program(path, FOLDER)
    read(running, "1.DNG")
    with running.journal.transaction() as db:
        db.execute("UPDATE frames SET record = '{}'")
    with pytest.raises(JournalError, match="damaged"):
        recall(running.journal)
    running.die()


def test_a_reader_is_not_kept_waiting(path: Path) -> None:
    """A report may read while the session is recorded."""
    running = Program(path, FOLDER)
    read(running, "1.DNG")
    other = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)
    assert other.execute("SELECT count(*) FROM frames").fetchall() == [(1,)]
    other.close()
    read(running, "2.DNG")
    running.die()


def test_health_writes_nothing_of_its_own(path: Path) -> None:
    """It only gives what waits a chance to be written."""
    running = Program(path, FOLDER)
    running.recorder.began(capture("1.DNG"))
    running.recorder.ended(capture("1.DNG"), Fault.CUT_SHORT)
    assert running.rows("SELECT outcome FROM attempts") == [(None,)]
    running.session.take(Health(FOLDER, True, "events", 0, None))
    assert running.rows("SELECT outcome FROM attempts") == [("CUT_SHORT",)]
    running.die()


def test_work_a_frame_is_small(path: Path) -> None:
    """The same few transactions early and late in a session."""
    statements: list[str] = []
    with closing(Journal.open(path, FOLDER, Clock(), tracer=statements.append)) as journal:
        recorder = Recorder(journal, recall(journal))
        session = RecordedSession(FOLDER, CHOSEN, NO_PAST, recorder)
        counts = []
        for number in range(12):
            statements.clear()
            event = metered(f"{number}.DNG", at=float(number))
            recorder.began(event.capture)
            recorder.ended(event.capture, None)
            session.take(event)
            counts.append((len(statements), statements.count("COMMIT")))
    assert set(counts[2:]) == {counts[-1]}
    assert counts[-1][1] == 2
