"""First looks: how soon a capture that was renamed into place is on the screen, though nothing has been decoded yet."""

import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from benchmarks.captures import copied, make_captures
from benchmarks.headless import headless
from benchmarks.rows import Row, Rows, median_row, percentile_row

MEGAPIXELS = 45.0
CAPTURES, QUICK_CAPTURES = 44, 10
WARM_UP = 3
AT_MOST_MS = 60.0
AHEAD = 3
"""Captures that keep both workers busy while another is looked at."""


def measure(quick: bool) -> Rows:
    """Rows for looks with nothing else to do, and for looks while both workers are reading."""
    count = QUICK_CAPTURES if quick else CAPTURES
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        (capture,) = make_captures(Path(folder, "staged"), MEGAPIXELS)
        idle = waits_s(capture, Path(folder, "idle"), count + WARM_UP, ahead=0)[WARM_UP:]
        busy = waits_s(capture, Path(folder, "busy"), count // 2 + WARM_UP, ahead=AHEAD)[WARM_UP:]
    return rows_of(idle, busy)


def rows_of(idle: list[float], busy: list[float]) -> Rows:
    """The figures of seconds until a first look."""
    rows: list[Row] = []
    for what, waits in (("", idle), (", both workers busy", busy)):
        name = f"{MEGAPIXELS:g} MP raw in place to first look{what}, of {len(waits)}"
        milliseconds = [1000 * wait for wait in waits]
        rows += [
            percentile_row(f"{name}: 95th percentile", milliseconds, "ms", 95, at_most=AT_MOST_MS),
            median_row(f"{name}: median", milliseconds, "ms"),
        ]
    return tuple(rows)


def waits_s(capture: Path, folder: Path, count: int, ahead: int) -> list[float]:
    """Seconds from rename to first look for each of `count` copies, `ahead` others coming right before each of them."""
    staged, captures = folder / "staged", folder / "captures"
    captures.mkdir(parents=True)
    waits = []
    with headless(captures) as watch:
        frames = watch.frames()
        for number in range(count):
            copies = [copied(capture, staged, number * (ahead + 1) + each) for each in range(ahead + 1)]
            waits.append(_wait_s(copies, captures, frames))
            for copy in copies:
                (captures / copy.name).unlink()
    return waits


def _wait_s(copies: list[Path], captures: Path, frames: Iterator[tuple[float, str, bool]]) -> float:
    """The wait of the last copy; returns once all have been read."""
    *others, last = copies
    unread, seen_at = {copy.name for copy in copies}, dict[str, float]()
    for copy in others:
        copy.rename(captures / copy.name)
    if others:  # once one has been read, the workers are at two more
        unread.remove(next(file for _, file, provisional in frames if not provisional))
    start = time.perf_counter()
    last.rename(captures / last.name)
    while unread:
        at, file, provisional = next(frames)
        seen_at.setdefault(file, at)
        if not provisional:
            unread.remove(file)
    return seen_at[last.name] - start
