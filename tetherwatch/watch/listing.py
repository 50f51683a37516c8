"""One look at the capture folder: what lies there under a capture's name. Links to folders are not followed."""

import os
import stat
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Literal, NamedTuple

from tetherwatch.frame.names import is_capture_name

DEPTH = 4
"""Levels of sub-folders that are looked into: year, month, day and one more."""


class Entry(NamedTuple):
    """What the file system says of one name. Anything but a file has size and mtime_ns 0."""

    kind: Literal["file", "folder", "link", "other"]
    size: int = 0
    mtime_ns: int = 0


Listing = Mapping[str, Entry]
"""Capture-like entries by path. Paths are plain strings: thousands are compared at every look."""


def list_captures(folder: Path, depth: int = DEPTH) -> Listing:
    """Everything under `folder` that carries a capture's name, down to `depth` levels of sub-folders.

    A link to a file counts as that file; a link that leads nowhere is listed as `link`. What vanishes or may not be
    read while we look is left out. Paths are as `Path` writes them. Raises OSError if `folder` itself cannot be read.
    """
    with os.scandir(folder) as entries:
        found = _walk(list(entries), depth)
        return dict(found) if folder.parts else {os.path.normpath(path): entry for path, entry in found}


def is_listed(path: Path, folder: Path, depth: int = DEPTH) -> bool:
    """Whether a file at `path` is one that `list_captures` would list, by its name and those of its folders."""
    try:
        *folders, name = path.relative_to(folder).parts
    except ValueError:
        return False
    hidden = any(each.startswith(".") or is_capture_name(each) for each in folders)
    return is_capture_name(name) and not hidden and len(folders) <= depth


def _walk(entries: list[os.DirEntry[str]], depth: int) -> Iterator[tuple[str, Entry]]:
    for entry in entries:
        if is_capture_name(entry.name):
            found = entry_at(entry.path)
            if found is not None:
                yield entry.path, found
        elif depth and not entry.name.startswith(".") and _is_folder(entry):
            yield from _walk(_inside(entry.path), depth - 1)


def _inside(path: str) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(path) as entries:
            return list(entries)
    except OSError:
        return []


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir(follow_symlinks=False)
    except OSError:
        return False


def entry_at(path: str) -> Entry | None:
    """What lies at `path` now; None if nothing does or it cannot be told."""
    try:
        # Not DirEntry.stat(): on Windows it tells the size the folder last heard of, which lags behind a running copy.
        status = os.stat(path)  # noqa: PTH116
    except OSError:
        return Entry("link") if os.path.islink(path) else None  # noqa: PTH114
    if stat.S_ISREG(status.st_mode):
        return Entry("file", status.st_size, status.st_mtime_ns)
    return Entry("folder" if stat.S_ISDIR(status.st_mode) else "other")
