"""Many captures: thousands already there, bursts, and the newest first all the same."""

import os
import threading
import time
from pathlib import Path

from watch_running import AIM, LIMIT_S, NoReader, Running, Threads, write
from worker_stubs import read_of

from tetherwatch.exposure.dial import Step
from tetherwatch.meter.records import Aim
from tetherwatch.watch.pipeline import Watcher
from tetherwatch.watch.records import Metered

THERE = 5000
START_LIMIT_S = 8.0
"""Four times what a quiet machine may take; `bench.py --only looks` measures it."""


def fill(folder: Path, count: int) -> None:
    """Lay `count` captures there, each with a content of its own."""
    for number in range(count):
        write(folder / f"{number:05}.dng", f"good {number} end")


def test_a_watch_of_five_thousand_captures_starts_quickly_and_reads_the_new_one_at_once(tmp_path):
    """The first look and the first new capture take a few seconds at most each."""
    fill(tmp_path, THERE)
    began = time.monotonic()
    Watcher(tmp_path, AIM, Step.THIRD, reader=Threads(), looker=NoReader())
    assert time.monotonic() - began < START_LIMIT_S
    with Running(tmp_path) as running:
        write(tmp_path / "new.dng", "good new end")
        began = time.monotonic()
        running.until(lambda: running.frames)
        assert time.monotonic() - began < START_LIMIT_S
    assert running.frames == [("new.dng", False)]


def test_a_new_capture_overtakes_thousands_that_were_there(tmp_path):
    """With --from-start they are read in order, yet what lands meanwhile goes first."""

    def steady(path: Path, aim: Aim, step: Step):
        time.sleep(0.002)
        return read_of(aim)

    fill(tmp_path, 1000)
    with Running(tmp_path, Threads(steady), from_start=True) as running:
        running.until(lambda: len(running.frames) > 20)
        write(tmp_path / "new.dng", "good new end")
        running.until(lambda: ("new.dng", False) in running.frames)
        place = running.frames.index(("new.dng", False))
        running.until(lambda: len(running.frames) == 1001)
    assert place < 900
    old = [name for name, _ in running.frames if name != "new.dng"]
    assert old == sorted(old)


def test_a_burst_is_read_newest_first_and_to_the_end(tmp_path):
    """Sixty files at some twenty a second while a reader takes longer for each: none lost, none twice."""
    burst = 60
    written: list[str] = []
    lag: list[int] = []

    def slower_than_the_burst(path: Path, aim: Aim, step: Step):
        lag.append(len(written) - int(path.stem))
        time.sleep(0.08)
        return read_of(aim)

    def shoot() -> None:
        for number in range(burst):
            (tmp_path / ".part").write_text(f"good {number} end")
            (tmp_path / ".part").replace(tmp_path / f"{number:03}.dng")
            written.append(f"{number:03}.dng")
            time.sleep(0.05)

    with Running(tmp_path, Threads(slower_than_the_burst)) as running:
        shooting = threading.Thread(target=shoot)
        shooting.start()
        shooting.join(LIMIT_S)
        during = len(lag)
        running.until(lambda: len(running.frames) == burst)
        running.idle()
    assert sorted(name for name, _ in running.frames) == written
    newest = sorted(lag[:during])[during // 2]
    assert newest <= 8  # of twenty a second, settled for a twentieth of one; by age it would be dozens
    sequences = {e.capture.path.name: e.capture.sequence for e in running.seen if isinstance(e, Metered)}
    assert sorted(sequences, key=sequences.__getitem__) == written


def test_captures_touched_by_the_thousand_are_not_read_again(tmp_path):
    """A program that sets times anew, or a copy that restores them, brings no flood."""
    fill(tmp_path, 300)
    with Running(tmp_path, from_start=True) as running:
        running.until(lambda: len(running.frames) == 300)
        for path in tmp_path.iterdir():
            os.utime(path, (1_000_000_000, 1_000_000_000))
        write(tmp_path / "new.dng", "good new end")
        running.until(lambda: len(running.frames) == 301)
        running.until(lambda: running.health.backlog == 0)
        running.idle()
    assert len(running.reader.started) == 301
