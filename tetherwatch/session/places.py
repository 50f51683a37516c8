"""Where sessions live on disk: the user's data folder, or where TETHERWATCH_DATA says; never beside the captures."""

import hashlib
import os
import re
import unicodedata
from datetime import datetime
from pathlib import Path

import platformdirs

from tetherwatch.errors import JournalError, UsageError
from tetherwatch.watch.mounts import reports_changes

SUFFIX = ".session"
RESUMED_WITHIN_S = 24 * 3600.0

_DATA_VARIABLE = "TETHERWATCH_DATA"
_LONGEST_NAME = 40


def sessions_folder() -> Path:
    """The folder of all sessions; it need not be there yet."""
    chosen = os.environ.get(_DATA_VARIABLE)
    data = Path(chosen) if chosen else platformdirs.user_data_path("tetherwatch", appauthor=False)
    return data / "sessions"


def new_path(folder: Path, now: float) -> Path:
    """A path for a new session of the captures in `folder` that begins at `now` (wall-clock seconds)."""
    name = f"{datetime.fromtimestamp(now):%Y-%m-%d-%H%M%S}-{_plain(real(folder).name)}-{_mark(folder)}"
    place = sessions_folder() / f"{name}{SUFFIX}"
    count = 1
    while place.exists():
        count += 1
        place = place.with_name(f"{name}-{count}{SUFFIX}")
    return place


def latest(folder: Path) -> Path | None:
    """The session of `folder` that was written to last; None if there is none."""
    found = sessions_folder().glob(f"*-{_mark(folder)}*{SUFFIX}")
    return max(found, key=_written_at, default=None)


def resumable(folder: Path, now: float) -> Path | None:
    """The latest session of `folder` if it was written to within a day before `now` (wall-clock seconds)."""
    path = latest(folder)
    return path if path is not None and now - _written_at(path) <= RESUMED_WITHIN_S else None


def check_place(path: Path, folder: Path) -> None:
    """Raise UsageError for a session inside the watched folder, JournalError for one across a network."""
    if real(path).is_relative_to(real(folder)):
        raise UsageError("a session is never kept beside the captures", "name a file outside the watched folder")
    if not reports_changes(_nearest(real(path))):
        raise JournalError(path, "this is not a disk of this machine, where a session would not be safe")


def real(path: Path) -> Path:
    """The path with links resolved, spelled the one way that this system compares names."""
    return Path(os.path.normcase(os.path.realpath(path)))


def _nearest(path: Path) -> Path:
    """The path, or the first folder above it that is there."""
    return next((place for place in (path, *path.parents) if place.exists()), path)


def _mark(folder: Path) -> str:
    return hashlib.sha256(os.fsencode(real(folder))).hexdigest()[:8]


def _plain(name: str) -> str:
    """The part of a name that every system takes as a file's name."""
    letters = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii")
    return re.sub(r"[^a-z0-9]+", "-", letters.lower())[:_LONGEST_NAME].strip("-") or "captures"


def _written_at(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0
