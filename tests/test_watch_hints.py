"""Change events as hints, and doing without them."""

import errno
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from watchdog.observers.polling import PollingObserver

from tetherwatch.watch.hints import Hints
from tetherwatch.watch.mounts import file_system, reports_changes

LIMIT_S = 20.0

MOUNTS = """\
/dev/sda1 / ext4 rw,relatime 0 0
proc /proc proc rw 0 0
nas:/photos /mnt/shoot nfs4 rw 0 0
/dev/sdb1 /mnt/shoot/card\\040one exfat rw 0 0
//nas/share /srv/s cifs rw 0 0
"""


def until(condition) -> bool:
    """Whether `condition` comes true within the limit."""
    end = time.monotonic() + LIMIT_S
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.01)
    return False


@pytest.mark.parametrize(
    ("folder", "kind"),
    [
        ("/home/a", "ext4"),
        ("/mnt/shoot", "nfs4"),
        ("/mnt/shoot/day1", "nfs4"),
        ("/mnt/shooting", "ext4"),
        ("/mnt/shoot/card one/x", "exfat"),
        ("/srv/s", "cifs"),
    ],
)
def test_the_innermost_mount_decides(folder, kind):
    """Names with spaces are written with codes in the table."""
    assert file_system(MOUNTS, folder) == kind


def test_no_mount_no_file_system():
    """An empty table says nothing."""
    assert file_system("", "/home") is None


@pytest.mark.skipif(not Path("/proc/mounts").exists(), reason="no table of mounts here")
def test_pseudo_file_systems_are_not_trusted():
    """Only known local ones are."""
    assert not reports_changes(Path("/proc"))


def local(folder: Path) -> bool:
    """Take the temporary folder for a local disk, whatever this machine mounts there."""
    return True


def test_a_new_file_is_hinted_at_also_in_a_sub_folder(tmp_path):
    """Within moments, and looking or reading is not a hint."""
    (tmp_path / "sub").mkdir()
    woken = threading.Event()
    hints = Hints(tmp_path, lambda path: woken.set(), local)
    assert hints.start() is None
    try:
        assert hints.mode == "events"
        assert hints.sound
        (tmp_path / "a.dng").write_text("x")
        assert woken.wait(LIMIT_S)
        woken.clear()
        (tmp_path / "sub" / "b.dng").write_text("x")
        assert woken.wait(LIMIT_S)
    finally:
        hints.stop()
    assert hints.mode == "polling"


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the system does not say that a file was closed")
def test_a_file_that_may_be_complete_is_named(tmp_path):
    """After it was closed, and after it was moved into place; not while it is being written."""
    one, other = tmp_path / "a.dng", tmp_path / "b.dng"
    named = []
    hints = Hints(tmp_path, named.append, local)
    hints.start()
    try:
        with one.open("w") as file:
            file.write("x")
            file.flush()
            assert until(lambda: None in named)
            before = named.count(one)
        assert until(lambda: named.count(one) > before)
        one.rename(other)
        assert until(lambda: other in named)
    finally:
        hints.stop()
    assert before <= 1  # that it was made


@pytest.mark.skipif(sys.platform != "linux", reason="only there looking causes events")
def test_looking_and_reading_are_no_hints(tmp_path):
    """Else the watch would wake itself for ever."""
    (tmp_path / "a.dng").write_text("x")
    woken = []
    hints = Hints(tmp_path, lambda path: woken.append(1), local)
    hints.start()
    try:
        for _ in range(5):
            list(tmp_path.iterdir())
            (tmp_path / "a.dng").read_text()
        before = len(woken)
        (tmp_path / "b.dng").write_text("x")
        assert until(lambda: woken)
        assert before == 0
    finally:
        hints.stop()


@pytest.mark.skipif(sys.platform != "linux", reason="the limits are Linux's")
@pytest.mark.parametrize(
    ("code", "name"),
    [(errno.ENOSPC, "fs.inotify.max_user_watches"), (errno.EMFILE, "fs.inotify.max_user_instances")],
)
def test_a_limit_of_the_system_means_polling_and_is_named(tmp_path, code, name):
    """The problem says which setting to raise."""

    class Full(PollingObserver):
        def start(self):
            raise OSError(code, "limit reached")

    hints = Hints(tmp_path, lambda path: None, local, Full)
    problem = hints.start()
    assert problem is not None
    assert name in problem.advice
    assert problem.path == tmp_path
    assert hints.mode == "polling"
    assert hints.sound


def test_a_network_folder_is_polled_without_complaint(tmp_path):
    """Events are not even asked for."""
    hints = Hints(tmp_path, lambda path: None, lambda folder: False)
    assert hints.start() is None
    assert hints.mode == "polling"


def test_a_dead_emitter_is_noticed(tmp_path):
    """Though the observer still runs."""
    made = []

    def make_observer():
        made.append(PollingObserver(timeout=0.05))
        return made[-1]

    hints = Hints(tmp_path, lambda path: None, local, make_observer)
    hints.start()
    try:
        assert hints.sound
        for emitter in made[0].emitters:
            emitter.stop()
        assert until(lambda: not hints.sound)
        assert hints.start() is None
        assert hints.sound
    finally:
        hints.stop()


def test_a_missing_folder_is_an_error(tmp_path):
    """It is not a refusal of the system."""
    with pytest.raises(FileNotFoundError):
        Hints(tmp_path / "away", lambda path: None, local).start()


@pytest.mark.parametrize("silenced", [True, False])
def test_the_library_writes_nothing_on_the_screen(silenced):
    """What it logs has nowhere to go; left alone, its warnings end on the error stream."""
    load = "import tetherwatch.watch.notices" if silenced else "pass"
    log = "import logging; logging.getLogger('watchdog.observers').warning('the thread is inactive')"
    done = subprocess.run([sys.executable, "-c", f"{load}; {log}"], capture_output=True, check=True)
    assert (done.stdout, done.stderr == b"") == (b"", silenced)
