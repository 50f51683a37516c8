"""Peak memory of a running watch: first many small captures, then a large one."""

import tempfile
from pathlib import Path

from benchmarks.captures import make_captures
from benchmarks.headless import headless
from benchmarks.rows import Row, Rows

WORKER_MIB, DAEMON_MIB = 200.0, 150.0
"""Most memory of a worker that reads 45 MP, whatever the file, and of the daemon."""

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
        (jpeg,) = make_captures(Path(folder, "jpeg"), LARGE_MEGAPIXELS, files="jpeg")
        with headless(jpeg.parent) as watch:
            watch.wait_for(jpeg.name)
            _, of_jpeg = watch.peaks_mib()
    return rows_of(small_count, before, after, workers, max(of_jpeg))


def rows_of(small_count: int, before: float, after: float, workers: list[float], of_jpeg: float) -> Rows:
    """The figures, in MiB: the daemon's peak before and after the large capture, and those of its child processes."""
    return (
        Row("worker of a 45 MP compressed raw", max(workers), "MiB", at_most=WORKER_MIB),
        Row("worker of a 45 MP JPEG", of_jpeg, "MiB", at_most=WORKER_MIB),
        Row(f"daemon after {small_count} captures", before, "MiB", at_most=DAEMON_MIB),
        Row("daemon after the large one too", after, "MiB", at_most=DAEMON_MIB),
        Row("daemon and that worker of a raw", after + max(workers), "MiB"),
        Row("all processes, shared pages counted in each", after + sum(workers), "MiB"),
    )
