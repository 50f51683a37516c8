"""The SQLite edge: one connection for all threads of one program, and transactions that may be nested."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import RLock

Connect = Callable[[Path], sqlite3.Connection]
Tracer = Callable[[str], None]

_PATIENCE_S = 5.0
"""How long a write waits for another program that is reading the session."""


def connect(path: Path) -> sqlite3.Connection:
    """Open or make a database. Raises sqlite3.Error.

    The rollback journal and full syncing are used on every SQLite: releases before 3.44.6, 3.50.7 and 3.51.3 may lose
    what was committed to a write-ahead log, and few small transactions a frame would gain nothing from one.
    """
    db = sqlite3.connect(path, timeout=_PATIENCE_S, isolation_level=None, check_same_thread=False)
    for pragma in ("journal_mode = DELETE", "synchronous = FULL", "foreign_keys = ON"):
        db.execute(f"PRAGMA {pragma}").fetchall()
    return db


class Database:
    """A connection that one thread at a time may use."""

    def __init__(self, path: Path, connect: Connect = connect, tracer: Tracer | None = None) -> None:
        """Connect; `tracer` is shown every statement. Raises sqlite3.Error."""
        self._db = connect(path)
        self._db.set_trace_callback(tracer)
        self._lock = RLock()
        self._depth = 0

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All or nothing of what happens in the block; inside another one, of that block alone.

        Raises sqlite3.Error, and whatever the block raises.
        """
        with self._lock:
            begin, commit, undo = _words(self._depth)
            self._db.execute(begin)
            self._depth += 1
            try:
                yield self._db
                self._db.execute(commit)
            except BaseException:
                with suppress(sqlite3.Error):  # SQLite may have undone it all by itself; the first error matters
                    for statement in undo:
                        self._db.execute(statement)
                raise
            finally:
                self._depth -= 1

    def close(self) -> None:
        """Close the connection."""
        with self._lock:
            self._db.close()


def _words(depth: int) -> tuple[str, str, tuple[str, ...]]:
    """How a transaction begins, ends and is undone at this depth of nesting."""
    if depth == 0:
        return "BEGIN IMMEDIATE", "COMMIT", ("ROLLBACK",)
    begin, commit = f"SAVEPOINT inner_{depth}", f"RELEASE inner_{depth}"
    return begin, commit, (f"ROLLBACK TO inner_{depth}", commit)
