"""What a session's file still knows, read at a start in parts, so that the session goes on where it was."""

import json
import sqlite3
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from tetherwatch.body.bodyfile import parse_body
from tetherwatch.errors import JournalError
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.faults import Fault
from tetherwatch.meter.records import Box
from tetherwatch.session.chosen import ChosenPlan, chosen_plan
from tetherwatch.session.codec import CODEC_ERRORS, fields_from_plain, from_plain
from tetherwatch.session.journal import Journal
from tetherwatch.session.judging import LOOK_BACK
from tetherwatch.session.records import NO_PAST, FrameRecord, Past
from tetherwatch.session.roll import KEPT_FRAMES
from tetherwatch.session.session import KEPT_PROBLEMS
from tetherwatch.session.values import name_of, path_of, thumbnail_of
from tetherwatch.setups.records import Pin, Placement, Setup
from tetherwatch.watch.ledger import Identity, Remembered
from tetherwatch.watch.listing import Entry
from tetherwatch.watch.records import Capture, Problem

T = TypeVar("T")

STOPPERS = frozenset({Fault.CRASHED, Fault.TOO_SLOW})
"""Faults that stop the reader; a capture that did it too often is set aside."""

_TRIED_AGAIN = tuple(fault.name for fault in (*STOPPERS, Fault.NO_ACCESS, Fault.VANISHED))
"""Faults that another start may mend."""

_FRAMES = "frames JOIN captures ON captures.id = frames.capture"

_LAST = "sequence DESC, number DESC"

_CAPTURE = "captures.path, size, mtime_ns, pair, arrived_at, sequence, fingerprint"


@dataclass(frozen=True, slots=True)
class Recalled:
    """What a session goes on from; of its frames those that the next one is judged by, however long it is.

    `begun`: whether the folder was looked at before, so that what is not known came since. `stops`: how often a capture
    stopped the reader; `deaths`: how often the program died while it was being read. `broke_off`: the last sign of a
    run that ended unexpectedly, in wall-clock seconds; None if the last one ended well. `chosen` is None in a new one.
    """

    past: Past = NO_PAST
    chosen: ChosenPlan | None = None
    begun: bool = False
    broke_off: float | None = None
    stops: Mapping[Identity, int] = field(default_factory=dict)
    deaths: Mapping[Identity, int] = field(default_factory=dict)


def recall(journal: Journal) -> Recalled:
    """Read everything that a first picture needs. Raises JournalError, as all here, if the file is damaged."""
    with _reading(journal) as reader:
        chosen, locks = reader.plan()
        past = reader.past(locks)
        return Recalled(past, chosen, reader.begun(), reader.broke_off(), reader.stops(), reader.deaths())


def earlier_frames(journal: Journal) -> tuple[FrameRecord, ...]:
    """The frames before those that were recalled, as far as they may be looked back on, oldest first."""
    with _reading(journal) as reader:
        return reader.last_frames(KEPT_FRAMES - LOOK_BACK, before=LOOK_BACK)


def numbered_frame(journal: Journal, number: int) -> FrameRecord | None:
    """Any frame by its number."""
    with _reading(journal) as reader:
        return next(iter(reader.frames("SELECT ?", number)), None)


def remembered(journal: Journal, *, also_skipped: bool = False) -> Remembered:
    """What a watch has to know. `also_skipped`: what lay there before the session is to be read now."""
    with _reading(journal) as reader:
        known, given = reader.known(also_skipped), reader.given()
        return Remembered(known, given, frozenset(reader.deaths()), reader.number("max(sequence)"))


@contextmanager
def _reading(journal: Journal) -> Iterator["_Reader"]:
    try:
        with journal.transaction() as db:
            yield _Reader(db, journal.folder)
    except (sqlite3.Error, zlib.error, *CODEC_ERRORS) as error:
        raise JournalError(journal.path, f"it is damaged ({error})") from None


