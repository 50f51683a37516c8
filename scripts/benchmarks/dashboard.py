"""The dashboard: how soon it is there, how long a new frame takes to draw, and what it costs while nothing happens."""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from functools import partial
from itertools import chain
from pathlib import Path

import psutil
from environment import say

from benchmarks.captures import copied, make_captures
from benchmarks.machine import peak_mib
from benchmarks.report import CAPTURE_BYTES, write_session
from benchmarks.rows import Row, Rows, median_row
from benchmarks.terminal import Terminal, terminal
from tetherwatch.advise.library import load_plan

PLAN = "window-portrait"
START_MS, DRAW_MS, IDLE_PERCENT, DAEMON_MIB = 400.0, 50.0, 2.0, 150.0
COLUMNS, ROWS = 200, 50
SMALL_MEGAPIXELS = 1.0
LONG = 10_000
"""Frames of a session as long as a day is."""

SETTLE_S = 3.0
"""Time after which workers have come up and the watch has nothing left to learn."""


def measure(quick: bool) -> Rows:
    """Rows where there are pseudo-terminals: the start, then drawing and idling in sessions of 10 and 10,000 frames."""
    if sys.platform == "win32":
        say("No pseudo-terminals here: the dashboard is not measured.")
        return ()
    repeats, idle_s = (7, 5.0) if quick else (11, 10.0)
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        rows = [*start_rows(Path(folder, "empty"), repeats)]
        for frames in (10, LONG):
            rows += session_rows(Path(folder, str(frames)), frames, repeats, idle_s)
    return tuple(rows)


def start_rows(folder: Path, repeats: int) -> Rows:
    """From process start to the first dashboard, beside a Python that does nothing."""
    folder.mkdir()
    start_s(folder)  # compiles modules and warms the disk's cache
    both = [(start_s(folder), _bare_python_s()) for _ in range(repeats)]
    return (
        median_row("start to first dashboard", [1000 * start for start, _ in both], "ms", at_most=START_MS),
        median_row("start to first dashboard / a bare Python", [start / bare for start, bare in both], "x"),
        median_row("start and end of a bare Python", [1000 * bare for _, bare in both], "ms"),
    )


def start_s(folder: Path, *options: str) -> float:
    """Seconds until a terminal shows the plan's name; then the dashboard is told to quit."""
    name = load_plan(PLAN).name
    began = time.perf_counter()
    with terminal(folder, "--plan", PLAN, *options) as dashboard:
        dashboard.wait_for(lambda lines: any(name in line for line in lines))
        return time.perf_counter() - began


def _bare_python_s() -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", ""], check=True)
    return time.perf_counter() - start


def session_rows(folder: Path, frames: int, repeats: int, idle_s: float) -> Rows:
    """A session that goes on after so many frames, whose captures lie in the folder: start, drawing, idling, memory."""
    captures, session = folder / "captures", folder / "long.session"
    captures.mkdir(parents=True)
    write_session(session, captures, frames)
    for number in range(1, frames + 1):
        lay_out(captures / f"SES_{number:05}.DNG", number)
    (capture,) = make_captures(folder / "made", SMALL_MEGAPIXELS)
    starts = [1000 * start_s(captures, "--session", str(session)) for _ in range(repeats)]
    with terminal(captures, "--session", str(session), columns=COLUMNS, rows=ROWS) as dashboard:
        dashboard.wait_for(lambda lines: any(f"#{frames} " in line for line in lines))
        time.sleep(SETTLE_S)
        idle = idle_percent(dashboard.processes, idle_s)
        drawn = list(
            drawn_ms(dashboard, [copied(capture, folder / "staged", each) for each in range(repeats)], captures)
        )
        memory = peak_mib(dashboard.processes[0])
    name = f"session of {frames} frames"
    return (
        median_row(f"{name}: start to first dashboard", starts, "ms", at_most=START_MS),
        median_row(f"{name}: a new frame drawn at {COLUMNS}x{ROWS}", drawn, "ms", at_most=DRAW_MS),
        Row(f"{name}: idle, daemon and workers, of a core", idle, "%", at_most=IDLE_PERCENT),
        Row(f"{name}: peak memory of the daemon", memory, "MiB", at_most=DAEMON_MIB),
    )


def lay_out(path: Path, number: int) -> None:
    """A file of the size and time that the session knows of this capture; it takes no room where holes are free."""
    path.touch()
    os.truncate(path, CAPTURE_BYTES)
    os.utime(path, ns=(number, number))


def idle_percent(processes: list[psutil.Process], seconds: float) -> float:
    """Percent of one core that these processes take together over some seconds."""
    before, began = sum(map(_cpu_s, processes)), time.perf_counter()
    time.sleep(seconds)
    return 100 * (sum(map(_cpu_s, processes)) - before) / (time.perf_counter() - began)


def _cpu_s(process: psutil.Process) -> float:
    times = process.cpu_times()
    return float(times.user + times.system)


def drawn_ms(dashboard: Terminal, copies: list[Path], captures: Path) -> Iterator[float]:
    """What the dashboard itself says drawing took, for each capture that is dropped."""
    for copy in copies:
        copy.rename(captures / copy.name)
        dashboard.wait_for(partial(_is_read, copy.name))
        dashboard.press("w")
        dashboard.wait_for(lambda lines: any(_figures(line) for line in lines))
        yield next(chain.from_iterable(map(_figures, dashboard.lines)))
        dashboard.press("x")
        dashboard.wait_for(partial(_is_read, copy.name))


def _is_read(name: str, lines: list[str]) -> bool:
    return any(name in line and "reading: raw " in line for line in lines)


def _figures(line: str) -> list[float]:
    """The milliseconds of drawing in a line of the sheet; empty in any other line."""
    words = line.split()
    return [float(words[1])] if words[:1] == ["draw"] and words[1] != "unknown" else []
