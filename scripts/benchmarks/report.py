"""The record of a long session: how long its page takes, how large it is, and what memory that needs."""

import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import psutil
from environment import ScriptError

from benchmarks.machine import MIB, peak_mib
from benchmarks.rows import Row, Rows
from tetherwatch.advise.landing import Landing
from tetherwatch.advise.records import Call, CallKind, Predicted
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import BINS_PER_STOP, CENTRE_BOX, STOPS_SHOWN, Reading, Thumbnail, ToneHistogram
from tetherwatch.session.chosen import choose
from tetherwatch.session.journal import Journal
from tetherwatch.session.records import FrameRecord
from tetherwatch.watch.records import Capture

FRAMES, QUICK_FRAMES = 3000, 300
MOST_S, MOST_MIB = 10.0, 25.0
PICTURES = 20
"""Different pictures that the frames of the session share."""

HEIGHT, WIDTH = 80, 120
BEGAN = 1_900_000_000.0
CAPTURE_BYTES = 25_000_000


def measure(quick: bool) -> Rows:
    """Rows for the page of a session of 3,000 frames, made by the program as a user starts it."""
    frames = QUICK_FRAMES if quick else FRAMES
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        session, page = Path(folder, "long.session"), Path(folder, "long.html")
        write_session(session, Path(folder, "captures"), frames)
        seconds, memory = report(session, page)
        return rows_of(frames, seconds, page.stat().st_size / MIB, memory)


def rows_of(frames: int, seconds: float, page_mib: float, memory_mib: float) -> Rows:
    """The figures of one report."""
    return (
        Row(f"report of {frames} frames, start to end", 1000 * seconds, "ms", at_most=1000 * MOST_S),
        Row(f"page of {frames} frames", page_mib, "MiB", at_most=MOST_MIB),
        Row("peak memory of the report", memory_mib, "MiB"),
    )


def report(session: Path, page: Path) -> tuple[float, float]:
    """Seconds from start to end of `tetherwatch report`, and its peak memory in MiB."""
    start = time.perf_counter()
    command = [sys.executable, "-m", "tetherwatch", "report", str(session), "-o", str(page)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as process:
        watched, peak = psutil.Process(process.pid), 0.0
        while process.poll() is None:
            try:
                peak = max(peak, peak_mib(watched))
            except (psutil.Error, OSError, IndexError):  # it has just ended
                break
            time.sleep(0.01)
        if process.wait():
            raise ScriptError("The report was not made.")
    return time.perf_counter() - start, peak


def write_session(path: Path, folder: Path, count: int, seed: int = 1) -> None:
    """A session of generated frames, written by the journal itself."""
    random = np.random.default_rng(seed)
    pictures = [_picture(random) for _ in range(PICTURES)]
    with closing(Journal.open(path, folder, lambda: BEGAN)) as journal:
        journal.begin_run()
        journal.use_plan(choose("studio-card", 6400.0), {}, 0)
        with journal.transaction():
            for number in range(1, count + 1):
                journal.add_frame(_frame(folder, number, random, pictures[number % PICTURES]))
        journal.end_run()


def _frame(folder: Path, number: int, random: np.random.Generator, picture: Thumbnail) -> FrameRecord:
    """A frame that is right, too dark, or follows the call of one that was."""
    offset = float(random.normal(0, 0.05)) - (1.0 if number % 10 == 0 else 0.0)
    landing = Landing(Setting.ISO, 1.0, 0.0, offset, offset, 1.0) if number % 10 == 1 else None
    kind: CallKind = "brighter" if number % 10 == 0 else "hold"
    return FrameRecord(
        number=number,
        capture=Capture(folder / f"SES_{number:05}.DNG", CAPTURE_BYTES, number, BEGAN + 4.0 * number, sequence=number),
        metadata=Metadata(settings=Settings(2.0**-8, 4.0, 100.0), camera="Harrow Q24", serial="HQ-1"),
        reading=_reading(offset, random),
        thumbnail=picture,
        call=Call(kind, "The card was read.", Setting.ISO, "100", "200", 1.0, 0.0, Predicted(0.0, 0.0)),
        landing=landing,
    )


def _reading(offset: float, random: np.random.Generator) -> Reading:
    tones = tuple(_tones(channel, random) for channel in ("r", "g", "b"))
    clipped = abs(float(random.normal(0, 0.2)))
    return Reading(
        source="raw",
        area="card",
        level_stops=offset,
        offset_stops=offset,
        uncertainty_stops=0.03,
        clipped_percent={"r": clipped, "g": clipped, "b": 0.0},
        crushed_percent=0.2,
        area_clipped_percent=clipped,
        headroom_stops=1.5,
        light_value=8.0 + offset,
        saturation={"r": 16383.0, "g": 16383.0, "b": 16383.0},
        pile_up=(),
        tones=tones,
        area_tones=tones,
    )


def _tones(channel: str, random: np.random.Generator) -> ToneHistogram:
    counts = random.integers(0, 200_000, BINS_PER_STOP * STOPS_SHOWN)
    return ToneHistogram(channel, tuple(map(int, counts)), 10, 1000)  # type: ignore[arg-type]


def _picture(random: np.random.Generator) -> Thumbnail:
    """Shapes under noise: harder to compress than most photographs."""
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH]
    waves = sum(np.sin(rows * random.uniform(0.02, 0.5) + columns * random.uniform(0.02, 0.5)) for _ in range(6))
    grey = 110 + 18 * waves[..., None] + random.normal(0, 8, (HEIGHT, WIDTH, 3))
    rgb = np.clip(grey, 0, 255).astype(np.uint8)
    return Thumbnail(WIDTH, HEIGHT, rgb.tobytes(), bytes(HEIGHT * WIDTH), CENTRE_BOX)
