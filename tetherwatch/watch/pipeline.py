"""The watch itself: looks at the folder, starts workers, hands on what they found. One thread runs it."""

import time
from collections.abc import Callable, Generator, Iterable, Iterator, Set
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Event
from typing import Protocol

from tetherwatch.exposure.dial import Step
from tetherwatch.frame.faults import Fault
from tetherwatch.meter.records import Aim
from tetherwatch.watch.arrivals import PATIENCE, Arrivals, Patience
from tetherwatch.watch.disk import Disk, Folder, folder_errors
from tetherwatch.watch.hints import Hints
from tetherwatch.watch.ledger import Identity, Ledger, NoLedger, identity
from tetherwatch.watch.listing import Entry, Listing, is_listed
from tetherwatch.watch.looks import Looks
from tetherwatch.watch.records import Capture, FirstLook, Health, Metered, Problem, WatchEvent
from tetherwatch.watch.schedule import BARRED_S, GRACE_S, Job, Schedule
from tetherwatch.watch.task import PREVIEWERS, Failure, Outcome, Read, look_at
from tetherwatch.watch.workers import Reader, Workers

_LOOK_S = {"events": 2.0, "polling": 1.0}
"""Longest time between two looks; events are not trusted, only thanked."""

_LOOK_REST = {"events": 200, "polling": 20}
"""Rest after a look without a reason, in times of what it took: a folder of many thousands is looked at less often."""

_BREATH_S, _BREATH = 0.05, 9
"""Shortest time between two looks, however many hints come in; or so many times what a look took, if that is longer."""

_NAP_S = 0.5
"""Longest sleep: so late a stop is noticed."""

_HEARTBEAT_S = 2.0

_LOOK_DEADLINE_S = 5.0
"""Longest time for a first look."""

_REST_S = 0.1
"""Time between two of the captures that lay there before, whose content is learned while there is nothing to read."""

Message = Callable[[], Iterable[WatchEvent]]
"""What another thread has the watch do: deal with a capture read, take a new aim, or just wake up."""


class Inbox(Protocol):
    """A queue of messages, which a `SimpleQueue` is."""

    def put(self, message: Message) -> None:
        """Add a message. From any thread."""

    def get(self, *, timeout: float) -> Message:
        """Wait for a message. Raises Empty if none comes within `timeout` seconds."""

    def get_nowait(self) -> Message:
        """A message that is there. Raises Empty if there is none."""


def _wake_up() -> tuple[()]:
    return ()


