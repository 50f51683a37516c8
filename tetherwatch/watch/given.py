"""Which captures have become frames, by name and by content. Pure; small, because it grows with the session."""

from collections.abc import Callable, Mapping
from pathlib import Path

from tetherwatch.watch.ledger import Identity, identity
from tetherwatch.watch.records import Capture

IsThere = Callable[[Identity], bool]
"""Whether a file with this path, size and mtime_ns lies in the folder now, or that cannot be told."""


class Given:
    """The captures that frames were given for. Plain strings, for thousands of paths would take many times as much."""

    def __init__(self) -> None:
        """None so far."""
        self._whole: dict[str, bytes | None] = {}
        self._poor: set[str] = set()
        self._passed: dict[str, bytes] = {}
        self._places: dict[bytes, Identity] = {}

    def go_on(self, whole: Mapping[Identity, bytes | None]) -> None:
        """Go on from captures, with their fingerprints, that a whole frame was given for before, oldest first."""
        for place, mark in whole.items():
            self._note_whole(place, mark)

    def note(self, capture: Capture, *, whole: bool) -> None:
        """A frame is given; not a `whole` one if it is only that of a preview."""
        self.forget(capture.path)
        if whole:
            self._note_whole(identity(capture), capture.fingerprint)
        else:
            self._poor.add(str(capture.path))

    def _note_whole(self, place: Identity, mark: bytes | None) -> None:
        self._whole[place[0]] = mark
        if mark is not None:
            self._places[mark] = place

    def pass_over(self, capture: Capture) -> None:
        """No frame is given for this one, which lay there before; it is not new either if its time or name changes."""
        if capture.fingerprint is not None:
            self._passed[str(capture.path)] = capture.fingerprint
            self._places.setdefault(capture.fingerprint, identity(capture))

    def forget(self, path: Path) -> None:
        """The frame of this path is now that of another."""
        self._whole.pop(str(path), None)
        self._poor.discard(str(path))

    def has(self, path: Path | None) -> bool:
        """Whether a frame was given for this path."""
        return path is not None and (str(path) in self._whole or str(path) in self._poor)

    def has_poor(self, path: Path) -> bool:
        """Whether the frame given for this path was not a whole one."""
        return str(path) in self._poor

    def knows(self, capture: Capture, is_there: IsThere) -> bool:
        """Whether this content was given or passed over: under this name, or another that it was moved from or to."""
        mark, here = capture.fingerprint, identity(capture)
        if mark is None:
            return False
        if mark in (self._whole.get(here[0]), self._passed.get(here[0])):
            return True
        place = self._places.get(mark)
        return place is not None and place[0] != here[0] and not (is_there(place) and is_there(here))
