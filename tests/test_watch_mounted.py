"""Captures on a file system of their own that fills up, goes away, comes back, or cannot be written to."""

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from watch_running import LIMIT_S, Running

from tetherwatch.frame.faults import Fault
from tetherwatch.rehearse.dng import write_dng
from tetherwatch.watch.workers import Workers

pytest.importorskip("tifffile")
pytest.importorskip("imagecodecs")

SEED = 20260506
IMAGE_KIB = 1900
"""Room for three captures and a half beside what the file system keeps for itself."""
PREVIEW = np.full((100, 152, 3), 118, np.uint8)


def _mounted(folder: Path, *options: str) -> bool:
    command = ["mount", *options, str(folder)]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


def _mount(folder: Path) -> bool:
    return _mounted(folder, "-o", "loop", str(folder.with_suffix(".img")))


def _unmount(folder: Path) -> None:
    subprocess.run(["umount", "--lazy", str(folder)], capture_output=True, check=False)


@pytest.fixture
def card(tmp_path) -> Iterator[Path]:
    """A disk in a file, mounted."""
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("only root may mount, and only on Linux is it known how")
    if shutil.which("mke2fs") is None:
        pytest.skip("nothing here makes a file system")
    folder, image = tmp_path / "card", tmp_path / "card.img"
    folder.mkdir()
    image.write_bytes(bytes(IMAGE_KIB * 1024))
    made = subprocess.run(
        ["mke2fs", "-q", "-b", "1024", "-m", "0", "-N", "32", str(image)], capture_output=True, check=False
    )
    if made.returncode or not _mount(folder):
        pytest.skip("no disk may be made and mounted here, root or not")
    yield folder
    _unmount(folder)


def capture(place: Path, number: int) -> bytes:
    """A small complete raw, each with noise of its own."""
    mosaic = np.random.default_rng(SEED + number).integers(8000, 8800, (400, 600), dtype=np.uint16)
    write_dng(place / "made.dng", mosaic, black=512, white=16383, compressed=False, preview=PREVIEW)
    return (place / "made.dng").read_bytes()


def put(path: Path, content: bytes) -> None:
    """A capture that is complete at once."""
    hidden = path.with_name("." + path.name)
    hidden.write_bytes(content)
    hidden.replace(path)


def state(folder: Path) -> dict[str, tuple[str, int, int]]:
    """Hash, time and mode of all that lies there."""
    return {
        path.name: (hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns, path.stat().st_mode)
        for path in folder.iterdir()
        if path.is_file()
    }


def watch(folder: Path, **options) -> Running:
    """A watch with the workers it has in use."""
    return Running(folder, Workers(count=2, deadline_s=LIMIT_S), **options)


def test_a_disk_that_fills_up_costs_one_problem_and_the_capture_is_read_when_it_is_whole(tmp_path, card):
    """What did not fit is cut short; room is made, the copy is done again, and it is a frame."""
    with watch(card) as running:
        contents = [capture(tmp_path, number) for number in range(4)]
        for number in range(3):
            put(card / f"{number}.dng", contents[number])
        with pytest.raises(OSError), (card / "3.dng").open("wb", buffering=0) as file:
            for begin in range(0, len(contents[3]), 65536):
                file.write(contents[3][begin : begin + 65536])
        running.until(lambda: running.problems and len(running.frames) == 3)
        (card / "0.dng").unlink()
        (card / "3.dng").write_bytes(contents[3])
        running.until(lambda: ("3.dng", False) in running.frames)
        running.idle()
    assert running.problems == [("3.dng", Fault.CUT_SHORT.problem)]
    assert sorted(running.frames) == [(f"{number}.dng", False) for number in range(4)]


def test_a_disk_that_is_unmounted_and_mounted_again_is_taken_up(tmp_path, card):
    """The watch says it is away; what is copied onto the new one is read, and what was read before is not."""
    known, new = capture(tmp_path, 1), capture(tmp_path, 2)
    with watch(card) as running:
        put(card / "a.dng", known)
        running.until(lambda: len(running.frames) == 1)
        _unmount(card)
        running.until(lambda: not running.health.here)
        assert _mount(card)
        (card / "a.dng").touch()
        put(card / "b.dng", new)
        running.until(lambda: len(running.frames) == 2)
        running.idle()
        assert running.health.here
    assert running.frames == [("a.dng", False), ("b.dng", False)]
    assert running.problems == []


def test_a_disk_that_cannot_be_written_to_is_read_and_left_as_it_was(tmp_path, card):
    """Contents, times and modes are what they were, and nothing lies beside the captures."""
    for number in range(3):
        put(card / f"{number}.dng", capture(tmp_path, number))
    assert _mounted(card, "-o", "remount,ro")
    before = state(card)
    with watch(card, from_start=True) as running:
        running.until(lambda: len(running.frames) == 3)
        running.idle()
    assert running.problems == []
    assert state(card) == before


def test_captures_on_any_disk_are_left_as_they_were(tmp_path):
    """The same without a mount, for those who are not root; good captures and bad ones."""
    folder = tmp_path / "captures"
    folder.mkdir()
    good = capture(tmp_path, 1)
    for name, content in {"a.dng": good, "cut.dng": good[:9000], "empty.dng": b"", "text.jpg": b"text"}.items():
        put(folder / name, content)
    before = state(folder)
    with watch(folder, from_start=True) as running:
        running.until(lambda: running.frames and len(running.problems) == 3)
        running.idle()
    assert state(folder) == before
