"""Peak memory of a running watch: first many small captures, then a large one."""

import tempfile
from pathlib import Path

from benchmarks.captures import make_captures
from benchmarks.headless import headless
from benchmarks.rows import Row, Rows

AT_MOST_MIB = 350.0
"""Daemon and the worker that reads a 45 MP compressed raw, together."""

LARGE_MEGAPIXELS, SMALL_MEGAPIXELS = 45.0, 1.0


def measure(quick: bool) -> Rows:
    """Rows for the daemon, its largest worker, and both together."""
    small_count = 10 if quick else 50
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        captures = Path(folder, "captures")
        small = make_captures(captures, SMALL_MEGAPIXELS, small_count)
        (large,) = make_captures(Path(folder, "large"), LARGE_MEGAPIXELS)
        with headless(captures) as watch:
            watch.wait_for(*(path.name for path in small))
            before, _ = watch.peaks_mib()
            large.rename(captures / "large.DNG")
            watch.wait_for("large.DNG")
            after, workers = watch.peaks_mib()
    return rows_of(small_count, before, after, workers)


def rows_of(small_count: int, before: float, after: float, workers: list[float]) -> Rows:
    """The figures, in MiB: the daemon's peak before and after the large capture, and those of its child processes."""
    return (
        Row("daemon and the worker of a 45 MP compressed raw", after + max(workers), "MiB", at_most=AT_MOST_MIB),
        Row("worker alone", max(workers), "MiB"),
        Row(f"daemon after {small_count} captures", before, "MiB"),
        Row("daemon after the large one too", after, "MiB"),
        Row("all processes, shared pages counted in each", after + sum(workers), "MiB"),
    )
