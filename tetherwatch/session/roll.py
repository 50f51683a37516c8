"""The last frames of a session, in the order their captures arrived, whatever order they were read in."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import takewhile

from tetherwatch.session.judging import LOOK_BACK
from tetherwatch.session.records import FrameRecord
from tetherwatch.watch.records import Capture

KEPT_FRAMES = 200
"""Frames a screen may look back on; work per frame does not grow with the session."""


class Roll:
    """Frames by their place: 0 is the oldest that is kept."""

    def __init__(self, frames: Sequence[FrameRecord]) -> None:
        """Begin with these."""
        self._frames = list(frames)

    def __len__(self) -> int:
        """How many there are."""
        return len(self._frames)

    @property
    def frames(self) -> tuple[FrameRecord, ...]:
        """All of them."""
        return tuple(self._frames)

    @property
    def newest(self) -> FrameRecord | None:
        """The one that arrived last."""
        return self._frames[-1] if self._frames else None

    def numbered(self, number: int | None) -> FrameRecord | None:
        """The frame of this number."""
        return next((record for record in self._frames if record.number == number), None)

    def number_at(self, place: int) -> int:
        """The number of a frame."""
        return self._frames[place].number

    def before(self, place: int) -> Sequence[FrameRecord]:
        """The frames before a place that one there may be judged by."""
        return self._frames[max(0, place - LOOK_BACK) : place]

    def all_before(self, place: int) -> Sequence[FrameRecord]:
        """All frames before a place."""
        return self._frames[:place]

    def behind(self, place: int, number: int) -> int:
        """How many frames other than the numbered one arrived at or after a place."""
        return sum(record.number != number for record in self._frames[place:])

    def is_newest(self, capture: Capture) -> bool:
        """Whether a capture arrived after all frames that there are."""
        return not self._frames or _arrival(capture) >= _arrival(self._frames[-1].capture)

    def place_of(self, capture: Capture) -> int | None:
        """Place of the frame that a capture is a better version of: that of its content, whose name may have changed,
        or else that of its name, which another content may have had before."""
        paths, mark = {capture.path, capture.pair}, capture.fingerprint
        kept = [(place, self._frames[place].capture) for place in range(len(self._frames) - 1, -1, -1)]
        named = [(place, each) for place, each in kept if each.path in paths]
        same = [(place, each) for place, each in kept if mark is not None and each.fingerprint == mark]
        both = [each for each in same if each in named]
        return next((place for place, _ in (*both, *same, *named)), None)

    def place_for(self, capture: Capture) -> int:
        """Place where a new frame belongs: one of the backlog is read after newer ones, yet stays behind them."""
        place = len(self._frames)
        while place and _arrival(self._frames[place - 1].capture) > _arrival(capture):
            place -= 1
        return place

    def put_before(self, earlier: Sequence[FrameRecord]) -> None:
        """Put frames before all others."""
        self._frames[:0] = earlier

    def insert(self, place: int, record: FrameRecord) -> None:
        """Put a new frame between the others."""
        self._frames.insert(place, record)

    def put(self, place: int, record: FrameRecord) -> None:
        """Put a frame where another was."""
        self._frames[place] = record

    def put_newest(self, record: FrameRecord) -> None:
        """Put a frame where the newest was."""
        self._frames[-1] = record

    def trim(self) -> None:
        """Forget the oldest that are too many to keep."""
        del self._frames[:-KEPT_FRAMES]

    def assign(self, setups: Mapping[int, int]) -> None:
        """Give the last frames the setups, by number, that the newest one shows them to be in."""
        for place in range(max(0, len(self._frames) - LOOK_BACK), len(self._frames)):
            record = self._frames[place]
            setup = setups.get(record.number, record.setup)
            if setup != record.setup:
                self._frames[place] = replace(record, setup=setup)

    def merge(self, setup: int, into: int) -> None:
        """Put all frames of one setup into another."""
        self._frames = [replace(each, setup=into) if each.setup == setup else each for each in self._frames]

    def stretch(self, setup: int) -> int:
        """How many frames in a row, the newest last, are in a setup."""
        return sum(1 for _ in takewhile(lambda record: record.setup == setup, reversed(self._frames)))


def _arrival(capture: Capture) -> tuple[int, float, int]:
    """Order of arrival, whatever the clocks said."""
    return capture.sequence, capture.arrived_at, capture.mtime_ns
