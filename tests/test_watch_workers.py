"""Real worker processes: what dies, hangs or raises costs one capture and never a neighbour."""

import os
import subprocess
import sys
import time
from pathlib import Path
from queue import SimpleQueue

import psutil
import pytest
import worker_stubs

from tetherwatch.exposure.dial import Step
from tetherwatch.frame.faults import Fault
from tetherwatch.meter.records import Aim
from tetherwatch.watch.patience import at_most
from tetherwatch.watch.task import Failure, Outcome, Read, read_capture
from tetherwatch.watch.workers import RECYCLE_AFTER, Workers, default_count

AIM = Aim()
LIMIT_S = 40.0


def run(workers: Workers, names: list[str]) -> dict[str, Outcome]:
    """Read all `names`, as many at once as the workers take, and give the outcome of each."""
    done: SimpleQueue[tuple[str, Outcome]] = SimpleQueue()
    outcomes: dict[str, Outcome] = {}
    waiting = list(names)
    while len(outcomes) < len(names):
        while waiting and workers.free:
            name = waiting.pop(0)
            workers.start(Path(name), AIM, Step.THIRD, lambda outcome, name=name: done.put((name, outcome)))
        name, outcome = done.get(timeout=LIMIT_S)
        assert name not in outcomes
        outcomes[name] = outcome
    return outcomes


def told(workers: Workers, name: str) -> list[object]:
    """What is told of one capture, "begun" and its outcome, in order."""
    news: SimpleQueue[object] = SimpleQueue()
    workers.start(Path(name), AIM, Step.THIRD, news.put, lambda: news.put("begun"))
    heard = [news.get(timeout=LIMIT_S)]
    while not isinstance(heard[-1], Outcome):
        heard.append(news.get(timeout=LIMIT_S))
    return heard


def fault(outcome: Outcome) -> Fault | None:
    """The fault of an outcome."""
    return outcome.fault


def kill_when_idle(process: psutil.Process) -> None:
    """Kill a worker that has handed its result over and let go of the lock it did that under."""
    end = time.monotonic() + 1.0
    while process.status() != psutil.STATUS_SLEEPING and time.monotonic() < end:
        time.sleep(0.01)
    process.kill()


@pytest.fixture(scope="module")
def two():
    """Two workers that misbehave on demand."""
    with Workers(worker_stubs.misbehave, count=2, deadline_s=20.0, preload=()) as workers:
        yield workers


def test_a_dead_worker_costs_one_failure_and_no_neighbour(two):
    """Captures read beside and after one that kills its worker are all read."""
    outcomes = run(two, ["a", "die", "b", "c", "die.x", "d", "e"])
    assert {name: fault(outcome) for name, outcome in outcomes.items() if outcome.fault} == {
        "die": Fault.CRASHED,
        "die.x": Fault.CRASHED,
    }


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal to send")
def test_a_segmentation_fault_costs_one_failure(two):
    """A worker killed by the system is replaced."""
    outcomes = run(two, ["segfault", "a", "b", "c"])
    assert [name for name, outcome in outcomes.items() if outcome.fault is Fault.CRASHED] == ["segfault"]


def test_a_worker_killed_while_idle_costs_nothing():
    """The next captures are read, whether the death has been noticed yet or not."""
    with Workers(worker_stubs.misbehave, count=1, preload=()) as workers:
        for round_ in range(4):
            (first,) = run(workers, ["a"]).values()
            assert isinstance(first, Read)
            worker = int(first.notes[0])
            kill_when_idle(psutil.Process(worker))
            end = time.monotonic() + 5.0
            # Not psutil's own wait: it would take the exit code that the watch is waiting for.
            while round_ % 2 and psutil.pid_exists(worker) and time.monotonic() < end:
                time.sleep(0.01)
            assert isinstance(run(workers, ["b"])["b"], Read)


@pytest.mark.parametrize("name", ["a", "die", "refuse"])
def test_that_a_worker_has_begun_is_told_once_before_the_outcome(two, name):
    """Also of a capture that kills it: it is known then which one it was."""
    begun, outcome = told(two, name)
    assert begun == "begun"
    assert isinstance(outcome, Outcome)


def test_an_error_let_out_by_the_task_is_a_failure(two):
    """An exception in a worker comes back as a crash that names it, not as an exception here."""
    outcome = run(two, ["raise"])["raise"]
    assert isinstance(outcome, Failure)
    assert outcome.fault is Fault.CRASHED
    assert "an error the task let out" in outcome.detail


