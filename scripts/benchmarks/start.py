"""What the user waits for: the first dashboard after starting, and the call after a capture."""

import codecs
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from environment import ScriptError, say

from benchmarks.captures import make_captures
from benchmarks.headless import headless
from benchmarks.reading import time_pairs
from benchmarks.rows import Row, Rows, median_row
from tetherwatch.advise.library import load_plan
from tetherwatch.watch.arrivals import PATIENCE

PLAN = "window-portrait"
ROWS, COLUMNS = 24, 80
FIRST_PAINT_S = 60.0
MEGAPIXELS = 6.0


def measure(quick: bool) -> Rows:
    """Rows for starting (where there are pseudo-terminals) and for a capture's way to its event."""
    starts, captures = (3, 5) if quick else (7, 11)
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        return (*start_rows(Path(folder, "empty"), starts), *event_rows(Path(folder), captures))


def start_rows(folder: Path, repeats: int) -> Rows:
    """From process start to the first dashboard, beside a Python that does nothing."""
    folder.mkdir()
    if sys.platform == "win32":
        say("No pseudo-terminals here: the first dashboard is not timed.")
        return ()
    first_dashboard_s(folder)  # compiles modules and warms the disk's cache
    return (
        median_row("start to first dashboard", [1000 * first_dashboard_s(folder) for _ in range(repeats)], "ms"),
        median_row("start and end of a bare Python", [1000 * _bare_python_s() for _ in range(repeats)], "ms"),
    )


def first_dashboard_s(folder: Path) -> float:
    """Seconds until a terminal shows the plan's name; then the dashboard is told to quit."""
    import pexpect
    import pyte

    name = load_plan(PLAN).name
    screen = pyte.Screen(COLUMNS, ROWS)
    stream = pyte.Stream(screen)
    decoder = codecs.getincrementaldecoder("utf-8")("replace")
    start = time.perf_counter()
    words = ["-m", "tetherwatch", "watch", str(folder), "--plan", PLAN]
    child = pexpect.spawn(sys.executable, words, dimensions=(ROWS, COLUMNS), timeout=FIRST_PAINT_S)
    try:
        while not any(name in line for line in screen.display):
            if time.perf_counter() - start > FIRST_PAINT_S:
                raise ScriptError("The dashboard did not appear in time.")
            stream.feed(decoder.decode(child.read_nonblocking(1 << 16)))
        seconds = time.perf_counter() - start
        child.send("q")
        child.expect(pexpect.EOF)
    except (pexpect.EOF, pexpect.TIMEOUT):
        raise ScriptError("The dashboard did not appear, or did not quit.") from None
    finally:
        child.close(force=True)
    return seconds


def _bare_python_s() -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", ""], check=True)
    return time.perf_counter() - start


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
