"""First looks: the newest capture's preview, as soon as the file may be complete, beside whatever is being read."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

from tetherwatch.exposure.dial import Step
from tetherwatch.frame.names import is_raw_name
from tetherwatch.meter.records import Aim
from tetherwatch.watch.arrivals import Arrivals
from tetherwatch.watch.disk import Disk
from tetherwatch.watch.given import IsThere
from tetherwatch.watch.ledger import Identity, identity
from tetherwatch.watch.listing import Entry
from tetherwatch.watch.records import Capture, FirstLook
from tetherwatch.watch.schedule import Schedule
from tetherwatch.watch.task import Outcome, Read
from tetherwatch.watch.workers import Reader


class Looks:
    """Looks at one capture after another, always the newest that was offered; older ones are not worth a look."""

    def __init__(
        self,
        reader: Reader,
        disk: Disk,
        arrivals: Arrivals,
        schedule: Schedule,
        looked: Callable[[Capture, Outcome], None],
    ) -> None:
        """`reader` takes one capture at a time; `looked` is called from any thread, and tells `outcome`."""
        self._reader = reader
        self._disk = disk
        self._arrivals = arrivals
        self._schedule = schedule
        self._looked = looked
        self._wanted: tuple[Capture, Aim, Step] | None = None
        self._seen: Identity | None = None

    def offer_file(self, path: Path, wall: float, is_there: IsThere) -> None:
        """A file may be complete, though it is not taken in before it has settled. `wall`: wall-clock time, seconds."""
        entry = self._disk.entry(path)
        if entry is None or entry.kind != "file" or self._arrivals.is_handled(str(path), entry):
            return
        if is_raw_name(path.name) or not self._arrivals.pairs_expected:
            self.offer(Capture(path, entry.size, entry.mtime_ns, wall), is_there)

    def offer_settled(self, capture: Capture, is_there: IsThere) -> None:
        """A capture has settled; when many come at once, newer ones may have been looked at before."""
        if self._seen is None or capture.mtime_ns >= self._seen[-1]:
            self.offer(capture, is_there)

    def offer(self, capture: Capture, is_there: IsThere) -> None:
        """Look at a capture now, or when the look under way is over: once at each content, never at a known one."""
        if not capture.size or identity(capture) == self._seen:
            return
        known = replace(capture, fingerprint=self._disk.fingerprint(capture.path))
        if known.fingerprint is not None and not self._schedule.knows(known, is_there):
            self._wanted = capture, *self._schedule.target
            self._start()

    def outcome(self, capture: Capture, outcome: Outcome) -> FirstLook | None:
        """What came of a look; None if there was nothing to see, or the capture itself has been read meanwhile."""
        self._start()
        if isinstance(outcome, Read):
            look = FirstLook(capture, outcome.metadata, outcome.reading, outcome.thumbnail)
            return look if self._is_ahead(capture) else None
        if identity(capture) == self._seen:
            self._seen = None  # the file was not complete: it may be offered once more
        return None

    def _start(self) -> None:
        if self._wanted is None or not self._reader.free:
            return
        (capture, aim, step), self._wanted = self._wanted, None
        self._seen = identity(capture)
        self._reader.start(capture.path, aim, step, partial(self._looked, capture))

    def _is_ahead(self, capture: Capture) -> bool:
        handled = self._arrivals.is_handled(str(capture.path), Entry("file", capture.size, capture.mtime_ns))
        return not handled or self._schedule.awaits(capture)
