"""The watch when the system fails it: events lost, permissions taken away and given back."""

import os
import shutil
import signal
import sys
from pathlib import Path

import pytest
from program import drop, is_frame, shoot, watching

if sys.platform != "linux":
    pytest.skip("how a system loses events and takes permissions is tried on Linux only", allow_module_level=True)

QUEUE = Path("/proc/sys/fs/inotify/max_queued_events")


def test_captures_are_found_when_the_system_loses_their_events(shelf: Path, captures: Path) -> None:
    """While the program does not listen, more happens than the system remembers; all captures are read all the same."""
    if not QUEUE.exists() or (most := int(QUEUE.read_text())) > 100_000:
        pytest.skip("the system remembers more events than a test can make")
    made = [shelf / truth.file for truth in shoot(shelf, frames=3)]
    with watching(captures) as watch:
        watch.process.send_signal(signal.SIGSTOP)
        noise = captures / "notes.txt"
        for _ in range(most // 2):  # at least two events each
            noise.touch()
            noise.unlink()
        for capture in made:
            drop(capture, captures / capture.name)
        watch.process.send_signal(signal.SIGCONT)
        wanted = {capture.name for capture in made}
        for event in watch.events():
            wanted.discard(event["file"] if event["event"] == "frame" else "")
            if not wanted:
                break
        assert watch.end() == 0


@pytest.fixture
def bound() -> list[str]:
    """Words before a command that have file permissions bind it, whoever runs the test."""
    if os.geteuid() != 0:
        return []
    if shutil.which("setpriv") is None:
        pytest.skip("root may read everything, and nothing here takes that right away")
    return ["setpriv", "--bounding-set", "-dac_override,-dac_read_search"]


def test_a_folder_closed_for_a_while_is_taken_up_again(shelf: Path, captures: Path, bound: list[str]) -> None:
    """It counts as away while it may not be read; what lands afterwards is read."""
    capture = shelf / shoot(shelf)[0].file
    with watching(captures, before=bound) as watch:
        drop(capture, hidden := captures / ".hidden")
        captures.chmod(0)
        away = watch.until(lambda event: event["event"] == "folder")[-1]
        captures.chmod(0o755)
        hidden.rename(captures / "A.DNG")
        seen = watch.until(is_frame("A.DNG"))
    assert away["state"] == "away"
    assert [event["event"] for event in seen] == ["folder", "frame"]


def test_a_capture_that_may_not_be_read_is_read_once_it_may(shelf: Path, captures: Path, bound: list[str]) -> None:
    """It is one problem with its advice; the next one is read, and the first as soon as that advice is followed."""
    shut, fine = (shelf / truth.file for truth in shoot(shelf, frames=2))
    with watching(captures, before=bound) as watch:
        shut.chmod(0)
        shut.rename(captures / "A.DNG")
        problem = watch.until(lambda event: event["event"] == "problem")[-1]
        drop(fine, captures / "B.DNG")
        watch.until(is_frame("B.DNG"))
        (captures / "A.DNG").chmod(0o600)
        seen = watch.until(is_frame("A.DNG"))
    assert problem["file"] == "A.DNG"
    assert "may not be read" in problem["problem"]
    assert [event["event"] for event in seen if event["event"] != "warning"] == ["frame"]
