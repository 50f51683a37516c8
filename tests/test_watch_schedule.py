"""Which capture is read next, and what becomes of its outcome."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from worker_stubs import read_of

from tetherwatch.exposure.dial import Step
from tetherwatch.frame.faults import Fault
from tetherwatch.meter.records import Aim
from tetherwatch.watch.arrivals import Arrival
from tetherwatch.watch.records import Capture, Metered, Problem
from tetherwatch.watch.schedule import Job, Schedule, problem_of
from tetherwatch.watch.task import Failure

AIM, OTHER = Aim(), Aim(from_grey_stops=1.0)
READ = read_of(AIM)
LATE = 100.0
"""A time by which everything here has long been steady."""


def capture(name: str, mtime_ns: int = 1, pair: str | None = None) -> Capture:
    """A settled capture."""
    return Capture(Path(name), 100, mtime_ns, 0.0, None if pair is None else Path(pair))


def arrival(name: str, mtime_ns: int = 1, pair: str | None = None, early: bool = False) -> Arrival:
    """A capture that last changed at 0 s."""
    spare = None if pair is None else capture(pair)
    return Arrival(capture(name, mtime_ns, pair), 0.0, early, spare)


def schedule(*names: str) -> Schedule:
    """A schedule to which captures were added in this order."""
    made = Schedule(AIM, Step.THIRD, grace_s=3.0)
    made.add(map(arrival, names))
    return made


def start(made: Schedule, now: float = LATE) -> Job:
    """The next job, which must exist."""
    job = made.next_job(now)
    assert job is not None
    return job


def drain(made: Schedule, outcome=READ, now: float = LATE) -> list[Metered | Problem]:
    """Run every job there is to the same outcome; all events."""
    events = []
    while (job := made.next_job(now)) is not None:
        events += made.finish(job, outcome, now)
    return events


def order(made: Schedule) -> list[str]:
    """The names of the jobs as they would be started."""
    found = []
    while (job := made.next_job(LATE)) is not None:
        found.append(str(job.capture.path))
    return found


def test_the_newest_goes_first_and_the_backlog_behind_it():
    """Also when a newer one comes while others wait."""
    made = schedule("a", "b")
    made.add([arrival("c")])
    assert made.backlog == 3
    assert order(made) == ["c", "b", "a"]
    assert made.backlog == 3


def test_what_was_there_at_the_start_is_read_in_order_behind_all_others():
    """Old captures oldest first; a live one jumps the queue."""
    made = Schedule(AIM, Step.THIRD)
    made.add([arrival("old1", early=True), arrival("old2", early=True), arrival("old3", early=True)])
    assert str(start(made).capture.path) == "old1"
    made.add([arrival("live")])
    assert order(made) == ["live", "old2", "old3"]


@given(st.lists(st.sampled_from(["add", "start"]), max_size=40))
def test_every_start_takes_the_newest_that_waits(actions):
    """Whatever the interleaving of arrivals and free workers."""
    made, waiting, count = schedule(), [], 0
    for action in actions:
        if action == "add":
            count += 1
            waiting.append(f"{count}")
            made.add([arrival(f"{count}")])
        else:
            job = made.next_job(LATE)
            assert (None if job is None else str(job.capture.path)) == (waiting.pop() if waiting else None)
    assert order(made) == waiting[::-1]


def test_a_read_capture_becomes_a_metered_event():
    """With all that was read, as a new frame."""
    made = schedule("a")
    (event,) = drain(made, read_of(AIM, notes=("note",)))
    assert isinstance(event, Metered)
    assert (event.capture.path, event.notes, event.replaces) == (Path("a"), ("note",), False)
    assert made.backlog == 0


@pytest.mark.parametrize("fault", [Fault.CUT_SHORT, Fault.EMPTY, Fault.NOT_A_CAPTURE])
def test_a_fault_of_a_young_file_is_tried_again_before_it_is_a_problem(fault):
    """It may still be on its way: the second try is made at the end of the grace."""
    made = schedule("a")
    assert made.finish(start(made, 0.5), Failure(fault), 0.6) == []
    assert made.next_due(0.6) == 3.0
    assert made.next_job(2.9) is None
    assert made.backlog == 1
    assert made.finish(start(made, 3.0), Failure(fault), 3.1) == [problem_of(Path("a"), fault)]
    assert made.backlog == 0


@pytest.mark.parametrize("fault", [Fault.VANISHED, Fault.NO_ACCESS])
def test_what_cannot_be_opened_is_told_once_and_tried_for_as_long_as_it_takes(fault):
    """A permission or a cable may be mended at any time, and then the capture is a frame."""
    made = schedule("a")
    made.finish(start(made, 3.0), Failure(fault), 3.1)
    for now in (8.1, 13.1):
        assert made.next_job(now - 0.1) is None
        job = made.next_job(now)
        assert job.barred
        made.put_back(job, now + 5.0)
    assert [event.capture.path.name for event in made.finish(start(made, 18.1), read_of(Aim()), 18.2)] == ["a"]
    assert made.backlog == 0


def test_a_young_file_that_can_be_read_the_second_time_is_no_problem():
    """One frame, nothing else."""
    made = schedule("a")
    assert made.finish(start(made, 0.5), Failure(Fault.CUT_SHORT), 0.6) == []
    (event,) = drain(made, READ, 3.0)
    assert isinstance(event, Metered)


@pytest.mark.parametrize("fault", [Fault.TOO_SLOW, Fault.CRASHED, Fault.NOT_A_FILE])
def test_faults_that_waiting_does_not_mend_are_problems_at_once(fault):
    """However young the file is."""
    made = schedule("a")
    assert made.finish(start(made, 0.5), Failure(fault), 0.6) == [problem_of(Path("a"), fault)]


def test_one_problem_per_content():
    """A new content may have a new problem; the same one does not complain twice."""
    made = schedule("a")
    failure = Failure(Fault.CUT_SHORT)
    assert len(drain(made, failure)) == 1
    made.add([arrival("a", mtime_ns=1)])
    assert drain(made, failure) == []
    made.add([arrival("a", mtime_ns=2)])
    assert len(drain(made, failure)) == 1


def test_a_job_whose_file_has_changed_is_forgotten():
    """It is no longer in the backlog; its new content comes as an arrival."""
    made = schedule("a")
    made.drop(start(made))
    assert made.backlog == 0
    made.add([arrival("a", mtime_ns=2)])
    assert len(drain(made)) == 1


def test_a_job_put_back_is_started_again():
    """Under the aim in use by then, and not at all if a newer content came meanwhile."""
    made = schedule("a")
    made.put_back(start(made))
    made.use(OTHER, Step.THIRD)
    again = start(made)
    assert again.aim == OTHER
    made.add([arrival("a", mtime_ns=2)])
    made.put_back(again)
    assert [start(made).capture.mtime_ns, made.next_job(LATE)] == [2, None]


def test_a_content_not_begun_is_superseded_by_a_newer_one():
    """It can no longer be read."""
    made = schedule("a")
    made.add([arrival("a", mtime_ns=2)])
    assert start(made).capture.mtime_ns == 2
    assert made.next_job(LATE) is None


def test_a_preview_of_a_damaged_raw_gives_a_frame_and_a_problem():
    """After the grace; once the raw is complete, its reading replaces the frame."""
    made = schedule("a")
    damaged = read_of(AIM, fault=Fault.CUT_SHORT)
    assert made.finish(start(made, 0.5), damaged, 0.6) == []
    frame, problem = drain(made, damaged, 3.0)
    assert isinstance(frame, Metered) and not frame.replaces
    assert problem == problem_of(Path("a"), Fault.CUT_SHORT)
    made.add([arrival("a", mtime_ns=2)])
    (frame,) = drain(made)
    assert isinstance(frame, Metered) and frame.replaces


def test_a_preview_of_a_raw_nobody_can_decode_is_given_at_once():
    """A camera whose raws are all like that must not be slow."""
    made = schedule("a")
    events = made.finish(start(made, 0.5), read_of(AIM, fault=Fault.UNSUPPORTED), 0.6)
    assert [type(event) for event in events] == [Metered, Problem]


def test_a_raw_replaces_the_frame_of_its_jpeg():
    """The JPEG was given first: same frame, better reading."""
    made = schedule("a.jpg")
    drain(made)
    made.add([arrival("a.dng", pair="a.jpg")])
    (event,) = drain(made)
    assert isinstance(event, Metered) and event.replaces
    made.add([arrival("a.dng", mtime_ns=2, pair="a.jpg")])
    (event,) = drain(made)
    assert isinstance(event, Metered) and not event.replaces


def test_a_jpeg_not_begun_when_its_raw_comes_is_not_read():
    """The raw alone is one frame."""
    made = schedule("a.jpg")
    made.add([arrival("a.dng", pair="a.jpg")])
    (event,) = drain(made)
    assert isinstance(event, Metered)
    assert (event.capture.path, event.replaces) == (Path("a.dng"), False)


def test_a_jpeg_that_ends_after_its_raw_is_not_given():
    """Else the same frame would be counted twice."""
    made = schedule("a.jpg")
    jpeg = start(made)
    made.add([arrival("a.dng", pair="a.jpg")])
    raw = start(made)
    assert len(made.finish(raw, READ, LATE)) == 1
    assert made.finish(jpeg, READ, LATE) == []


def test_the_jpeg_of_a_raw_that_cannot_be_read_is_metered_instead():
    """The problem is said, and the frame is not lost; a complete raw replaces it."""
    made = Schedule(AIM, Step.THIRD)
    made.add([arrival("a.dng", pair="a.jpg")])
    assert made.finish(start(made), Failure(Fault.CRASHED), LATE) == [problem_of(Path("a.dng"), Fault.CRASHED)]
    (event,) = drain(made)
    assert isinstance(event, Metered)
    assert (event.capture.path, event.replaces) == (Path("a.jpg"), False)
    made.add([arrival("a.dng", mtime_ns=2, pair="a.jpg")])
    (event,) = drain(made)
    assert isinstance(event, Metered) and event.replaces


def test_a_new_aim_meters_the_newest_capture_again():
    """And those that come later; the second reading of a capture replaces the first."""
    made = schedule("a", "b")
    drain(made)
    made.use(OTHER, Step.HALF)
    job = start(made)
    assert (str(job.capture.path), job.aim, job.step) == ("b", OTHER, Step.HALF)
    (event,) = made.finish(job, READ, LATE)
    assert isinstance(event, Metered) and event.replaces
    made.add([arrival("c")])
    assert start(made).aim == OTHER
    assert made.next_job(LATE) is None


def test_an_aim_that_comes_while_the_newest_is_read_meters_it_again():
    """The reading under the old aim is given, then one under the new."""
    made = schedule("a")
    job = start(made)
    made.use(OTHER, Step.THIRD)
    assert made.next_job(LATE) is None
    (first,) = made.finish(job, READ, LATE)
    again = start(made)
    assert again.aim == OTHER
    (second,) = made.finish(again, READ, LATE)
    assert isinstance(first, Metered) and isinstance(second, Metered)
    assert [first.replaces, second.replaces] == [False, True]
    assert made.backlog == 0


def test_the_same_aim_again_changes_nothing():
    """Nothing is read twice for it."""
    made = schedule("a")
    drain(made)
    made.use(AIM, Step.THIRD)
    assert made.next_job(LATE) is None


def test_waiting_captures_take_the_new_aim():
    """A backlog is metered for what is wanted now."""
    made = schedule("a", "b")
    made.use(OTHER, Step.THIRD)
    assert {start(made).aim, start(made).aim} == {OTHER}


def test_a_crash_says_what_happened_in_safe_text():
    """The decoder's word is shown with control characters spelled out; other faults need none."""
    assert problem_of(Path("a"), Fault.CRASHED, "bad\x1b[2J\n").problem.endswith(r"(bad\x1b[2J\x0a)")
    assert problem_of(Path("a"), Fault.EMPTY, "detail").problem == Fault.EMPTY.problem
