"""When a file counts as a capture: settling, pairs, files there before. Pure: looks and clock are handed in."""

import math
import os
from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path

from tetherwatch.frame.names import is_raw_name
from tetherwatch.watch.listing import Entry, Listing
from tetherwatch.watch.records import Capture


@dataclass(frozen=True, slots=True)
class Patience:
    """How long to wait for what, in seconds of our own clock.

    `settle_s`: unchanged for so long is complete. `odd_s`: same for an empty file, or for a folder or a dead link with
    a capture's name. `pair_s`: how long a JPEG waits for its raw. `late_pair_s`: how long after a JPEG was handed on
    its raw is still taken for the same frame.
    """

    settle_s: float = 0.4
    odd_s: float = 3.0
    pair_s: float = 2.0
    late_pair_s: float = 30.0


PATIENCE = Patience()


@dataclass(frozen=True, slots=True)
class Arrival:
    """A settled capture. `changed_at` is when it was last seen to change; `early`: it lay there at the first look.

    `spare` is the JPEG of a pair as a capture of its own, to fall back on should the raw be unreadable. `beside`: the
    picture came so long after the raw of its name that it may be of another shot, or of the same.
    """

    capture: Capture
    changed_at: float
    early: bool = False
    spare: Capture | None = None
    beside: bool = False


@dataclass(frozen=True, slots=True)
class _Seen:
    entry: Entry
    since: float


def _shot(path: str) -> tuple[str, str]:
    """What the files of one pair have in common: folder, and name without extension in either case."""
    folder, name = os.path.split(path)
    return folder, os.path.splitext(name)[0].casefold()  # noqa: PTH122


def _stem(path: str) -> str:
    """Much the same, in a fifth of the time, but folders that differ in case alone are not told apart."""
    return path.rpartition(".")[0].casefold()


