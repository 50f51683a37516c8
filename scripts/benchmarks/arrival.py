"""What the user waits for after a capture: the first look at it, and the call."""

import statistics
import tempfile
import time
from pathlib import Path

from benchmarks.captures import make_captures
from benchmarks.headless import headless
from benchmarks.reading import time_pairs
from benchmarks.rows import Row, Rows, median_row
from tetherwatch.watch.arrivals import PATIENCE

MEGAPIXELS = 6.0


def measure(quick: bool) -> Rows:
    """Rows for a capture's way to its event."""
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        return event_rows(Path(folder), 5 if quick else 11)


def event_rows(folder: Path, repeats: int) -> Rows:
    """From a file's appearance in the folder to its frame event, beside bare unpacking of the last file."""
    staged = make_captures(folder / "staged", MEGAPIXELS, frames=repeats + 2)
    unpack_s = statistics.median(time_pairs(staged[-1], "frame", repeats, 0)["unpack"])
    looks, waits = event_waits_s(staged, folder / "captures")
    what = f"{MEGAPIXELS:g} MP raw: file in place to event, {1000 * PATIENCE.settle_s:g} ms of it settling"
    return (
        median_row(f"{MEGAPIXELS:g} MP raw: file in place to first look", [1000 * wait for wait in looks], "ms"),
        median_row(what, [1000 * wait for wait in waits], "ms"),
        Row(f"{MEGAPIXELS:g} MP raw: unpack", 1000 * unpack_s, "ms"),
    )


def event_waits_s(staged: list[Path], captures: Path) -> tuple[list[float], list[float]]:
    """Seconds from rename to first look and to event, for each staged file but the first two.

    Those get the workers going.
    """
    captures.mkdir()
    looks, waits = [], []
    for path in staged[:2]:
        path.rename(captures / path.name)
    with headless(captures) as watch:
        watch.wait_for(*(path.name for path in staged[:2]))
        for path in staged[2:]:
            start = time.perf_counter()
            path.rename(captures / path.name)
            watch.wait_for(path.name, first_look=True)
            looks.append(time.perf_counter() - start)
            watch.wait_for(path.name)
            waits.append(time.perf_counter() - start)
    return looks, waits
