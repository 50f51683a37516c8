"""What a watch asks and tells a memory that outlives it: which captures are done with, and which attempts were made."""

from dataclasses import dataclass, field
from typing import Protocol

from tetherwatch.frame.faults import Fault
from tetherwatch.watch.listing import Listing
from tetherwatch.watch.records import Capture

Identity = tuple[str, int, int]
"""Path, size and mtime_ns."""


@dataclass(frozen=True, slots=True)
class Remembered:
    """What an earlier watch of the same folder left behind.

    `known` are the captures done with: they are not read again. `given` are those that a whole frame was given for.
    `doubtful` were being read when the program died: they are read after all others. `sequence` is that of the last
    arrival.
    """

    known: Listing = field(default_factory=dict)
    given: tuple[Capture, ...] = ()
    doubtful: frozenset[Identity] = frozenset()
    sequence: int = 0


class Ledger(Protocol):
    """Told of each attempt to read a capture, as it begins and ends. The watch's thread calls it; it never raises."""

    @property
    def remembered(self) -> Remembered:
        """What it knew at its start."""

    def looked(self, skipped: Listing) -> None:
        """The first look is over; what it skipped is done with from now on."""

    def allows(self, capture: Capture) -> bool:
        """Called before a capture is given to a worker. False: it is set aside, and must not be read."""

    def began(self, capture: Capture) -> None:
        """Called when a worker has begun with it, which it may never do: then no attempt was made."""

    def ended(self, capture: Capture, fault: Fault | None) -> None:
        """Called with what became of a capture that was given to a worker."""

    def recognised(self, capture: Capture) -> None:
        """Called when an attempt ended because this content is a frame already, under another name or time."""


class NoLedger:
    """Remembers nothing."""

    remembered = Remembered()

    def looked(self, skipped: Listing) -> None:
        """Nothing to remember."""

    def allows(self, capture: Capture) -> bool:
        """Always to be read."""
        return True

    def began(self, capture: Capture) -> None:
        """Nothing to remember."""

    def ended(self, capture: Capture, fault: Fault | None) -> None:
        """Nothing to remember."""

    def recognised(self, capture: Capture) -> None:
        """Nothing to remember."""


def identity(capture: Capture) -> Identity:
    """What tells this content of a path from another, as far as the file system knows."""
    return str(capture.path), capture.size, capture.mtime_ns
