"""The sessions that were kept: found by number, name, file or folder, copied and removed."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from tetherwatch.errors import JournalError, SessionBusyError, UsageError
from tetherwatch.report.reader import reading
from tetherwatch.session.alone import Alone
from tetherwatch.session.places import SUFFIX, latest, sessions_folder

_ADVICE = "give its file, its folder of captures, or a number or name that tetherwatch sessions list shows"


@dataclass(frozen=True, slots=True)
class Kept:
    """A session file in the folder of all sessions.

    `number` counts from 1, the newest first. `written_at` is in wall-clock seconds, `size` in bytes.
    """

    number: int
    path: Path
    size: int
    written_at: float

    @property
    def name(self) -> str:
        """How it is called."""
        return self.path.name.removesuffix(SUFFIX)


def kept() -> tuple[Kept, ...]:
    """All sessions in the folder of sessions, the one written to last first."""
    found = sorted(_files(), key=lambda each: (-each[1], each[0]))
    return tuple(Kept(number, path, size, at) for number, (path, at, size) in enumerate(found, start=1))


def _files() -> Iterator[tuple[Path, float, int]]:
    for path in sessions_folder().glob(f"*{SUFFIX}"):
        try:
            stat = path.stat()
        except OSError:  # pruned by another program meanwhile
            continue
        yield path, stat.st_mtime, stat.st_size


def kept_one(word: str) -> Kept | None:
    """The kept session of this number or name."""
    return next((each for each in kept() if word in (str(each.number), each.name, each.path.name)), None)


def session_file(word: str) -> Path:
    """The file of the session that is meant: a number or name of a kept one, a file, or a folder of captures.

    A folder stands for its newest session, also when it is gone. Raises UsageError.
    """
    named, path = kept_one(word), Path(word)
    if named is not None:
        return named.path
    try:
        found = path if path.is_file() else latest(path)
    except (OSError, ValueError):  # no path at all on this system
        found = None
    if found is None:
        raise UsageError(f"there is no session {word}", _ADVICE)
    return found


def in_use(path: Path) -> bool:
    """Whether a program is recording the session at this moment."""
    if not _lock_of(path).exists():
        return False
    try:
        Alone(path).release()
    except SessionBusyError:
        return True
    except JournalError:  # where we may not write, we cannot ask
        return False
    return False


def copy(source: Path, target: Path) -> int:
    """Copy a session, recorded at this moment or not, into one new file; its size in bytes. Raises UsageError."""
    try:
        target.open("xb").close()
    except FileExistsError:
        raise UsageError(f"{target} is there already", "name a file that is not") from None
    except OSError as error:
        raise UsageError(f"{target} cannot be written ({error.strerror})", "name a place you may write to") from None
    try:
        with reading(source) as reader, closing(sqlite3.connect(target)) as db:
            reader.copy_to(db)
    except BaseException:
        target.unlink(missing_ok=True)
        raise
    return target.stat().st_size


def remove(path: Path) -> None:
    """Remove a session and what lies beside it. Raises SessionBusyError if it is being recorded, UsageError."""
    try:
        alone = Alone(path)
        try:
            path.unlink(missing_ok=True)
            path.with_name(f"{path.name}-journal").unlink(missing_ok=True)
        finally:
            alone.release()
        _lock_of(path).unlink(missing_ok=True)
    except (OSError, JournalError):
        raise UsageError(f"session {path} cannot be removed", "see that you may write there") from None


def _lock_of(path: Path) -> Path:
    return path.with_name(f"{path.name}.lock")