class Arrivals:
    """Looks at the folder go in, settled captures come out, each content of each path once."""

    def __init__(self, patience: Patience = PATIENCE, *, from_start: bool = False) -> None:
        """Without `from_start` nothing is handed on that is there at the first look."""
        self._patience = patience
        self._from_start = from_start
        self._unsettled: dict[str, _Seen] = {}
        self._handled: dict[str, Entry] = {}
        self._alone_at: dict[str, float] = {}
        self._raw_at: dict[str, float] = {}
        self._early: Listing | None = None
        self._pairs_expected = False
        self._count = 0

    def go_on(self, known: Listing, count: int) -> None:
        """Go on after `count` arrivals before the first look; captures that are `known` are not handed on again."""
        self._handled.update(known)
        self._count = count

    def observe(self, listing: Listing, now: float, wall: float = 0.0) -> list[Arrival]:
        """What is complete by this look, oldest first. `now`: steady time, `wall`: wall-clock time, both in seconds."""
        if self._early is None:
            self._first_look(listing)
        self._follow(listing, now)
        ready = [path for path, seen in self._unsettled.items() if now >= self._settles_at(seen)]
        if not ready:
            return []
        partners = _partners(listing, ready)
        handed = {path: self._hand_on(path, partners.get(path), now, wall) for path in sorted(ready, key=_raw_first)}
        arrivals = [arrival for arrival in handed.values() if arrival is not None]
        arrivals.sort(key=lambda arrival: (arrival.capture.mtime_ns, str(arrival.capture.path)))
        return [self._numbered(arrival) for arrival in arrivals]

    def next_due(self, now: float) -> float | None:
        """When the next look can bring something even if nothing changes; None if all has been handed on."""
        settles = (self._settles_at(seen) for seen in self._unsettled.values())
        # What has settled and is still here is a JPEG waiting for its raw.
        return min((at if at > now else at + self._patience.pair_s for at in settles), default=None)

    @property
    def unsettled(self) -> int:
        """How many captures have been seen but not handed on."""
        return len(self._unsettled)

    @property
    def pairs_expected(self) -> bool:
        """Whether captures come as RAW+JPEG pairs."""
        return self._pairs_expected

    def is_handled(self, path: str, entry: Entry) -> bool:
        """Whether this content has been handed on, or lay there before."""
        return self._handled.get(path) == entry

    def _numbered(self, arrival: Arrival) -> Arrival:
        self._count += 1
        spare = arrival.spare and replace(arrival.spare, sequence=self._count)
        return replace(arrival, capture=replace(arrival.capture, sequence=self._count), spare=spare)

    def _first_look(self, listing: Listing) -> None:
        self._early = dict(listing)
        self._pairs_expected = bool(_partners(listing, listing))
        if not self._from_start:
            self._handled.update(listing)

    def _follow(self, listing: Listing, now: float) -> None:
        for path in [path for path in self._unsettled if path not in listing]:
            del self._unsettled[path]
        for path, entry in listing.items():
            if self._handled.get(path) == entry:
                self._unsettled.pop(path, None)
                continue
            seen = self._unsettled.get(path)
            if seen is None or seen.entry != entry:
                self._unsettled[path] = _Seen(entry, now)

    def _settles_at(self, seen: _Seen) -> float:
        odd = seen.entry.kind != "file" or seen.entry.size == 0
        return seen.since + (max(self._patience.odd_s, self._patience.settle_s) if odd else self._patience.settle_s)

    def _hand_on(self, path: str, partner: str | None, now: float, wall: float) -> Arrival | None:
        if is_raw_name(path):
            return self._hand_on_raw(path, partner, now, wall)
        if partner is not None and partner in self._handled and partner not in self._unsettled:
            return self._hand_on_after_raw(path, partner, now, wall)
        if self._waits_for_raw(path, partner, now):
            return None
        self._pairs_expected = self._pairs_expected and partner is not None
        self._alone_at[path] = now
        return self._settle(path, wall)

    def _hand_on_after_raw(self, path: str, partner: str, now: float, wall: float) -> Arrival | None:
        late = now - self._raw_at.get(partner, -math.inf) > self._patience.late_pair_s
        self._pairs_expected = self._pairs_expected or not late
        arrival = self._settle(path, wall)
        return replace(arrival, beside=True) if late else None

    def _hand_on_raw(self, path: str, partner: str | None, now: float, wall: float) -> Arrival:
        arrival = self._settle(path, wall)
        self._raw_at = {raw: at for raw, at in self._raw_at.items() if now - at <= self._patience.late_pair_s}
        self._raw_at[path] = now
        if partner is None or now - self._alone_at.get(partner, now) > self._patience.late_pair_s:
            return arrival
        self._pairs_expected = True
        entry = self._unsettled[partner].entry if partner in self._unsettled else self._handled[partner]
        spare = _capture(partner, entry, wall)
        return replace(arrival, capture=replace(arrival.capture, pair=spare.path), spare=spare)

    def _waits_for_raw(self, path: str, partner: str | None, now: float) -> bool:
        waits = partner is not None or self._pairs_expected
        return waits and now < self._settles_at(self._unsettled[path]) + self._patience.pair_s

    def _settle(self, path: str, wall: float = 0.0) -> Arrival:
        seen = self._unsettled.pop(path)
        self._handled[path] = seen.entry
        early = self._early is not None and self._early.get(path) == seen.entry
        return Arrival(_capture(path, seen.entry, wall), changed_at=seen.since, early=early)


def _capture(path: str, entry: Entry, wall: float) -> Capture:
    return Capture(Path(path), entry.size, entry.mtime_ns, wall)


def _raw_first(path: str) -> tuple[bool, str]:
    return not is_raw_name(path), path


def _partners(listing: Listing, wanted: Collection[str]) -> dict[str, str]:
    """The other file of each pair: where one raw and one picture, and no more, share folder and name."""
    stems, shots = {_stem(path) for path in wanted}, {_shot(path) for path in wanted}
    together: dict[tuple[str, str], list[str]] = {}
    for path, entry in listing.items():
        if entry.kind == "file" and _stem(path) in stems and (shot := _shot(path)) in shots:
            together.setdefault(shot, []).append(path)
    pairs = [paths for paths in together.values() if len(paths) == 2 and is_raw_name(paths[0]) != is_raw_name(paths[1])]
    return {mine: other for pair in pairs for mine, other in (pair, reversed(pair))}