@pytest.mark.skipif(sys.platform != "linux", reason="memory is limited on Linux only")
def test_a_task_that_takes_memory_without_bound_costs_one_failure(two):
    """It is stopped at the limit, long before the machine suffers, and the worker reads on."""
    outcomes = run(two, ["swell", "a", "b", "swell.x", "c", "d"])
    swollen = {name for name, outcome in outcomes.items() if outcome.fault is Fault.OUT_OF_MEMORY}
    assert swollen == {"swell", "swell.x"}
    assert all(isinstance(outcomes[name], Read) for name in "abcd")


def test_a_capture_whose_worker_never_begins_is_sent_to_another(tmp_path, monkeypatch):
    """The worker that hangs while it starts is replaced, and the capture read by the next, once."""
    monkeypatch.setenv("HANGING_ONCE", str(tmp_path / "hung"))
    with Workers(worker_stubs.misbehave, count=1, preload=("hanging_once",), lost_s=6.0) as workers:
        assert isinstance(run(workers, ["a"])["a"], Read)
        assert (tmp_path / "hung").exists()
        assert workers.free == 1


def test_a_capture_whose_workers_never_begin_is_given_up(tmp_path, monkeypatch):
    """The second worker that hangs while it starts is the last: the capture took too long."""
    monkeypatch.setenv("HANGING_ONCE", str(tmp_path / "no folder" / "hung"))
    with Workers(worker_stubs.misbehave, count=1, preload=("hanging_once",), lost_s=0.5) as workers:
        assert told(workers, "a") == [Failure(Fault.TOO_SLOW)]


@pytest.mark.skipif(sys.platform == "win32", reason="exit codes of signals are those of POSIX")
def test_how_a_worker_ended_is_told(two):
    """Its exit code is in the detail, minus the signal where one ended it."""
    outcomes = run(two, ["die", "segfault"])
    details = [outcome.detail for outcome in outcomes.values() if isinstance(outcome, Failure)]
    assert sorted(details) == ["the worker ended with code -11", "the worker ended with code 3"]


def test_a_failure_comes_back_as_it_was(two):
    """A task's own failure crosses the process border unchanged."""
    assert run(two, ["refuse"])["refuse"] == Failure(Fault.CUT_SHORT, "detail")


def test_workers_are_other_processes_with_one_decoder_thread(two):
    """Reading happens outside this process, under OMP_NUM_THREADS=1, also after a worker was replaced."""
    run(two, ["die", "die"[:3] + ".y"])
    for outcome in run(two, ["a", "b", "c"]).values():
        assert isinstance(outcome, Read)
        pid, threads = outcome.notes
        assert int(pid) != os.getpid()
        assert threads == "1"


@pytest.mark.skipif(not hasattr(os, "nice"), reason="priorities are no numbers there")
def test_workers_give_way_to_the_rest_of_the_program(two):
    """Their priority is lower than that of the process that started them."""
    (outcome,) = run(two, ["a"]).values()
    assert isinstance(outcome, Read)
    assert psutil.Process(int(outcome.notes[0])).nice() == psutil.Process().nice() + 10


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal to send")
def test_an_interrupt_does_not_end_a_worker(two):
    """Ctrl-C in the terminal reaches the workers too, which leave it to the daemon."""
    assert isinstance(run(two, ["interrupt"])["interrupt"], Read)


def test_a_hung_task_is_stopped_at_its_deadline():
    """A capture that takes too long is one failure; the other worker goes on meanwhile and the same one afterwards."""
    with Workers(worker_stubs.misbehave, count=2, deadline_s=1.0, preload=()) as workers:
        outcomes = run(workers, ["hang", "a", "b", "c", "hang.x", "d"])
    slow = [name for name, outcome in outcomes.items() if outcome.fault is Fault.TOO_SLOW]
    assert sorted(slow) == ["hang", "hang.x"]
    assert all(isinstance(outcomes[name], Read) for name in "abcd")


