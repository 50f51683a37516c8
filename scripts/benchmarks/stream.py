"""Many captures at once: JPEGs faster than they can be read, and a backlog that both workers share."""

import statistics
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from threading import Thread

from benchmarks.captures import copied, make_captures
from benchmarks.headless import headless
from benchmarks.reading import time_pairs
from benchmarks.rows import Row, Rows, percentile_row
from tetherwatch.watch.workers import default_count

MEGAPIXELS = 24.0
PER_SECOND = 20
JPEGS, QUICK_JPEGS = 120, 30
FRESH_MS = 400.0
"""Most milliseconds after which the screen should have shown a dropped capture or a newer one."""

RAWS, QUICK_RAWS = 24, 8
WARM_UP = 2
LEAST_OF_DECODERS = 0.85


@dataclass(frozen=True, slots=True)
class Stream:
    """What became of a stream: when each file was dropped, first seen and read, in seconds of one clock."""

    dropped: dict[str, float]
    seen: dict[str, float]
    read: dict[str, float]


def measure(quick: bool) -> Rows:
    """Rows for the stream of JPEGs, and for a backlog of raws against bare decoders side by side."""
    jpegs, raws = (QUICK_JPEGS, QUICK_RAWS) if quick else (JPEGS, RAWS)
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        (jpeg,) = make_captures(Path(folder, "jpeg"), MEGAPIXELS, files="jpeg")
        (raw,) = make_captures(Path(folder, "raw"), MEGAPIXELS)
        stream = streamed(jpeg, Path(folder, "stream"), jpegs)
        rates = [decoders_rate(raw, default_count(), 3 if quick else 7)]
        backlog = backlog_rate(raw, Path(folder, "backlog"), raws)
        rates.append(decoders_rate(raw, default_count(), 3 if quick else 7))
    return (*stream_rows(stream), *backlog_rows(backlog, statistics.mean(rates)))


def stream_rows(stream: Stream) -> Rows:
    """Captures read a second, and how fresh the screen was meanwhile."""
    began, ended = min(stream.dropped.values()), max(stream.read.values())
    name = f"{len(stream.dropped)} JPEGs of {MEGAPIXELS:g} MP, {PER_SECOND} a second"
    looks = [stream.seen[file] - stream.dropped[file] for file in stream.seen if file in stream.dropped]
    return (
        Row(f"{name}: read", len(stream.read) / (ended - began), "/s"),
        percentile_row(
            f"{name}: until it or a newer one shows, 95th percentile",
            [1000 * wait for wait in freshness_s(stream)],
            "ms",
            95,
            at_most=FRESH_MS,
        ),
        Row(f"{name}: shown while they came", 100 * _shown_in_time(stream), "%"),
        Row(f"{name}: from drop to first sight, median", 1000 * statistics.median(looks), "ms"),
    )


def freshness_s(stream: Stream) -> list[float]:
    """For each file the seconds from its drop until it, or one dropped later, was seen."""
    waits, newest = [], float("inf")
    for file, at in sorted(stream.dropped.items(), key=lambda item: item[1], reverse=True):
        newest = min(newest, stream.seen[file])
        waits.append(newest - at)
    return waits


def _shown_in_time(stream: Stream) -> float:
    end = max(stream.dropped.values())
    return sum(at <= end for at in stream.seen.values()) / len(stream.dropped)


def backlog_rows(backlog: float, bare: float) -> Rows:
    """Captures a second out of a backlog, against as many bare decoders as there are workers."""
    name = f"backlog of {MEGAPIXELS:g} MP compressed raws, {default_count()} workers"
    return (
        Row(f"{name}: / as many bare decoders", backlog / bare, "x", at_least=LEAST_OF_DECODERS),
        Row(f"{name}: read", backlog, "/s"),
    )


def streamed(capture: Path, folder: Path, count: int) -> Stream:
    """Drop copies at a steady pace and watch until all are read."""
    copies = [copied(capture, folder / "staged", number) for number in range(count + WARM_UP)]
    captures = folder / "captures"
    captures.mkdir()
    stream = Stream({}, {}, {})
    with headless(captures) as watch:
        for copy in copies[:WARM_UP]:
            copy.rename(captures / copy.name)
        watch.wait_for(*(copy.name for copy in copies[:WARM_UP]))
        drops = Thread(target=_drop, args=(copies[WARM_UP:], captures, stream.dropped))
        drops.start()
        frames = watch.frames()
        while len(stream.read) < count:
            at, file, provisional = next(frames)
            stream.seen.setdefault(file, at)
            if not provisional:
                stream.read[file] = at
        drops.join()
    return stream


def _drop(copies: list[Path], captures: Path, dropped: dict[str, float]) -> None:
    began = time.perf_counter()
    for number, copy in enumerate(copies):
        time.sleep(max(0.0, began + number / PER_SECOND - time.perf_counter()))
        dropped[copy.name] = time.perf_counter()
        copy.rename(captures / copy.name)


def backlog_rate(capture: Path, captures: Path, count: int) -> float:
    """Captures a second that a watch reads out of a folder full of them, its first ones left out."""
    for number in range(count):
        copied(capture, captures, number)
    with headless(captures) as watch:
        read = sorted(_read_at(watch.frames(), count))[WARM_UP:]
    return (len(read) - 1) / (read[-1] - read[0])


def _read_at(frames: Iterator[tuple[float, str, bool]], count: int) -> list[float]:
    read: list[float] = []
    while len(read) < count:
        at, _, provisional = next(frames)
        read += [] if provisional else [at]
    return read


def decoders_rate(capture: Path, processes: int, repeats: int) -> float:
    """Captures a second that processes do together which only unpack, each on its own."""
    with ThreadPoolExecutor(processes) as pool:
        runs = [pool.submit(time_pairs, capture, "card", repeats, 0, bare=True) for _ in range(processes)]
        return sum(1 / statistics.median(run.result()["unpack"]) for run in runs)
