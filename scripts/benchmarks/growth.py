"""How the figures grow: exact readings from 6 to 100 megapixels, work for a frame from 10 to 10,000 frames."""

import tempfile
import time
from dataclasses import replace
from pathlib import Path

from benchmarks.captures import make_captures, read
from benchmarks.reading import ratios, time_pairs
from benchmarks.report import write_session
from benchmarks.rows import Row, Rows, median_row
from tetherwatch.screen.layout import Scene, dashboard
from tetherwatch.screen.palette import choose
from tetherwatch.session.opening import Wish, opened
from tetherwatch.watch.records import Capture, Metered
from tetherwatch.watch.task import Read

MEGAPIXELS, QUICK_MEGAPIXELS = (6, 12, 24, 45, 100), (6, 24)
PAIRS, QUICK_PAIRS = 7, 3
FRAMES, QUICK_FRAMES = (10, 100, 1000, 10_000), (10, 1000)
TAKEN = 30
SMALL_MEGAPIXELS = 1.0
COLUMNS, ROWS = 200, 50
MOST_GROWTH = 1.5
"""Work for a frame in the longest session, against that in the shortest."""


def measure(quick: bool) -> Rows:
    """Rows for each size of picture, then for each length of session."""
    sizes, pairs, lengths = (QUICK_MEGAPIXELS, QUICK_PAIRS, QUICK_FRAMES) if quick else (MEGAPIXELS, PAIRS, FRAMES)
    rows: list[Row] = []
    for megapixels in sizes:
        rows += size_rows(megapixels, pairs)
    return (*rows, *length_rows({frames: work_ms(frames) for frames in lengths}))


def size_rows(megapixels: int, repeats: int) -> Rows:
    """Exact readings of one size, compressed and not."""
    rows = []
    for compressed in (True, False):
        with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
            (path,) = make_captures(Path(folder), megapixels, compressed=compressed)
            times = time_pairs(path, "card", repeats, 0)
        name = f"{megapixels} MP {'compressed' if compressed else 'uncompressed'}"
        rows += [
            median_row(f"{name}: reading / unpack", ratios(times), "x"),
            median_row(f"{name}: reading", [1000 * seconds for seconds in times["reading"]], "ms"),
        ]
    return tuple(rows)


def length_rows(works: dict[int, tuple[list[float], float]]) -> Rows:
    """Work for a frame and time to open, by the length of the session."""
    rows = []
    for frames, (taken, open_ms) in works.items():
        rows += [
            median_row(f"session of {frames} frames: a frame called, written and drawn", taken, "ms"),
            Row(f"session of {frames} frames: opened", open_ms, "ms"),
        ]
    medians = [row.value for row in rows[::2]]
    growth = Row("the same, longest session / shortest", medians[-1] / medians[0], "x", at_most=MOST_GROWTH)
    return (*rows, growth)


def work_ms(frames: int) -> tuple[list[float], float]:
    """Milliseconds for each of some frames that come after so many, and for opening their session before."""
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as made:
        folder, path = Path(made, "captures"), Path(made, "long.session")
        folder.mkdir()
        write_session(path, folder, frames)
        began = time.perf_counter()
        with opened(folder, Wish("studio-card", path)) as found:
            open_ms = 1000 * (time.perf_counter() - began)
            last = found.session.view().frames[-1].capture
            (small,) = make_captures(Path(made, "small"), SMALL_MEGAPIXELS)
            shot = read(small, found.session.plan.aim)
            palette, taken = choose({}, None), []
            for number in range(1, TAKEN + 1):
                event = _next(last, shot, frames + number)
                began = time.perf_counter()
                found.session.take(event)
                dashboard(Scene(found.session.view(), palette, 0.0), COLUMNS, ROWS)
                taken.append(1000 * (time.perf_counter() - began))
    return taken, open_ms


def _next(last: Capture, shot: Read, number: int) -> Metered:
    """A shot that comes as a capture after the last one."""
    path = last.path.with_name(f"SES_{number:05}.DNG")
    capture = replace(last, path=path, mtime_ns=number, sequence=number, fingerprint=None)
    return Metered(capture, shot.metadata, shot.reading, shot.thumbnail)
