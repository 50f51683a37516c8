"""Thousands of captures through a real `watch --headless`, measured from outside."""

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timezone
from pathlib import Path
from threading import Thread, Timer
from typing import Any

import psutil
from benchmarks.rows import Row, Rows, table
from environment import ScriptError, say
from rich.console import Console

from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.session import rehearse

STARTED_AT = datetime(2024, 5, 14, 9, 30, tzinfo=timezone.utc)
DIFFERENT = 24
"""Simulated captures; all others have the same content under another name."""

MEGAPIXELS = 0.1
AHEAD = 200
"""Captures that may lie unread in the folder: a camera's buffer, not a card copied at once."""

SHARES = (0.1, 0.5, 1.0)
PART_S = 300.0
"""Longest time without a frame."""

END_S = 20.0
GROWTH_LIMIT = 1.15
"""The last figure may be so many times the one at 10 %."""

MIB = 1 << 20
WIDTH_WITHOUT_TERMINAL = 110


@dataclass
class Soaked:
    """What was seen: how often each file had a frame, when each frame came, and memory by share of frames, in MiB."""

    frames: Counter[str] = field(default_factory=Counter)
    moments: list[float] = field(default_factory=list)
    problems: int = 0
    daemon: dict[float, float] = field(default_factory=dict)
    workers: dict[float, float] = field(default_factory=dict)


def run_soak(count: int) -> int:
    """Soak and print; 1 if a limit was missed, else 0."""
    say(f"Dropping {count} captures ...")
    rows = rows_of(count, soak(count))
    console = Console(width=None if sys.stdout.isatty() else WIDTH_WITHOUT_TERMINAL)
    console.print(table(f"{count} captures at full speed", rows))
    return 1 if any(row.held is False for row in rows) else 0


def soak(count: int) -> Soaked:
    """Drop so many captures into a watched folder and wait for the last frame."""
    with tempfile.TemporaryDirectory(prefix="tetherwatch-soak-") as place:
        folder = Path(place)
        originals = _originals(folder / "shelf")
        (folder / "captures").mkdir()
        return _watched(originals, folder, count)


def rows_of(count: int, soaked: Soaked) -> Rows:
    """The figures."""
    moments, tenth = soaked.moments, count // 10
    early = (moments[2 * tenth] - moments[tenth]) / tenth * 1000
    late = (moments[-1 - tenth] - moments[-1 - 2 * tenth]) / tenth * 1000  # the very last wait to settle
    took = moments[-1] - moments[0]
    memory = [
        Row(f"{name} at {share:.0%} of the frames", seen[share], "MiB")
        for name, seen in (("daemon", soaked.daemon), ("largest worker", soaked.workers))
        for share in SHARES
    ]
    return (
        Row("captures lost", count - len(soaked.frames), "", at_most=0),
        Row("captures given twice", sum(times > 1 for times in soaked.frames.values()), "", at_most=0),
        Row("problems told", soaked.problems, "", at_most=0),
        Row("frames a second", len(moments) / took, ""),
        Row("time a frame, second tenth", early, "ms"),
        Row("time a frame, ninth tenth", late, "ms"),
        Row("time a frame, ninth against second tenth", late / early, "x", at_most=GROWTH_LIMIT),
        *memory,
        Row("daemon, end against 10 %", soaked.daemon[1.0] / soaked.daemon[0.1], "x", at_most=GROWTH_LIMIT),
        Row("workers, end against 10 %", soaked.workers[1.0] / soaked.workers[0.1], "x", at_most=GROWTH_LIMIT),
    )


def _originals(shelf: Path) -> list[Path]:
    shelf.mkdir()
    options = Options(frames=DIFFERENT, megapixels=MEGAPIXELS)
    return [shelf / truth.file for truth in rehearse(shelf, options, STARTED_AT)]


def _watched(originals: Sequence[Path], folder: Path, count: int) -> Soaked:
    soaked = Soaked()
    with _headless(folder) as process:
        dropping = Thread(target=_drop, args=(originals, folder / "captures", count, soaked), daemon=True)
        dropping.start()
        for event in _events(process):
            if event["event"] == "problem":
                soaked.problems += 1
            if event["event"] == "frame" and not event["reading"]["provisional"]:
                _note(soaked, event["file"], count, process.pid)
                if len(soaked.moments) == count:
                    break
    return soaked


def _note(soaked: Soaked, file: str, count: int, daemon: int) -> None:
    soaked.frames[file] += 1
    soaked.moments.append(time.monotonic())
    for share in SHARES:
        if len(soaked.moments) == round(share * count):
            process = psutil.Process(daemon)
            soaked.daemon[share] = process.memory_info().rss / MIB
            soaked.workers[share] = max(_memory(child) for child in process.children(recursive=True))


def _memory(process: psutil.Process) -> float:
    try:
        return float(process.memory_info().rss) / MIB
    except psutil.Error:  # it was recycled this moment
        return 0.0


def _drop(originals: Sequence[Path], captures: Path, count: int, soaked: Soaked) -> None:
    """Put captures in place, each complete at once, no faster than the watch keeps up with."""
    for number in range(count):
        while number - len(soaked.moments) > AHEAD:
            time.sleep(0.01)
        waiting = captures / f".{number}.part"
        shutil.copy(originals[number % len(originals)], waiting)
        os.utime(waiting)
        waiting.replace(captures / f"{number:05}.DNG")


@contextmanager
def _headless(folder: Path) -> Iterator["subprocess.Popen[str]"]:
    command = [sys.executable, "-m", "tetherwatch", "watch", str(folder / "captures"), "--headless"]
    command += ["--plan", "window-card", "--from-start", "--session", str(folder / "soak.session")]
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True) as process:
        try:
            yield process
        finally:
            process.terminate()
            try:
                process.wait(END_S)
            except subprocess.TimeoutExpired:
                process.kill()


def _events(process: "subprocess.Popen[str]") -> Iterator[dict[str, Any]]:
    """Events as they come. Raises ScriptError if the watch ends or nothing comes for long."""
    assert process.stdout is not None
    while True:
        give_up = Timer(PART_S, process.kill)
        give_up.start()
        line = process.stdout.readline()
        give_up.cancel()
        if not line:
            raise ScriptError("The watch ended, or gave no event in time.")
        yield json.loads(line)
