"""The watch with real worker processes and real files."""

import os
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
import worker_stubs
from watch_running import LIMIT_S, Running

from tetherwatch.frame.faults import Fault
from tetherwatch.meter.records import Aim
from tetherwatch.rehearse.dng import write_dng
from tetherwatch.watch.records import Metered
from tetherwatch.watch.workers import Workers

pytest.importorskip("tifffile")
pytest.importorskip("imagecodecs")

SEED = 20260506
PREVIEW = np.full((100, 152, 3), 118, np.uint8)


@pytest.fixture(scope="module")
def dng(tmp_path_factory) -> bytes:
    """A small complete raw capture at half of saturation."""
    path = tmp_path_factory.mktemp("made") / "a.dng"
    mosaic = np.random.default_rng(SEED).integers(8000, 8800, (400, 600), dtype=np.uint16)
    write_dng(path, mosaic, black=512, white=16383, compressed=False, preview=PREVIEW)
    return path.read_bytes()


def watch(folder: Path) -> Running:
    """A watch with the workers it has in use."""
    return Running(folder, Workers(count=2, deadline_s=LIMIT_S))


def put(path: Path, content: bytes) -> None:
    """A capture that is complete at once."""
    hidden = path.with_name("." + path.name[:20])
    hidden.write_bytes(content)
    hidden.replace(path)


def last_frame(running: Running) -> Metered:
    """The newest capture metered."""
    return next(event for event in reversed(running.seen) if isinstance(event, Metered))


def test_real_captures_are_metered_in_worker_processes(tmp_path, dng):
    """A raw gives a measurement and a thumbnail, and another aim another offset of the same level."""
    with watch(tmp_path) as running:
        put(tmp_path / "a.dng", dng)
        running.until(lambda: running.frames)
        first = last_frame(running)
        running.watcher.use(Aim(from_grey_stops=1.0), running.step)
        running.until(lambda: len(running.frames) == 2)
        second = last_frame(running)
    assert running.problems == []
    assert first.reading.source == "raw"
    assert first.reading.offset_stops > 1.0
    assert second.replaces
    assert second.reading.offset_stops == pytest.approx(first.reading.offset_stops - 1.0)
    assert len(first.thumbnail.rgb) == 3 * first.thumbnail.width * first.thumbnail.height > 0


def test_bad_captures_are_one_problem_each_and_good_ones_are_read(tmp_path, dng):
    """Every kind of bad input in one folder, then a good capture."""
    expected = {
        "empty.dng": {Fault.EMPTY},
        "rubbish.dng": {Fault.NOT_A_CAPTURE},
        "rubbish.jpg": {Fault.NOT_A_CAPTURE},
        "short.dng": {Fault.CUT_SHORT},
        "folder.dng": {Fault.NOT_A_FILE},
    }
    noise = np.random.default_rng(SEED).bytes(50_000)
    with watch(tmp_path) as running:
        put(tmp_path / "empty.dng", b"")
        put(tmp_path / "rubbish.dng", noise)
        put(tmp_path / "rubbish.jpg", noise)
        put(tmp_path / "short.dng", dng[: len(dng) // 2])
        (tmp_path / "folder.dng").mkdir()
        if sys.platform == "linux":
            (tmp_path / "link.dng").symlink_to(tmp_path / "nowhere")
            traps = os.fsdecode(b"a\x1b[2J\n\xff.dng")
            put(tmp_path / traps, noise)
            expected |= {"link.dng": {Fault.VANISHED}, traps: {Fault.NOT_A_CAPTURE}}
        if hasattr(os, "mkfifo"):
            os.mkfifo(tmp_path / "pipe.dng")
            expected |= {"pipe.dng": {Fault.NOT_A_FILE}}
        if hasattr(os, "geteuid") and os.geteuid() != 0:
            put(tmp_path / "closed.dng", dng)
            (tmp_path / "closed.dng").chmod(0)
            expected |= {"closed.dng": {Fault.NO_ACCESS}}
        running.until(lambda: len(running.problems) >= len(expected))
        put(tmp_path / "good.dng", dng)
        running.until(lambda: ("good.dng", False) in running.frames)
        running.idle()
    assert sorted(name for name, _ in running.problems) == sorted(expected)
    for name, problem in running.problems:
        assert problem in {fault.problem for fault in expected[name]}, name


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere memory is not limited, or no such signal can be sent")
def test_a_decoder_that_dies_hangs_swells_or_raises_costs_one_problem_each(tmp_path):
    """And neither the watch nor a neighbour: each capture around them is one frame."""
    expected = {
        "die.dng": Fault.CRASHED.problem,
        "segfault.dng": Fault.CRASHED.problem,
        "raise.dng": Fault.CRASHED.problem,
        "hang.dng": Fault.TOO_SLOW.problem,
        "swell.dng": Fault.OUT_OF_MEMORY.problem,
    }
    workers = Workers(worker_stubs.misbehave, count=2, deadline_s=1.5, preload=())
    with Running(tmp_path, workers) as running:
        for number, name in enumerate(expected):
            put(tmp_path / name, f"{name}".encode())
            put(tmp_path / f"{number}.dng", f"{number}".encode())
        running.until(lambda: len(running.frames) + len(running.problems) >= 2 * len(expected))
        running.idle()
    assert sorted(running.frames) == [(f"{number}.dng", False) for number in range(len(expected))]
    assert sorted(name for name, _ in running.problems) == sorted(expected)
    assert all(problem.startswith(expected[name]) for name, problem in running.problems)


def test_a_slow_copy_is_one_frame(tmp_path, dng):
    """Written in pieces with pauses longer than it takes to settle."""

    def copy() -> None:
        with (tmp_path / "a.dng").open("wb") as file:
            for begin in range(0, len(dng), 1 + len(dng) // 4):
                file.write(dng[begin : begin + 1 + len(dng) // 4])
                file.flush()
                time.sleep(0.15)

    copying = threading.Thread(target=copy)
    with watch(tmp_path) as running:
        copying.start()
        copying.join(LIMIT_S)
        running.until(lambda: running.frames)
        running.idle()
    assert running.frames == [("a.dng", False)]
    assert running.problems == []
