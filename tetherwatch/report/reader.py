"""Reads a session's file while it is being recorded, after it ended, and after its program was killed.

The connection cannot write. It is opened for both all the same, so that SQLite itself can put back a transaction that
a killed program left half-written. Every statement is short and read to its end at once: the recording program is
never kept waiting for longer than that takes.
"""

import json
import sqlite3
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tetherwatch.advise.landing import Landing
from tetherwatch.advise.records import Call, Finding, Plan
from tetherwatch.errors import PlanError, UsageError
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Box, Thumbnail
from tetherwatch.report.records import FrameEntry, Measured, ProblemEntry, Run, SessionRecord
from tetherwatch.session.chosen import chosen_plan
from tetherwatch.session.codec import CODEC_ERRORS, from_plain
from tetherwatch.session.migrations import MIGRATIONS
from tetherwatch.session.values import Text, path_of, thumbnail_of
from tetherwatch.setups.records import Pin, Setup

_PATIENCE_S = 5.0
_AT_ONCE = 100
"""Frames that one statement reads."""

_ADVICE = "tetherwatch sessions list names those there are"


class Reader:
    """One session's file, for reading. All of it raises UsageError where the file holds something else."""

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        """Use `reading` instead."""
        self._path = path
        self._db = db
        with _understood(path):
            self._tables = {name for (name,) in self._rows("SELECT name FROM sqlite_master WHERE type = 'table'")}
            self._check()
            folder, self.began_at = self._first("SELECT folder, began_at FROM session")
            self.folder = path_of(folder, Path())

    def _check(self) -> None:
        if "migrations" not in self._tables:
            raise ValueError("it is not a session")
        unknown = {name for (name,) in self._rows("SELECT name FROM migrations")} - {name for name, _ in MIGRATIONS}
        if unknown:
            raise ValueError(f"it was written by a newer version of this program ({min(unknown)})")

    def frame_count(self) -> int:
        """How many frames there are."""
        with _understood(self._path):
            return int(self._first("SELECT count(*) FROM frames")[0])

    def ended(self) -> bool:
        """Whether the last run came to its end; if not, it goes on, or it ended unexpectedly."""
        last = "SELECT 1 FROM runs WHERE ended_at IS NOT NULL AND id = (SELECT max(id) FROM runs)"
        with _understood(self._path):
            return bool(self._rows(last))

    def record(self) -> SessionRecord:
        """Everything but the pictures."""
        with _understood(self._path):
            plans = self._plans()
            frames = sorted(self._frames(plans), key=lambda ordered: ordered[0])
            return SessionRecord(
                path=self._path,
                folder=self.folder,
                began_at=self.began_at,
                runs=tuple(Run(*run) for run in self._rows("SELECT began_at, ended_at FROM runs ORDER BY id")),
                plans=tuple(plans.values()),
                frames=tuple(frame for _, frame in frames),
                problems=tuple(self._problems()),
                setups=tuple(from_plain(Setup, json.loads(text)) for text in self._records("setups", "number")),
                pins=tuple(from_plain(Pin, json.loads(text)) for text in self._records("pins", "setup")),
            )

    def thumbnails(self, numbers: Sequence[int]) -> Iterator[Thumbnail | None]:
        """The pictures of these frames, in this order, a few at a time; None for a frame that has none."""
        for start in range(0, len(numbers), _AT_ONCE):
            wanted = numbers[start : start + _AT_ONCE]
            places = ", ".join("?" * len(wanted))
            query = f"SELECT frame, width, height, metered, pixels FROM thumbnails WHERE frame IN ({places})"
            with _understood(self._path):
                found = {number: _thumbnail(*picture) for number, *picture in self._rows(query, *wanted)}
            yield from map(found.get, wanted)

    def copy_to(self, target: sqlite3.Connection) -> None:
        """Copy the session as it is at this moment."""
        with _understood(self._path):
            self._db.backup(target)

    def _rows(self, query: str, *values: object) -> list[Any]:
        return self._db.execute(query, values).fetchall()

    def _first(self, query: str) -> Any:
        rows = self._rows(query)
        if not rows:
            raise ValueError("nothing is in it yet")
        return rows[0]

    def _records(self, table: str, key: str) -> list[str]:
        """What a table holds that older sessions lack."""
        if table not in self._tables:
            return []
        return [text for (text,) in self._rows(f"SELECT record FROM {table} ORDER BY {key}")]

    def _plans(self) -> dict[int, Plan]:
        rows = self._rows("SELECT id, source, text, ceiling FROM plans ORDER BY id")
        return {number: _plan(*plan) for number, *plan in rows}

    def _frames(self, plans: Mapping[int, Plan]) -> Iterator[tuple[tuple[int, int], FrameEntry]]:
        """Each frame with its place in the order of arrival."""
        setup = "setup" if "setups" in self._tables else "NULL"
        query = (
            f"SELECT number, plan, {setup}, record, path, pair, arrived_at, sequence FROM frames "
            "JOIN captures ON captures.id = capture WHERE number > ? ORDER BY number LIMIT ?"
        )
        last = 0
        while rows := self._rows(query, last, _AT_ONCE):
            for number, plan, setup_number, record, path, pair, arrived_at, sequence in rows:
                files = path_of(path, self.folder), None if pair is None else path_of(pair, self.folder)
                entry = _frame(number, files, arrived_at, json.loads(record), plans[plan], setup_number)
                yield (sequence or 0, number), entry
            last = rows[-1][0]

    def _problems(self) -> Iterator[ProblemEntry]:
        for path, *words in self._rows("SELECT path, problem, advice, said_at FROM problems ORDER BY said_at, id"):
            yield ProblemEntry(path_of(path, self.folder), *words)


@contextmanager
def reading(path: Path) -> Iterator[Reader]:
    """A session's file, open for the length of the block. Raises UsageError if it is none that can be read."""
    with _understood(path):
        db = _connect(path)
    try:
        yield Reader(path, db)
    finally:
        db.close()


@contextmanager
def _understood(path: Path) -> Iterator[None]:
    try:
        yield
    except (sqlite3.Error, zlib.error, PlanError, *CODEC_ERRORS) as error:
        raise UsageError(f"session {path} cannot be read: {error}", _ADVICE) from None


def _connect(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=_PATIENCE_S, isolation_level=None)
    db.execute("PRAGMA query_only = ON")
    return db


def _plan(source: Text, text: str, ceiling: float | None) -> Plan:
    name = source if isinstance(source, str) else str(path_of(source, Path()))
    return chosen_plan(name, text, ceiling).plan


def _frame(
    number: int, files: tuple[Path, Path | None], arrived_at: float | None, plain: Any, plan: Plan, setup: int | None
) -> FrameEntry:
    return FrameEntry(
        number=number,
        path=files[0],
        pair=files[1],
        arrived_at=arrived_at,
        metadata=from_plain(Metadata, plain["metadata"]),
        measured=from_plain(Measured, plain["reading"]),
        call=from_plain(Call, plain["call"]),
        plan=plan,
        findings=tuple(from_plain(Finding, each) for each in plain.get("findings", ())),
        landing=None if plain.get("landing") is None else from_plain(Landing, plain["landing"]),
        notes=tuple(plain.get("notes", ())),
        setup=setup,
    )


def _thumbnail(width: int, height: int, metered: str, pixels: bytes) -> Thumbnail:
    return thumbnail_of(width, height, from_plain(Box, json.loads(metered)), pixels)
