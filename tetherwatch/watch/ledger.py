"""What a watch asks and tells a memory that outlives it: which captures are done with, and which attempts were made."""

from collections.abc import Mapping
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

    `known` are the captures done with: they are not read again. `given` are those that a whole frame was given for, in
    that order, with their fingerprints where there are any.
    `doubtful` were being read when the program died: they are read after all others. `sequence` is that of the last
    arrival.
    """

    known: Listing = field(default_factory=dict)
    given: Mapping[Identity, bytes | None] = field(default_factory=dict)
    doubtful: frozenset[Identity] = frozenset()
    sequence: int = 0


class Ledger(Protocol):
    """Told by the watch's thread of each attempt to read a capture, as it begins and ends; to tell never raises."""

    def remembered(self) -> Remembered:
        """What there was before: asked once, before anything is told. Raises TetherwatchError if it cannot be read."""

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

    def remembered(self) -> Remembered:
        """Nothing."""
        return Remembered()

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
