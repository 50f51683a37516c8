"""The capture folder as the watch sees it. Everything the watch asks of a disk is asked here."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import blake2b
from pathlib import Path
from typing import Protocol

from tetherwatch.errors import FolderError
from tetherwatch.watch.listing import Entry, Listing, entry_at, list_captures
from tetherwatch.watch.mounts import reports_changes

_END_BYTES = 65536
_PIECE_BYTES = 4096
_PIECES = 14
"""Places between the two ends: a copy that fills a file in any order leaves holes longer than the way between them."""


class Disk(Protocol):
    """What the watch has to know of its folder."""

    def identity(self) -> tuple[int, int]:
        """Which folder this is; another in its place is told apart. Raises OSError while there is none."""

    def listing(self) -> Listing:
        """The captures in it. Raises OSError while it cannot be read."""

    def entry(self, path: Path) -> Entry | None:
        """What lies at `path` now; None if nothing does or it cannot be told."""

    def fingerprint(self, path: Path) -> bytes | None:
        """The content of a file in short; None if it cannot be read."""

    def reports_changes(self, folder: Path) -> bool:
        """Whether change events can be expected."""


class Folder:
    """The real `Disk`."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def identity(self) -> tuple[int, int]:
        """Device and number of the folder. Raises OSError."""
        status = self._folder.stat()
        return status.st_dev, status.st_ino

    def listing(self) -> Listing:
        """See `list_captures`."""
        return list_captures(self._folder)

    def entry(self, path: Path) -> Entry | None:
        """See `entry_at`."""
        return entry_at(str(path))

    def fingerprint(self, path: Path) -> bytes | None:
        """See `fingerprint`."""
        return fingerprint(path)

    def reports_changes(self, folder: Path) -> bool:
        """See `mounts.reports_changes`."""
        return reports_changes(folder)


@contextmanager
def folder_errors(folder: Path) -> Iterator[None]:
    """Raise FolderError instead of what the system says of a folder that is not there or may not be read."""
    try:
        yield
    except FileNotFoundError as error:
        raise FolderError(folder, "there is no such folder") from error
    except NotADirectoryError as error:
        raise FolderError(folder, "this is a file, not a folder") from error
    except OSError as error:
        raise FolderError(folder, f"this folder cannot be read ({error.strerror})") from error


def check_folder(folder: Path) -> None:
    """Raise FolderError if there is no such folder or it may not be read."""
    with folder_errors(folder):
        os.scandir(folder).close()


def fingerprint(path: Path) -> bytes | None:
    """16 bytes that stand for a file's size, both its ends and pieces between; None if it cannot be read."""
    digest = blake2b(digest_size=16)
    try:
        with path.open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            digest.update(size.to_bytes(8, "little"))
            for begin, length in _pieces(size):
                file.seek(begin)
                digest.update(file.read(length))
    except OSError:
        return None
    return digest.digest()


def _pieces(size: int) -> Iterator[tuple[int, int]]:
    """Where to read, and how much."""
    between = size - 2 * _END_BYTES
    if between <= _PIECES * _PIECE_BYTES:
        yield 0, size
        return
    yield 0, _END_BYTES
    for number in range(1, _PIECES + 1):
        yield _END_BYTES + between * number // (_PIECES + 1) - _PIECE_BYTES // 2, _PIECE_BYTES
    yield size - _END_BYTES, _END_BYTES