@pytest.mark.parametrize("task", [worker_stubs.misbehave, worker_stubs.stuck_in_c])
@pytest.mark.skipif(sys.platform == "win32", reason="signal masks are not known there")
def test_shutting_down_does_not_wait_for_a_hung_task(task):
    """Leaving takes less than two seconds, even while a decoder is stuck in C, and no outcome comes afterwards."""
    done: SimpleQueue[Outcome] = SimpleQueue()
    with Workers(task, count=2, preload=()) as workers:
        run(workers, ["a", "b"])
        workers.start(Path("hang"), AIM, Step.THIRD, done.put)
        assert workers.free == 1
        began = time.monotonic()
    assert time.monotonic() - began < 2.0
    assert done.empty()


def test_a_worker_is_replaced_after_many_captures():
    """What a decoder leaks is bounded, and no capture is lost at the change."""
    names = [str(number) for number in range(RECYCLE_AFTER + 20)]
    with Workers(worker_stubs.misbehave, count=1, preload=()) as workers:
        outcomes = run(workers, names)
    processes = [outcome.notes[0] for outcome in outcomes.values() if isinstance(outcome, Read)]
    assert len(processes) == len(names)
    assert len(set(processes)) == 2
    assert processes.index(processes[-1]) == RECYCLE_AFTER


def test_a_worker_that_cannot_start_is_a_failure_each_time():
    """If the decoders cannot be loaded, every capture says so instead of waiting for ever."""
    with Workers(worker_stubs.misbehave, count=1, preload=("no_such_module_anywhere",)) as workers:
        outcomes = run(workers, ["a", "b"])
    assert {outcome.fault for outcome in outcomes.values()} == {Fault.CRASHED}


def test_at_least_one_worker():
    """There are one or two workers, whatever the machine."""
    assert default_count() in (1, 2)


def test_reading_a_missing_file_is_a_failure():
    """The task itself never raises: a missing file is a fault in words."""
    assert read_capture(Path("no such folder", "x.dng"), AIM, Step.THIRD).fault is Fault.VANISHED


def test_waiting_is_limited():
    """`at_most` returns in time when an action does not, and says so."""
    began = time.monotonic()
    assert not at_most(0.1, lambda: time.sleep(5), lambda: None)
    assert time.monotonic() - began < 2.0
    assert at_most(5.0, lambda: None)


UNDER_A_DASHBOARD = """
import sys
from pathlib import Path
from queue import SimpleQueue
import worker_stubs
from tetherwatch.exposure.dial import Step
from tetherwatch.meter.records import Aim
from tetherwatch.watch.workers import Workers

class NoStream:
    def fileno(self):
        return -1
    def write(self, text):
        pass
    def flush(self):
        pass

if __name__ == "__main__":
    workers = Workers(worker_stubs.misbehave, count=1, deadline_s=20.0, preload=())
    sys.stderr = NoStream()
    done = SimpleQueue()
    with workers:
        workers.start(Path("fine.dng"), Aim(), Step.THIRD, done.put)
        print(done.get(timeout=40).fault)
"""


def test_workers_start_while_a_dashboard_holds_the_error_stream(tmp_path):
    """A dashboard's error stream has no file number; workers that are started under it work all the same."""
    script = tmp_path / "under.py"
    script.write_text(UNDER_A_DASHBOARD)
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    result = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, timeout=60, env=environment, check=False
    )
    assert result.stdout.strip() == "None", result.stdout + result.stderr


INTERRUPTED_AT_ONCE = """
import os, signal
from pathlib import Path
from queue import SimpleQueue
import worker_stubs
from tetherwatch.exposure.dial import Step
from tetherwatch.meter.records import Aim
from tetherwatch.watch.workers import Workers

if __name__ == "__main__":
    signal.signal(signal.SIGINT, lambda *_: None)
    done = SimpleQueue()
    with Workers(worker_stubs.misbehave, count=2, deadline_s=20.0, preload=()) as workers:
        for _ in range(50):
            os.killpg(0, signal.SIGINT)
        workers.start(Path("fine.dng"), Aim(), Step.THIRD, done.put)
        print(done.get(timeout=40).fault)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal to send")
def test_an_interrupt_does_not_end_a_worker_that_is_starting(tmp_path):
    """Ctrl-C right after the start reaches workers that know nothing yet: they read on, and print no traceback."""
    script = tmp_path / "interrupted.py"
    script.write_text(INTERRUPTED_AT_ONCE)
    result = subprocess.run(
        [sys.executable, str(script)],
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        start_new_session=True,
        check=False,
    )
    assert (result.stdout.strip(), result.stderr) == ("None", "")
