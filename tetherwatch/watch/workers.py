"""Worker processes: one capture at a time each, with a deadline; one that dies or hangs costs that capture only.

On Linux a worker's memory is limited too. Windows knows no such limit and macOS does not hold to it: there a decoder
that takes memory without bound is stopped by its deadline.

Each worker is a pool of its own. In a shared pool a worker that dies before it has said which task it took fails every
task in flight.
"""

import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from multiprocessing import resource_tracker
from pathlib import Path
from threading import RLock, Timer
from typing import TYPE_CHECKING, Any, Protocol

from tetherwatch.exposure.dial import Step
from tetherwatch.frame.faults import Fault
from tetherwatch.frame.limits import MEMORY_LIMIT
from tetherwatch.meter.records import Aim
from tetherwatch.watch.patience import at_most
from tetherwatch.watch.task import DECODERS, Failure, Outcome, Read, read_capture

if TYPE_CHECKING:  # loaded when the first worker is started, which the first picture does not wait for
    from pebble import ProcessPool

Task = Callable[[Path, Aim, Step], Outcome]
Done = Callable[[Outcome], None]

RECYCLE_AFTER = 200
"""Captures a worker reads before a fresh one takes its place: what a decoder leaks is bounded."""

_LOST_S = 15.0
"""How long a worker may take to begin, its start-up included."""

_CHECK_S = 1.0
"""Longest time between two looks at whether a capture has begun, or taken too long."""


class Reader(Protocol):
    """Reads captures somewhere else. `done` is called once for each start, from any thread."""

    @property
    def free(self) -> int:
        """How many captures may be started now."""

    def start(self, path: Path, aim: Aim, step: Step, done: Done) -> None:
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
        self._make_slot = partial(_Slot, task, deadline_s, lost_s, partial(_prepare, preload, nice))
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

    def start(self, path: Path, aim: Aim, step: Step, done: Done) -> None:
        """Begin to read one capture in a free worker. Raises StopIteration if none is free."""
        next(slot for slot in self._slots if not slot.busy).start((path, aim, step), done)


@dataclass(eq=False)
class _Order:
    """One capture given to a worker: how often it may still be tried, since when it is, and the timer that checks.

    `since` is steady time: at which it was sent, then at which it was first seen to have `begun`.
    """

    args: tuple[Path, Aim, Step]
    done: Done
    tries: int = 2
    since: float = 0.0
    begun: bool = False
    future: "Future[Outcome] | None" = None
    timer: Timer | None = None


class _Slot:
    """One worker process, made anew whenever its pool is no longer sound."""

    def __init__(self, task: Task, deadline_s: float, lost_s: float, prepare: Callable[[], None]) -> None:
        self._task = task
        self._deadline_s = deadline_s
        self._lost_s = lost_s
        self._prepare = prepare
        self._lock = RLock()
        self._running: _Order | None = None
        self._closed = False
        self._pool = self._new_pool()

    @property
    def busy(self) -> bool:
        return self._running is not None

    def start(self, args: tuple[Path, Aim, Step], done: Done) -> None:
        self._running = _Order(args, done)
        self._submit(self._running)

    def close(self) -> None:
        with self._lock:
            self._closed = True
            if self._running is not None and self._running.timer is not None:
                self._running.timer.cancel()
        _stop(self._pool)

    def _submit(self, order: _Order) -> None:
        with self._lock:
            if self._closed or self._running is not order:
                return
            order.tries -= 1
            order.since, order.begun = time.monotonic(), False
            try:
                future = order.future = self._schedule(order)
            except RuntimeError:  # the worker died while it had nothing to do
                self._replace_pool()
                future = order.future = self._schedule(order)
            self._check_later(order)
        future.add_done_callback(partial(self._finish, order))

    def _check_later(self, order: _Order) -> None:
        if order.timer is not None:
            order.timer.cancel()
        order.timer = Timer(min(_CHECK_S, self._deadline_s), self._check, (order,))
        order.timer.daemon = True
        order.timer.start()

    def _schedule(self, order: _Order) -> "Future[Outcome]":
        # The pool's own deadlines go by the wall clock, which may jump.
        return self._pool.schedule(self._task, args=order.args)

    def _finish(self, order: _Order, future: "Future[Outcome]") -> None:
        from concurrent.futures.process import BrokenProcessPool

        if future is not order.future:
            return
        if order.tries and not future.cancelled() and isinstance(future.exception(), BrokenProcessPool):
            self._submit(order)  # the worker died before it began, so the capture may be innocent
        elif self._take(order):
            order.done(_outcome(future))

    def _check(self, order: _Order) -> None:
        """Give up a capture that takes too long, or was lost on its way to the worker: then it is sent once more."""
        with self._lock:
            if self._closed or self._running is not order or order.future is None or order.future.done():
                return
            if not order.begun and order.future.running():
                order.since, order.begun = time.monotonic(), True
            if time.monotonic() - order.since < (self._deadline_s if order.begun else self._lost_s):
                self._check_later(order)
                return
            order.future = None
            self._replace_pool()
        if order.tries and not order.begun:
            self._submit(order)
        elif self._take(order):
            order.done(Failure(Fault.TOO_SLOW))

    def _take(self, order: _Order) -> bool:
        """Whether `order` is still the running one and the caller the first to end it."""
        with self._lock:
            if self._running is not order or self._closed:
                return False
            self._running = None
            if order.timer is not None:
                order.timer.cancel()
            return True

    def _replace_pool(self) -> None:
        at_most(0.0, partial(_stop, self._pool))
        self._pool = self._new_pool()

    def _new_pool(self) -> "ProcessPool":
        from pebble import ProcessPool

        pool = ProcessPool(
            max_workers=1,
            max_tasks=RECYCLE_AFTER,
            initializer=self._prepare,
            context=multiprocessing.get_context("spawn"),
        )
        _ = pool.active  # asking starts the process, so that the first capture need not wait for it
        return pool


def _stop(pool: "ProcessPool") -> None:
    pool.stop()  # type: ignore[no-untyped-call]
    pool.join()


def _prepare(preload: tuple[str, ...], nice: int) -> None:
    # The pool's own handler runs between two lines of Python, so a decoder stuck in C would live on for seconds.
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    _limit_memory()
    if hasattr(os, "nice"):
        os.nice(nice)
    for name in preload:
        import_module(name)


def _limit_memory() -> None:
    if sys.platform == "linux":
        import resource

        # Not the address space: it counts whole files that a library maps, which take no memory.
        _, most = resource.getrlimit(resource.RLIMIT_DATA)
        limit = MEMORY_LIMIT if most == resource.RLIM_INFINITY else min(MEMORY_LIMIT, most)
        resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))


def _outcome(future: "Future[Any]") -> Outcome:
    try:
        outcome = future.result()
    except MemoryError:
        return Failure(Fault.OUT_OF_MEMORY)
    except (Exception, CancelledError) as error:  # the worker died, or raised what a task must not raise
        return Failure(Fault.CRASHED, f"{type(error).__name__}: {error}")
    return outcome if isinstance(outcome, (Read, Failure)) else Failure(Fault.CRASHED, f"no outcome: {outcome!r}")
