"""How the figures grow: exact readings from 6 to 100 megapixels, work for a frame from 10 to 10,000 frames."""

import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from benchmarks.captures import make_captures, read
from benchmarks.reading import ratios, time_pairs
from benchmarks.report import write_session
from benchmarks.rows import Row, Rows, median_row
from tetherwatch.screen.layout import Scene, dashboard
from tetherwatch.screen.palette import choose
from tetherwatch.session.opening import Wish, opened
from tetherwatch.session.recorded import RecordedSession
from tetherwatch.watch.records import Capture, Metered
from tetherwatch.watch.task import Read

MEGAPIXELS, QUICK_MEGAPIXELS = (6, 12, 24, 45, 100), (6, 24)
PAIRS, QUICK_PAIRS = 7, 3
FRAMES, QUICK_FRAMES = (10, 100, 1000, 10_000), (10, 1000)
TAKEN = 30
SMALL_MEGAPIXELS = 1.0
COLUMNS, ROWS = 200, 50
MOST_GROWTH = 1.5
"""Work for a frame in the longest session, against that in the shortest."""


def measure(quick: bool) -> Rows:
    """Rows for each size of picture, then for each length of session."""
    sizes, pairs, lengths = (QUICK_MEGAPIXELS, QUICK_PAIRS, QUICK_FRAMES) if quick else (MEGAPIXELS, PAIRS, FRAMES)
    rows: list[Row] = []
    for megapixels in sizes:
        rows += size_rows(megapixels, pairs)
    return (*rows, *length_rows(works_of(lengths)))


def size_rows(megapixels: int, repeats: int) -> Rows:
    """Exact readings of one size, compressed and not."""
    rows = []
    for compressed in (True, False):
        with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
            (path,) = make_captures(Path(folder), megapixels, compressed=compressed)
            times = time_pairs(path, "card", repeats, 0)
        name = f"{megapixels} MP {'compressed' if compressed else 'uncompressed'}"
        rows += [
            median_row(f"{name}: reading / unpack", ratios(times), "x"),
            median_row(f"{name}: reading", [1000 * seconds for seconds in times["reading"]], "ms"),
        ]
    return tuple(rows)


@dataclass(frozen=True, slots=True)
class Work:
    """Milliseconds for each of some frames that came after so many, and for opening their session before."""

    taken_ms: list[float]
    open_ms: float


def length_rows(works: Mapping[int, Work]) -> Rows:
    """Work for a frame and time to open, by the length of the session, the shortest first."""
    rows = []
    for frames, work in works.items():
        rows += [
            median_row(f"session of {frames} frames: a frame called, written and drawn", work.taken_ms, "ms"),
            Row(f"session of {frames} frames: opened", work.open_ms, "ms"),
        ]
    shortest, *_, longest = works.values()
    grown = [last / first for first, last in zip(shortest.taken_ms, longest.taken_ms, strict=True)]
    return (*rows, median_row("the same, longest session / shortest, in turn", grown, "x", at_most=MOST_GROWTH))


def works_of(lengths: Sequence[int]) -> dict[int, Work]:
    """Work in sessions of these lengths, which are open at once and take a frame each in turn."""
    with ExitStack() as held:
        sessions = {frames: held.enter_context(_long(frames)) for frames in lengths}
        taken: dict[int, list[float]] = {frames: [] for frames in lengths}
        for turn in range(TAKEN):
            first = turn % len(lengths)  # what one finds cached by another evens out
            for frames in (*lengths[first:], *lengths[:first]):
                taken[frames].append(sessions[frames].take_ms())
        return {frames: Work(taken[frames], session.open_ms) for frames, session in sessions.items()}


class _Long:
    """An open session, and the frame that comes into it again and again."""

    def __init__(self, session: RecordedSession, open_ms: float, shot: Read) -> None:
        self.open_ms = open_ms
        self._session, self._shot = session, shot
        self._last = session.view().frames[-1].capture
        self._number = session.view().frames[-1].number
        self._palette = choose({}, None)

    def take_ms(self) -> float:
        """Milliseconds until the next frame is called, written and drawn."""
        self._number += 1
        event = _next(self._last, self._shot, self._number)
        began = time.perf_counter()
        self._session.take(event)
        dashboard(Scene(self._session.view(), self._palette, 0.0), COLUMNS, ROWS)
        return 1000 * (time.perf_counter() - began)


@contextmanager
def _long(frames: int) -> Iterator[_Long]:
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as made:
        folder, path = Path(made, "captures"), Path(made, "long.session")
        folder.mkdir()
        write_session(path, folder, frames)
        began = time.perf_counter()
        with opened(folder, Wish("studio-card", path)) as found:
            open_ms = 1000 * (time.perf_counter() - began)
            (small,) = make_captures(Path(made, "small"), SMALL_MEGAPIXELS)
            yield _Long(found.session, open_ms, read(small, found.session.plan.aim))


def _next(last: Capture, shot: Read, number: int) -> Metered:
    """A shot that comes as a capture after the last one."""
    path = last.path.with_name(f"SES_{number:05}.DNG")
    capture = replace(last, path=path, mtime_ns=number, sequence=number, fingerprint=None)
    return Metered(capture, shot.metadata, shot.reading, shot.thumbnail)
