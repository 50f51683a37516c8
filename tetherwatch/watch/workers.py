"""Worker processes: one capture at a time each, with a deadline; one that dies or hangs costs that capture only.

On Linux a worker's memory is limited too. Windows knows no such limit and macOS does not hold to it: there a decoder
that takes memory without bound is stopped by its deadline.

Each worker has a pipe and a thread in the daemon to itself. So the death of one is told by its own pipe, and it can
hold no lock that others need. Only the standard library is used: what is loaded here takes memory in every worker.
"""

import multiprocessing
import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from multiprocessing import resource_tracker
from multiprocessing.connection import Connection
from pathlib import Path
from queue import SimpleQueue
from threading import Lock, Thread
from typing import Protocol

from tetherwatch.exposure.dial import Step
from tetherwatch.frame.faults import Fault
from tetherwatch.frame.limits import MEMORY_LIMIT
from tetherwatch.meter.records import Aim
from tetherwatch.watch.patience import at_most
from tetherwatch.watch.task import DECODERS, Failure, Outcome, read_capture

Args = tuple[Path, Aim, Step]
Task = Callable[[Path, Aim, Step], Outcome]
Done = Callable[[Outcome], None]
Begun = Callable[[], None]

RECYCLE_AFTER = 200
"""Captures a worker reads before a fresh one takes its place: what a decoder leaks is bounded."""

_LOST_S = 15.0
"""How long a worker may take to begin, its start-up included."""

_TRIES = 2
"""Workers that a capture is given to while none begins with it: the fault may not be its own."""

_LAST_WORDS_S = 0.5
"""How long the exit code of a dead worker, or the end of a killed one, is waited for."""


class Reader(Protocol):
    """Reads captures somewhere else. `done` is called once for each start, from any thread, and so is `begun` before
    it, unless the reading never begins."""

    @property
    def free(self) -> int:
        """How many captures may be started now."""

    def start(self, path: Path, aim: Aim, step: Step, done: Done, begun: Begun = lambda: None) -> None:
        """Begin to read one capture. Only while `free`."""

    def __enter__(self) -> "Reader":
        """Get ready to read."""

    def __exit__(self, *_: object) -> None:
        """Stop at once, whatever is being read; outcomes not given yet are lost."""


def default_count() -> int:
    """Two workers, so that a slow capture does not hold up the newest; one where there is one processor."""
    return max(1, min(2, os.cpu_count() or 1))


class Workers:
    """The real `Reader`: spawned processes, alive inside the `with` block."""

    def __init__(
        self,
        task: Task = read_capture,
        count: int | None = None,
        deadline_s: float = 60.0,
        preload: tuple[str, ...] = DECODERS,
        nice: int = 10,
        lost_s: float = _LOST_S,
    ) -> None:
        """`nice` lowers the priority of the workers, so that a first look and the screen do not wait for decoding.

        A worker that has not begun `lost_s` after it was sent a capture is replaced, and the capture sent once more.
        """
        self._make_slot = partial(_Slot, partial(_Worker, task, preload, nice), lost_s, deadline_s)
        self._count = default_count() if count is None else count
        self._slots: list[_Slot] = []
        if os.name == "posix":
            # The helper process of multiprocessing is started once and is handed the error stream, which has no number
            # while a dashboard holds the terminal: so it is started here, before one does.
            resource_tracker.ensure_running()

    def __enter__(self) -> "Workers":
        # Some raw decoders give different pixels each time when they use several threads. The variable is read when
        # the thread library is loaded, so it has to be inherited, also by workers that are started again later.
        os.environ["OMP_NUM_THREADS"] = "1"
        self._slots = [self._make_slot() for _ in range(self._count)]
        return self

    def __exit__(self, *_: object) -> None:
        """Kill the workers, whatever they do, and wait a moment for them to be gone."""
        at_most(1.5, *(slot.close for slot in self._slots))

    @property
    def free(self) -> int:
        """How many captures may be started now."""
        return sum(not slot.busy for slot in self._slots)

    def start(self, path: Path, aim: Aim, step: Step, done: Done, begun: Begun = lambda: None) -> None:
        """Begin to read one capture in a free worker. Raises StopIteration if none is free."""
        next(slot for slot in self._slots if not slot.busy).start((path, aim, step), done, begun)


@dataclass(frozen=True, slots=True)
class _Told:
    """What a worker made of a capture. `begun`: it had begun with it; `sound`: it can read another."""

    outcome: Outcome
    begun: bool
    sound: bool = False