class Watcher:
    """Watches one folder.

    `clock` is steady time and `wall` wall-clock time, both in seconds. Clocks, disk and inbox are replaced in tests,
    and so are `reader` and `looker`, which take the place of worker processes.
    """

    def __init__(
        self,
        folder: Path,
        aim: Aim,
        step: Step,
        *,
        from_start: bool = False,
        patience: Patience = PATIENCE,
        grace_s: float = GRACE_S,
        workers: int | None = None,
        deadline_s: float = 60.0,
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
        reader: Reader | None = None,
        looker: Reader | None = None,
        disk: Disk | None = None,
        inbox: Inbox | None = None,
        ledger: Ledger | None = None,
    ) -> None:
        """What lies there now is skipped, unless `from_start`; what `ledger` knows is in any case.

        Raises FolderError if it must be known what lies there and cannot be.
        """
        self._folder = folder
        self._clock = clock
        self._wall = wall
        self._disk = Folder(folder) if disk is None else disk
        self._inbox: Inbox = SimpleQueue() if inbox is None else inbox
        self._hinted = Event()
        self._closed = Event()
        self._ledger = ledger if ledger is not None else NoLedger()
        with folder_errors(folder):
            self._skipped = None if from_start else self._disk.listing()
        self._doubtful: Set[Identity] = frozenset()
        self._unknown: list[tuple[str, Entry]] = []
        self._arrivals = Arrivals(patience, from_start=from_start)
        self._schedule = Schedule(aim, step, grace_s)
        self._hints = Hints(folder, self._hint, self._disk.reports_changes)
        self._reader = reader if reader is not None else Workers(count=workers, deadline_s=deadline_s)
        self._looker = looker if looker is not None else Workers(look_at, 1, _LOOK_DEADLINE_S, PREVIEWERS, nice=0)
        self._looks = Looks(self._looker, self._disk, self._arrivals, self._schedule, self._looked)
        self._ending: Path | None = None
        self._identity: tuple[int, int] | None = None
        self._refusal: Problem | None = None
        self._look_at = self._look_end = clock()
        self._last_look: float | None = None
        self._health: Health | None = None
        self._health_at = 0.0

    def events(self, stop: Event) -> Generator[WatchEvent, None, None]:
        """Yield what happens until `stop` is set or `close` is called; then workers and hints are shut down.

        To be run once, by one thread.
        """
        with self._reader, self._looker:
            try:
                self._go_on()
                yield from self._look()
                while not (stop.is_set() or self._closed.is_set()):
                    yield from self._start_jobs()
                    yield from self._report()
                    yield from self._read_inbox()
                    self._offer_ending()
                    self._learn()
                    if self._clock() >= self._next_look():
                        yield from self._look()
            finally:
                self._hints.stop()

    @property
    def unlearned(self) -> int:
        """Captures that lay there before and whose content is not known yet: touched now, they would count as new."""
        return len(self._unknown)

    def use(self, aim: Aim, step: Step) -> None:
        """Meter later captures, and the newest once more, under another aim. May be called from any thread."""
        self._inbox.put(partial(self._take_aim, aim, step))

    def close(self) -> None:
        """End `events` soon. May be called from any thread."""
        self._closed.set()
        self._inbox.put(_wake_up)

    def _go_on(self) -> None:
        """Learn what there was before, which is done here because it takes a while where there was much."""
        past = self._ledger.remembered()
        self._doubtful = past.doubtful
        self._arrivals.go_on(past.known, past.sequence)
        self._schedule.go_on(past.given)
        if self._skipped is not None:
            self._arrivals.observe(self._skipped, self._look_at, self._wall())
            self._unknown = [item for item in self._skipped.items() if item[0] not in past.known]
        self._ledger.looked(self._skipped or {})

    def _hint(self, ending: Path | None = None) -> None:
        if ending is not None and is_listed(ending, self._folder):
            self._ending = ending
        if not self._hinted.is_set():
            self._hinted.set()
            self._inbox.put(_wake_up)

    def _next_look(self) -> float:
        """When to look again: at a hint, when something may have settled or may be tried again, or once in a while."""
        took = self._look_end - self._look_at
        soonest = self._look_end + max(_BREATH_S, _BREATH * took)
        if self._hinted.is_set():
            return soonest
        regular = self._look_end + max(_LOOK_S[self._hints.mode], _LOOK_REST[self._hints.mode] * took)
        dues = (self._arrivals.next_due(self._look_at), self._schedule.next_due(self._look_at))
        return max(soonest, min([regular, *(due for due in dues if due is not None)]))

    def _look(self) -> Iterator[Problem]:
        self._hinted.clear()
        self._look_at = self._clock()
        try:
            known, self._identity = self._identity, self._disk.identity()
            if known not in (None, self._identity):
                raise FileNotFoundError  # another folder lies in its place, which is taken up at the next look
            if known is None or not self._hints.sound:
                yield from self._start_hints()
            self._take_in(self._disk.listing())
            self._last_look = self._wall()
        except OSError:
            self._identity = None
            self._hints.stop()
        self._look_end = self._clock()

    def _start_hints(self) -> Iterator[Problem]:
        refusal = self._hints.start()
        if refusal is not None and refusal != self._refusal:
            yield refusal
        self._refusal = refusal

    def _take_in(self, listing: Listing) -> None:
        arrivals = self._arrivals.observe(listing, self._look_at, self._wall())
        self._schedule.add(sorted(arrivals, key=lambda arrival: identity(arrival.capture) in self._doubtful))
        if arrivals and not (arrivals[-1].early or arrivals[-1].beside):
            self._looks.offer_settled(arrivals[-1].capture, self._is_there)

    def _offer_ending(self) -> None:
        path, self._ending = self._ending, None
        if path is not None:
            self._looks.offer_file(path, self._wall(), self._is_there)

    def _looked(self, capture: Capture, outcome: Outcome) -> None:
        self._inbox.put(partial(self._show, capture, outcome))

    def _show(self, capture: Capture, outcome: Outcome) -> list[FirstLook]:
        look = self._looks.outcome(capture, outcome)
        return [] if look is None else [look]

    def _start_jobs(self) -> Iterator[WatchEvent]:
        while self._reader.free and self._is_here():
            waiting = self._schedule.next_job(self._clock())
            if waiting is None:
                return
            fingerprint = self._disk.fingerprint(waiting.capture.path) if waiting.capture.size else None
            if self._has_changed(waiting.capture):
                self._schedule.drop(waiting)  # and the fingerprint is that of what has come in its place
                continue
            if waiting.barred and fingerprint is None:
                self._wait_until_open(waiting)
                continue
            job = self._schedule.recognise(waiting, fingerprint, self._is_there)
            if job is None:
                self._ledger.recognised(replace(waiting.capture, fingerprint=fingerprint))
            elif self._ledger.allows(job.capture):
                told = partial(self._done, job), partial(self._begun, job.capture)
                self._reader.start(job.capture.path, self._schedule.aim_of(job), job.step, *told)
            else:
                yield from self._schedule.finish(job, Failure(Fault.SET_ASIDE), self._clock())

    def _wait_until_open(self, barred: Job) -> None:
        if self._is_there(identity(barred.capture)):
            self._schedule.put_back(barred, self._clock() + BARRED_S)
        else:
            self._schedule.drop(barred)

    def _is_there(self, file: Identity) -> bool:
        path, *state = file
        entry = self._disk.entry(Path(path))
        if entry is None:
            return not self._is_here()  # while the folder is away nothing in it has gone
        return [*entry[1:]] == state

    def _has_changed(self, capture: Capture) -> bool:
        """Whether another content lies in its place now."""
        entry = self._disk.entry(capture.path)
        return entry is not None and entry[1:] != (capture.size, capture.mtime_ns)

    def _take_aim(self, aim: Aim, step: Step) -> tuple[()]:
        self._schedule.use(aim, step)
        return ()

    def _begun(self, capture: Capture) -> None:
        self._inbox.put(partial(self._note_begun, capture))

    def _note_begun(self, capture: Capture) -> tuple[()]:
        self._ledger.began(capture)
        return ()

    def _done(self, job: Job, outcome: Outcome) -> None:
        self._inbox.put(partial(self._finish, job, outcome))

    def _finish(self, job: Job, outcome: Outcome) -> list[Metered | Problem]:
        self._ledger.ended(job.capture, outcome.fault)
        if self._has_changed(job.capture):
            self._schedule.drop(job)
            return []
        if outcome.fault is Fault.VANISHED and not self._is_here():
            self._schedule.put_back(job)
            self._hint()
            return []
        if self._schedule.recognise(job, job.capture.fingerprint, self._is_there) is None:
            self._ledger.recognised(job.capture)
            return []
        if job.arrival.beside and isinstance(outcome, Read) and outcome.is_twin:
            self._schedule.drop(job)
            self._ledger.recognised(job.capture)
            return []
        return self._schedule.finish(job, outcome, self._clock())

    def _learn(self) -> None:
        """Look into one of the captures that are not to be read: one that is touched later on is no new one."""
        if self._schedule.backlog or not self._unknown or not self._is_here():
            return
        name, entry = self._unknown[-1]
        path = Path(name)
        mark = self._disk.fingerprint(path) if entry.size else None
        if self._disk.entry(path) == entry:
            self._schedule.pass_over(Capture(path, entry.size, entry.mtime_ns, 0.0, fingerprint=mark))
        self._unknown.pop()

    def _is_here(self) -> bool:
        try:
            return self._disk.identity() == self._identity
        except OSError:
            return False

    def _read_inbox(self) -> Iterator[WatchEvent]:
        """Sleep until a message comes or something is due, then deal with all messages there are."""
        wait = min(_REST_S if self._unknown else _NAP_S, self._next_look() - self._clock())
        with suppress(Empty):
            yield from self._inbox.get(timeout=max(0.0, wait))()
            while True:
                yield from self._inbox.get_nowait()()

    def _report(self) -> Iterator[Health]:
        """Say how the watch is doing when that has changed, and now and then."""
        backlog = self._arrivals.unsettled + self._schedule.backlog
        health = Health(self._folder, self._identity is not None, self._hints.mode, backlog, self._last_look)
        same = self._health is not None and replace(self._health, last_look=self._last_look) == health
        if not same or self._clock() - self._health_at >= _HEARTBEAT_S:
            self._health, self._health_at = health, self._clock()
            yield health
