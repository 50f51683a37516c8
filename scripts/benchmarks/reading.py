"""How long an exact reading takes against the bare decoder's unpacking of the same file, in a fresh process."""

import statistics
import tempfile
from pathlib import Path

from benchmarks import pairs
from benchmarks.apart import measured_apart
from benchmarks.captures import make_captures
from benchmarks.rows import Row, Rows, median_row

AT_MOST = {True: 1.10, False: 1.35}
"""Reading against unpacking, by whether the file is compressed. Uncompressed data are unpacked by little more than a
copy, so looking at each pixel once weighs more there."""

NAIVE_AT_LEAST = {True: 4.0, False: 15.0}
"""The script anyone would write first, against reading."""

NAIVE_REPEATS = 7
JPEG_MEGAPIXELS, JPEG_AT_MOST = 24, 1.0

PAIRS = {True: 15, False: 31}
QUICK_PAIRS = {True: 7, False: 15}
"""Pairs by whether the file is compressed: the shorter the times, the more a busy machine shakes them."""

Times = dict[str, list[float]]


def measure(quick: bool) -> Rows:
    """Rows for each size and compression, metered on the card and once more on the whole frame."""
    sizes, repeats, naive = ((24,), QUICK_PAIRS, 3) if quick else ((24, 45), PAIRS, NAIVE_REPEATS)
    rows: list[Row] = []
    for megapixels in sizes:
        for compressed in (True, False):
            with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
                (path,) = make_captures(Path(folder), megapixels, compressed=compressed)
                name = f"{megapixels} MP {'compressed' if compressed else 'uncompressed'}"
                card = time_pairs(path, "card", repeats[compressed], naive)
                frame = time_pairs(path, "frame", repeats[compressed], 0)
            rows += rows_of(name, card, frame, AT_MOST[compressed], NAIVE_AT_LEAST[compressed])
    return (*rows, *jpeg_rows(repeats[True]))


def jpeg_rows(repeats: int) -> Rows:
    """The figures of a finished picture, against Pillow's decoding of it."""
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        (path,) = make_captures(Path(folder), JPEG_MEGAPIXELS, files="jpeg")
        times = time_pairs(path, "card", repeats, 0)
    name = f"{JPEG_MEGAPIXELS} MP JPEG"
    return (
        median_row(f"{name}: reading of the card / Pillow's decoding", ratios(times), "x", at_most=JPEG_AT_MOST),
        median_row(f"{name}: Pillow's decoding", _ms(times["unpack"]), "ms"),
        median_row(f"{name}: reading of the card", _ms(times["reading"]), "ms"),
    )


def rows_of(name: str, card: Times, frame: Times, at_most: float, naive_at_least: float) -> Rows:
    """The figures of one file: the ratios, then the times behind them."""
    reading_s = statistics.median(card["reading"])
    naive = [seconds / reading_s for seconds in card["naive"]]
    return (
        median_row(f"{name}: develop and count / reading of the card", naive, "x", at_least=naive_at_least),
        median_row(f"{name}: reading of the card / unpack", ratios(card), "x", at_most=at_most),
        median_row(f"{name}: reading of the frame / unpack", ratios(frame), "x", at_most=at_most),
        median_row(f"{name}: unpack", _ms(card["unpack"]), "ms"),
        median_row(f"{name}: reading of the card", _ms(card["reading"]), "ms"),
        median_row(f"{name}: develop and count, for comparison", _ms(card["naive"]), "ms"),
    )


def time_pairs(path: Path, area: str, repeats: int, naive: int, bare: bool = False) -> Times:
    """Seconds of "unpack" and "reading", pair by pair, and of "naive", from a process like a worker's.

    "unpack" is decoding where the file is a picture; with `bare` nothing else is done.
    """
    work = "bare" if bare else "both"
    times: Times = measured_apart(pairs.__file__, path, area, repeats, naive, work)
    return times


def ratios(times: Times) -> list[float]:
    """Reading against unpacking, pair by pair."""
    return [full / bare for full, bare in zip(times["reading"], times["unpack"], strict=True)]


def _ms(seconds: list[float]) -> list[float]:
    return [1000 * value for value in seconds]
