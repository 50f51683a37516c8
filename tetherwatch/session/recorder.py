"""Writes a session down as it happens. A disk that refuses never stops the shoot: what is to be written waits."""

import sqlite3
import time
from collections import deque
from collections.abc import Callable, Mapping
from functools import partial
from threading import RLock

from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.faults import Fault
from tetherwatch.session.chosen import ChosenPlan
from tetherwatch.session.journal import Journal
from tetherwatch.session.keptsetups import KeptSetups
from tetherwatch.session.lighting import Lighting
from tetherwatch.session.recall import STOPPERS, Recalled, earlier_frames, remembered
from tetherwatch.session.records import FrameRecord, SessionEvent
from tetherwatch.text import display_name
from tetherwatch.watch.ledger import Remembered, identity
from tetherwatch.watch.listing import Listing
from tetherwatch.watch.records import Capture, Problem

MOST_STOPS = 2
"""How often a capture may stop the reader before it is set aside."""

MOST_DEATHS = 6
"""Same for the program dying while a capture is being read, which is hardly ever the capture's doing, as workers are
processes of their own: of twenty kills at random moments three may hit the same one."""

RETRY_S = 10.0
"""Time between two tries to write while the disk refuses."""

MOST_WAITING = 500
"""What may wait to be written. The rest is lost, but what was lost of a capture is read again by the next start."""

Write = Callable[[], None]


class Recorder:
    """The session's pen, and the watch's `Ledger`, used from the threads of both."""

    def __init__(
        self,
        journal: Journal,
        recalled: Recalled,
        steady: Callable[[], float] = time.monotonic,
        *,
        also_skipped: bool = False,
    ) -> None:
        """The program has started. `steady` is steady time in seconds.

        `also_skipped`: what lay there before the session is to be read now.
        """
        self._journal = journal
        self._stops = dict(recalled.stops)
        self._deaths = recalled.deaths
        self._also_skipped = also_skipped
        self._steady = steady
        self._kept_setups = KeptSetups(recalled.past)
        self._lock = RLock()
        self._waiting: deque[Write] = deque()
        self._lost = 0
        self._retry_at: float | None = None
        self._said: deque[Problem] = deque()
        self._keep(journal.begin_run)

    def remembered(self) -> Remembered:
        """What the file knows of captures. Raises JournalError."""
        return remembered(self._journal, also_skipped=self._also_skipped)

    def earlier(self) -> tuple[FrameRecord, ...]:
        """The frames before those that were recalled at the start. Raises JournalError."""
        return earlier_frames(self._journal)

    def looked(self, skipped: Listing) -> None:
        """Write what lay there before."""
        self._write(partial(self._journal.looked, skipped))

    def allows(self, capture: Capture) -> bool:
        """False if the capture stopped the reader too often."""
        key = identity(capture)
        return self._stops.get(key, 0) < MOST_STOPS and self._deaths.get(key, 0) < MOST_DEATHS

    def began(self, capture: Capture) -> None:
        """Write that a worker has begun to read a capture."""
        self._write(partial(self._journal.began, capture))

    def ended(self, capture: Capture, fault: Fault | None) -> None:
        """Write how an attempt ended, with whatever is written next."""
        if fault in STOPPERS:
            self._stops[identity(capture)] = self._stops.get(identity(capture), 0) + 1
        self._keep(partial(self._journal.ended, capture, fault))

    def recognised(self, capture: Capture) -> None:
        """Write that a capture is one that was read, under another name or time."""
        self._keep(partial(self._journal.recognised, capture))

    def use_plan(self, chosen: ChosenPlan, locks: Mapping[Setting, float | None], set_after: int) -> None:
        """Write what is in force from now on; the plan was chosen after frame `set_after`."""
        self._write(partial(self._journal.use_plan, chosen, dict(locks), set_after))

    def rewrite(self, *frames: FrameRecord) -> None:
        """Write frames once more, which were called again under another plan."""
        for frame in frames:
            self._write(partial(self._journal.add_frame, frame))

    def note_setups(self, lighting: Lighting) -> None:
        """Write what changed of setups, pins and placed faces, with whatever is written next."""
        with self._lock:
            self._kept_setups.want(lighting)

    def note_merged(self, number: int, into: int) -> None:
        """Write that all frames of a setup are in another one, with whatever is written next."""
        self._keep(partial(self._journal.merge_setups, number, into))

    def note(self, *news: SessionEvent) -> tuple[Problem, ...]:
        """Write frames and problems, and return what is to be said of the writing itself. First looks are not kept."""
        with self._lock:
            for each in news:
                if isinstance(each, FrameRecord) and not each.reading.provisional:
                    self._keep(partial(self._journal.add_frame, each))
                elif isinstance(each, Problem):
                    self._keep(partial(self._journal.add_problem, each))
            self._flush()
            said = tuple(self._said)
            self._said.clear()
            return said

    def close(self, ended_well: bool = True) -> None:
        """Write what waits, and that the program stops of its own will if it does; then let others in."""
        with self._lock:
            self._retry_at = None if self._retry_at is None else self._steady()
            if ended_well:
                self._keep(self._journal.end_run)
            self._flush()
            self._journal.close()

    def _write(self, write: Write) -> None:
        with self._lock:
            self._keep(write)
            self._flush()

    def _keep(self, write: Write) -> None:
        with self._lock:
            if len(self._waiting) < MOST_WAITING:
                self._waiting.append(write)
            else:
                self._lost += 1

    def _flush(self) -> None:
        """Write all that waits in one transaction, unless the disk has refused a moment ago."""
        nothing = not self._waiting and self._kept_setups.complete
        if nothing or (self._retry_at is not None and self._steady() < self._retry_at):
            return
        try:
            with self._journal.transaction():
                for write in self._waiting:
                    write()
                if not self._kept_setups.complete:
                    self._kept_setups.write(self._journal)
        except sqlite3.Error as error:
            if self._retry_at is None:
                self._said.append(_refused(self._journal, error))
            self._retry_at = self._steady() + RETRY_S
            return
        self._waiting.clear()
        self._kept_setups.written()
        if self._retry_at is not None:
            self._said.append(_again(self._journal, self._lost))
            self._retry_at, self._lost = None, 0


def _refused(journal: Journal, error: sqlite3.Error) -> Problem:
    reason = display_name(str(error), 120)
    advice = "metering goes on; make room on that disk or make it writable, and what waits is written"
    return Problem(journal.path, f"the session is not being recorded: {reason}", advice)


def _again(journal: Journal, lost: int) -> Problem:
    if not lost:
        return Problem(journal.path, "the session is recorded again, nothing is missing", "nothing to do")
    missing = f"the session is recorded again, {lost} entries are missing"
    return Problem(journal.path, missing, "what is missing of a capture is read again at the next start")
