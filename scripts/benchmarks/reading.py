"""How long an exact reading takes against the bare decoder's unpacking of the same file, in a fresh process."""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from environment import ScriptError

from benchmarks import pairs
from benchmarks.captures import make_captures
from benchmarks.rows import Row, Rows, median_row

AT_MOST = {True: 1.15, False: 1.8}
"""Reading against unpacking, by whether the file is compressed. Uncompressed data are unpacked by little more than a
copy, so looking at each pixel once weighs more there."""

PAIRS = {True: 15, False: 31}
QUICK_PAIRS = {True: 7, False: 15}
"""Pairs by whether the file is compressed: the shorter the times, the more a busy machine shakes them."""

Times = dict[str, list[float]]


def measure(quick: bool) -> Rows:
    """Rows for each size and compression, metered on the card and once more on the whole frame."""
    sizes, repeats, naive = ((24,), QUICK_PAIRS, 1) if quick else ((24, 45), PAIRS, 2)
    rows: list[Row] = []
    for megapixels in sizes:
        for compressed in (True, False):
            with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
                (path,) = make_captures(Path(folder), megapixels, compressed=compressed)
                name = f"{megapixels} MP {'compressed' if compressed else 'uncompressed'}"
                card = time_pairs(path, "card", repeats[compressed], naive)
                frame = time_pairs(path, "frame", repeats[compressed], 0)
            rows += rows_of(name, card, frame, AT_MOST[compressed])
    return tuple(rows)


def rows_of(name: str, card: Times, frame: Times, at_most: float) -> Rows:
    """The figures of one file: the ratios, then the times behind them."""
    return (
        median_row(f"{name}: reading of the card / unpack", ratios(card), "x", at_most=at_most),
        median_row(f"{name}: reading of the frame / unpack", ratios(frame), "x", at_most=at_most),
        median_row(f"{name}: unpack", _ms(card["unpack"]), "ms"),
        median_row(f"{name}: reading of the card", _ms(card["reading"]), "ms"),
        median_row(f"{name}: develop and count, for comparison", _ms(card["naive"]), "ms"),
    )


def time_pairs(path: Path, area: str, repeats: int, naive: int) -> Times:
    """Seconds of "unpack" and "reading", pair by pair, and of "naive", from a process like a worker's."""
    done = subprocess.run(
        [sys.executable, pairs.__file__, str(path), area, str(repeats), str(naive)],
        env={**os.environ, "OMP_NUM_THREADS": "1"},
        stdout=subprocess.PIPE,
        text=True,
        check=False,
    )
    if done.returncode:
        raise ScriptError("The reading could not be timed.")
    times: Times = json.loads(done.stdout)
    return times


def ratios(times: Times) -> list[float]:
    """Reading against unpacking, pair by pair."""
    return [full / bare for full, bare in zip(times["reading"], times["unpack"], strict=True)]


def _ms(seconds: list[float]) -> list[float]:
    return [1000 * value for value in seconds]