class _Reader:
    """Reads one session inside a transaction."""

    def __init__(self, db: sqlite3.Connection, folder: Path) -> None:
        self._db = db
        self._folder = folder

    def rows(self, query: str, *values: object) -> list[Any]:
        return self._db.execute(query, values).fetchall()

    def number(self, what: str, table: str = "captures") -> int:
        return int(self.rows(f"SELECT {what} FROM {table}")[0][0] or 0)

    def plan(self) -> tuple[ChosenPlan | None, Mapping[Setting, float | None]]:
        last = "SELECT source, text, ceiling, locks, body, body_text FROM plans ORDER BY id DESC LIMIT 1"
        for source, text, ceiling, locks, body, profile in self.rows(last):
            name = source if isinstance(source, str) else str(path_of(source, Path()))
            kept = None if body is None else parse_body(profile, body, body)
            return chosen_plan(name, text, ceiling, kept), from_plain(dict[Setting, float | None], json.loads(locks))
        return None, {}

    def past(self, locks: Mapping[Setting, float | None]) -> Past:
        last = "SELECT path, problem, advice FROM problems ORDER BY said_at DESC, id DESC LIMIT ?"
        problems = self.rows(last, KEPT_PROBLEMS)
        return Past(
            frames=self.last_frames(LOOK_BACK),
            frame_count=self.number("max(number)", "frames"),
            problems=tuple(Problem(path_of(path, self._folder), *words) for path, *words in reversed(problems)),
            problem_count=self.number("count(*)", "problems"),
            locks=locks,
            set_after=self.number("max(set_after)", "plans"),
            setups=tuple(self.records(Setup, "setups", "number")),
            pins={pin.setup: pin for pin in self.records(Pin, "pins", "setup")},
            placements=tuple(self.records(Placement, "placements", "card_frame")),
        )

    def records(self, kind: type[T], table: str, order: str) -> Iterator[T]:
        for (record,) in self.rows(f"SELECT record FROM {table} ORDER BY {order}"):
            yield from_plain(kind, json.loads(record))

    def last_frames(self, count: int, before: int = 0) -> tuple[FrameRecord, ...]:
        """The last frames that arrived `before` so many others, oldest first."""
        # Numbers first: what sorts thousands of frames must not carry their pictures along.
        return self.frames(f"SELECT number FROM {_FRAMES} ORDER BY {_LAST} LIMIT ? OFFSET ?", count, before)

    def frames(self, numbers: str, *values: object) -> tuple[FrameRecord, ...]:
        """Frames by a query for their numbers."""
        rows = self.rows(
            f"SELECT record, setup, width, height, metered, pixels, {_CAPTURE} FROM {_FRAMES} "
            f"JOIN thumbnails ON thumbnails.frame = number WHERE number IN ({numbers}) ORDER BY {_LAST}",
            *values,
        )
        return tuple(self._frame(*row) for row in reversed(rows))

    def _frame(self, record: str, setup: int | None, *row: Any) -> FrameRecord:
        width, height, metered, pixels, *capture = row
        return FrameRecord(
            capture=self._capture(*capture),
            thumbnail=thumbnail_of(width, height, from_plain(Box, json.loads(metered)), pixels),
            setup=setup,
            **fields_from_plain(FrameRecord, json.loads(record)),
        )

    def _capture(self, path: Any, size: int, mtime_ns: int, pair: Any, *rest: Any) -> Capture:
        other = None if pair is None else path_of(pair, self._folder)
        return Capture(path_of(path, self._folder), size, mtime_ns, rest[0], other, *rest[1:])

    def begun(self) -> bool:
        return bool(self.rows("SELECT 1 FROM session WHERE looked_at IS NOT NULL"))

    def broke_off(self) -> float | None:
        """The last thing written by the last run, if that did not end."""
        if not self.rows("SELECT 1 FROM runs WHERE ended_at IS NULL AND id = (SELECT max(id) FROM runs)"):
            return None
        signs = ("max(began_at) FROM runs", "max(started_at) FROM attempts", "max(read_at) FROM frames")
        return max(self.rows(f"SELECT {sign}")[0][0] or 0.0 for sign in signs)

    def known(self, also_skipped: bool) -> dict[str, Entry]:
        skipped = "" if also_skipped else "state = 'skipped' OR"
        again = ", ".join("?" * len(_TRIED_AGAIN))
        rows = self.rows(
            f"SELECT path, size, mtime_ns FROM captures WHERE {skipped} state IN ('read', 'same') "
            f"OR (state = 'failed' AND coalesce(fault, '') NOT IN ({again}))",
            *_TRIED_AGAIN,
        )
        return {self._name(path): Entry("file", size, mtime_ns) for path, size, mtime_ns in rows}

    def given(self) -> dict[Identity, bytes | None]:
        of = "FROM captures WHERE state IN ('read', 'same') AND fault IS NULL ORDER BY sequence"
        rows = self.rows(f"SELECT path, size, mtime_ns, fingerprint {of}")
        return {(self._name(path), size, mtime_ns): mark for path, size, mtime_ns, mark in rows}

    def stops(self) -> dict[Identity, int]:
        faults = tuple(fault.name for fault in STOPPERS)
        return self._attempts(f"outcome IN ({', '.join('?' * len(faults))})", *faults)

    def deaths(self) -> dict[Identity, int]:
        return self._attempts("ended_at IS NULL")

    def _attempts(self, condition: str, *values: object) -> dict[Identity, int]:
        """How many attempts of each capture ended in some way."""
        rows = self.rows(
            "SELECT path, size, mtime_ns, count(*) FROM attempts JOIN captures ON captures.id = attempts.capture "
            f"WHERE {condition} GROUP BY captures.id",
            *values,
        )
        return {(self._name(path), size, mtime_ns): count for path, size, mtime_ns, count in rows}

    def _name(self, path: Any) -> str:
        return name_of(path, self._folder)
