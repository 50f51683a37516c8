"""What measuring a ladder costs against the bare decoding of its files, and its peak memory, in a fresh process.

As a program: python ladder_cost.py FOLDER REPEATS prints the seconds of both, turn and turn about, and the peak in MiB.
"""

import json
import sys
import tempfile
from functools import partial
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import psutil

from benchmarks.apart import measured_apart
from benchmarks.captures import STARTED_AT
from benchmarks.machine import peak_mib
from benchmarks.pairs import alternated, unpack
from benchmarks.rows import Row, Rows, median_row
from tetherwatch.ladder.measure import measure_ladder
from tetherwatch.ladder.records import Options
from tetherwatch.rehearse.ladder import LadderOptions, rehearse_ladder

AT_MOST = 1.5
"""Measuring against decoding."""

AT_MOST_MIB = 400.0

MEGAPIXELS = 24.0


def measure(quick: bool) -> Rows:
    """Rows for a ladder of compressed 24 MP pairs."""
    rungs, repeats = (3, 1) if quick else (10, 3)
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        for _ in rehearse_ladder(Path(folder), LadderOptions(rungs=rungs, megapixels=MEGAPIXELS), STARTED_AT):
            pass
        cost = measured_apart(__file__, folder, repeats)
    ratios = [full / bare for bare, full in cost["seconds"]]
    name = f"ladder of {rungs} rungs, 24 MP pairs"
    return (
        median_row(f"{name}: measuring / decoding", ratios, "x", at_most=AT_MOST),
        median_row(f"{name}: measuring", [1000 * full for _, full in cost["seconds"]], "ms"),
        Row(f"{name}: peak memory", cost["peak_mib"], "MiB", at_most=AT_MOST_MIB),
    )


def main(folder: str, repeats: str) -> None:
    """Measure the cost of the ladder in a folder."""
    files = sorted(Path(folder).glob("*.DNG"))
    bare = partial(_decode, files)
    full = partial(measure_ladder, files, Options())
    seconds = [alternated(bare, full, bare_first=index % 2 == 0) for index in range(int(repeats))]
    print(json.dumps({"seconds": seconds, "peak_mib": peak_mib(psutil.Process())}))


def _decode(files: list[Path]) -> None:
    for path in files:
        unpack(path)


if __name__ == "__main__":
    main(*sys.argv[1:])
