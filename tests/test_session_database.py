"""Transactions, migrations and the lock: the ground the journal stands on."""

import sqlite3
import subprocess
import sys
from contextlib import closing, suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.errors import JournalError, SessionBusyError
from tetherwatch.session.alone import Alone
from tetherwatch.session.database import Database
from tetherwatch.session.migrations import MIGRATIONS, migrate

HOLD = """
import pathlib, sys
from tetherwatch.session.alone import Alone
held = Alone(pathlib.Path(sys.argv[1]))
print("held", flush=True)
sys.stdin.read()
"""


class Undone(Exception):
    """A reason to undo a transaction."""


def numbers(database: Database) -> set[int]:
    """What was kept."""
    with database.transaction() as db:
        return {number for (number,) in db.execute("SELECT n FROM t").fetchall()}


def made() -> Database:
    """A database with one empty table."""
    database = Database(Path(":memory:"), lambda path: sqlite3.connect(str(path), isolation_level=None))
    with database.transaction() as db:
        db.execute("CREATE TABLE t (n INTEGER)")
    return database


Tree = list["tuple[int, bool, Tree]"]
trees = st.recursive(
    st.just([]), lambda inner: st.lists(st.tuples(st.integers(0, 99), st.booleans(), inner), max_size=3), max_leaves=8
)


def play(database: Database, tree: Tree) -> set[int]:
    """Write each number in a transaction of its own and its inner ones, some of which fail; what should be kept."""
    kept: set[int] = set()
    for number, fails, inner in tree:
        with suppress(Undone), database.transaction() as db:
            db.execute("INSERT INTO t VALUES (?)", (number,))
            inside = {number} | play(database, inner)
            if fails:
                raise Undone
            kept |= inside
    return kept


@given(trees)
def test_nested_transactions_keep_what_ended_well(tree: Tree) -> None:
    """A block that fails takes along what is inside it, and nothing else."""
    with closing(made()) as database:
        expected = play(database, tree)
        assert numbers(database) == expected


def test_the_first_error_is_the_one_that_is_seen() -> None:
    """Also when SQLite has undone everything by itself, so that undoing fails too."""
    with closing(made()) as database:
        with pytest.raises(Undone), database.transaction() as db:
            db.execute("ROLLBACK")
            raise Undone
        assert numbers(database) == set()


def test_every_statement_can_be_traced(tmp_path: Path) -> None:
    """And a transaction takes the right to write at its beginning."""
    seen: list[str] = []
    with closing(Database(tmp_path / "a", tracer=seen.append)) as database, database.transaction() as db:
        db.execute("CREATE TABLE t (n)")
    assert seen == ["BEGIN IMMEDIATE", "CREATE TABLE t (n)", "COMMIT"]


def test_no_write_ahead_log_is_used(tmp_path: Path) -> None:
    """Releases of SQLite in use lose data with one; and what is committed is on the disk."""
    with closing(Database(tmp_path / "a")) as database, database.transaction() as db:
        assert db.execute("PRAGMA journal_mode").fetchall() == [("delete",)]
        assert db.execute("PRAGMA synchronous").fetchall() == [(2,)]


def test_migrations_are_applied_once_and_in_order() -> None:
    """Each with its record."""
    with closing(made()) as database:
        steps = (("one", ("INSERT INTO t VALUES (1)",)), ("two", ("UPDATE t SET n = n + 10",)))
        migrate(database, steps[:1])
        migrate(database, steps)
        migrate(database, steps)
        assert numbers(database) == {11}
        with database.transaction() as db:
            assert db.execute("SELECT name FROM migrations ORDER BY applied_at").fetchall() == [("one",), ("two",)]


def test_a_migration_that_fails_leaves_nothing_behind() -> None:
    """Neither half of its work nor its record."""
    with closing(made()) as database:
        with pytest.raises(sqlite3.Error):
            migrate(database, (("broken", ("INSERT INTO t VALUES (1)", "INSERT INTO nowhere VALUES (1)")),))
        assert numbers(database) == set()
        with database.transaction() as db:
            assert db.execute("SELECT * FROM migrations").fetchall() == []


def test_a_file_of_a_newer_program_is_refused() -> None:
    """By the name of the step that is not known here."""
    with closing(made()) as database:
        migrate(database, (*MIGRATIONS, ("colour of the light", ())))
        with pytest.raises(ValueError, match="newer version of this program \\(colour of the light\\)"):
            migrate(database)


def test_each_column_of_the_schema_is_there() -> None:
    """All tables can be made, and none is forgotten."""
    with closing(made()) as database:
        migrate(database)
        with database.transaction() as db:
            tables = {name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    expected = "session runs plans captures attempts frames thumbnails landings problems setups pins migrations".split()
    assert set(expected) <= tables


def test_a_second_holder_is_refused_until_the_first_lets_go(tmp_path: Path) -> None:
    """In one program as between two."""
    first = Alone(tmp_path / "a.session")
    with pytest.raises(SessionBusyError):
        Alone(tmp_path / "a.session")
    first.release()
    Alone(tmp_path / "a.session").release()


def test_the_system_takes_the_lock_back_from_a_killed_program(tmp_path: Path) -> None:
    """So no stale lock ever has to be removed by hand."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path / "a.session")], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline().strip() == b"held"
        with pytest.raises(SessionBusyError):
            Alone(tmp_path / "a.session")
        holder.kill()
        holder.wait()
    Alone(tmp_path / "a.session").release()


def test_a_lock_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    """As a session that cannot be used."""
    with pytest.raises(JournalError):
        Alone(tmp_path / "nowhere" / "a.session")