class _Worker:
    """One worker process, as the daemon sees it."""

    def __init__(self, task: Task, preload: tuple[str, ...], nice: int) -> None:
        context = multiprocessing.get_context("spawn")
        self._line, line = context.Pipe()
        self._process = context.Process(target=_work, args=(line, task, preload, nice), daemon=True)
        with _interrupts_held_back():
            self._process.start()
        line.close()  # so that the pipe ends when the process does

    def read(self, args: Args, lost_s: float, deadline_s: float, begin: Begun) -> _Told:
        begun = False
        try:
            self._line.send(args)
            if not self._line.poll(lost_s):
                return _Told(Failure(Fault.TOO_SLOW), begun)
            self._line.recv()
            begun = True
            begin()
            if not self._line.poll(deadline_s):
                return _Told(Failure(Fault.TOO_SLOW), begun)
            return _Told(self._line.recv(), begun, sound=True)
        except (EOFError, OSError):
            self._process.join(_LAST_WORDS_S)
            return _Told(Failure(Fault.CRASHED, f"the worker ended with code {self._process.exitcode}"), begun)

    def kill(self) -> None:
        self._process.kill()
        self._process.join(_LAST_WORDS_S)


class _Slot:
    """The place of one worker, where another takes over whenever it is dead, lost or worn out."""

    def __init__(self, make: Callable[[], _Worker], lost_s: float, deadline_s: float) -> None:
        self.busy = False
        self._make = make
        self._patience = lost_s, deadline_s
        self._closing = Lock()
        self._closed = False
        self._worker = make()
        self._reads = 0
        self._orders: SimpleQueue[tuple[Args, Done, Begun] | None] = SimpleQueue()
        Thread(target=self._serve, daemon=True).start()

    def start(self, args: Args, done: Done, begun: Begun) -> None:
        self.busy = True
        self._orders.put((args, done, begun))

    def close(self) -> None:
        with self._closing:
            self._closed = True
        self._orders.put(None)
        self._worker.kill()

    def _serve(self) -> None:
        while (order := self._orders.get()) is not None:
            args, done, begun = order
            outcome = self._outcome(args, begun)
            with self._closing:
                if self._closed:
                    return
                self.busy = False
            done(outcome)
            if self._reads >= RECYCLE_AFTER:
                self._replace()

    def _outcome(self, args: Args, begun: Begun) -> Outcome:
        for _ in range(_TRIES):
            told = self._worker.read(args, *self._patience, begun)
            self._reads += 1
            if not told.sound:
                self._replace()
            if told.begun:
                break
        return told.outcome

    def _replace(self) -> None:
        """Another worker, begun at once so that the next capture need not wait for it."""
        self._worker.kill()
        with self._closing:
            if not self._closed:
                with suppress(OSError):  # none can be had now: the next capture finds this one dead, and asks again
                    self._worker, self._reads = self._make(), 0


def _work(line: Connection, task: Task, preload: tuple[str, ...], nice: int) -> None:
    """What a worker process does until the daemon is gone."""
    hindrance, tidy = _hindrance(preload, nice), _tidying()
    with suppress(EOFError, OSError):
        while True:
            args = line.recv()
            line.send(None)  # that it has begun
            line.send(hindrance or _safely(task, args))
            tidy()


def _safely(task: Task, args: Args) -> Outcome:
    try:
        return task(*args)
    except MemoryError:
        return Failure(Fault.OUT_OF_MEMORY)
    except Exception as error:  # what a task must not raise
        return Failure(Fault.CRASHED, f"{type(error).__name__}: {error}")


def _hindrance(preload: tuple[str, ...], nice: int) -> Failure | None:
    """Get ready to read; what keeps this worker from reading anything."""
    try:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches all processes of a terminal
        _limit_memory()
        if hasattr(os, "nice"):
            os.nice(nice)
        for name in preload:
            import_module(name)
    except Exception as error:  # whatever an installation lacks
        return Failure(Fault.CRASHED, f"{type(error).__name__}: {error}")
    return None


def _tidying() -> Callable[[], object]:
    """Gives memory that the allocator keeps for later back to the system, where that is known to be possible.

    What is kept of one capture comes on top of the pixels of the next (malloc_trim(3), glibc).
    """
    if sys.platform == "linux":
        import ctypes

        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
        if trim is not None:
            return partial(trim, 0)
    return lambda: None


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """A process that is started meanwhile gets no Ctrl-C either, not even before it can say so itself."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _limit_memory() -> None:
    if sys.platform == "linux":
        import resource

        # Not the address space: it counts whole files that a library maps, which take no memory.
        _, most = resource.getrlimit(resource.RLIMIT_DATA)
        limit = MEMORY_LIMIT if most == resource.RLIM_INFINITY else min(MEMORY_LIMIT, most)
        resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))
