"""The watch from end to end, with a reader in this process."""

import os
import shutil
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest
import worker_stubs
from watch_running import AIM, LIMIT_S, Running, Threads, write

from tetherwatch.errors import FolderError
from tetherwatch.exposure.dial import Step
from tetherwatch.frame.faults import Fault
from tetherwatch.meter.records import Aim
from tetherwatch.watch.arrivals import Patience
from tetherwatch.watch.disk import Folder
from tetherwatch.watch.pipeline import Watcher
from tetherwatch.watch.records import Health, Metered


class Silent(Folder):
    """A folder whose file system reports nothing."""

    def reports_changes(self, folder):
        """Never."""
        return False


def test_a_new_capture_is_metered_and_old_ones_are_not(tmp_path):
    """Also in a sub-folder made after the start."""
    write(tmp_path / "old.dng")
    with Running(tmp_path) as running:
        write(tmp_path / "new.dng")
        running.until(lambda: len(running.frames) == 1)
        write(tmp_path / "2026-05-06" / "sub.dng")
        running.until(lambda: len(running.frames) == 2)
        running.idle()
    assert running.frames == [("new.dng", False), ("sub.dng", False)]
    assert running.problems == []
    assert (running.reader.entered, running.reader.left) == (1, 1)


def test_from_start_reads_the_old_ones_in_order(tmp_path):
    """By time."""
    for number in (3, 1, 2):
        os.utime(write(tmp_path / f"{number}.dng"), (number, number))
    with Running(tmp_path, from_start=True) as running:
        running.until(lambda: len(running.frames) == 3)
    assert [name for name, _ in running.frames] == ["1.dng", "2.dng", "3.dng"]


def test_a_capture_between_making_the_watch_and_running_it_is_new(tmp_path):
    """The first look is taken when the watch is made."""
    running = Running(tmp_path)
    write(tmp_path / "a.dng")
    with running:
        running.until(lambda: running.frames == [("a.dng", False)])


def test_a_temporary_name_and_a_rename_are_one_frame(tmp_path):
    """The temporary name is no capture's."""
    with Running(tmp_path) as running:
        write(tmp_path / ".a.dng.tmp").rename(tmp_path / "a.dng")
        running.until(lambda: running.frames)
        running.idle()
    assert running.frames == [("a.dng", False)]


def test_a_copy_that_stalls_is_one_frame_and_no_problem(tmp_path):
    """It settles half-written, fails, goes on and is read."""
    with Running(tmp_path, grace_s=20.0) as running:
        path = write(tmp_path / "a.dng", "good ")
        running.until(lambda: running.reader.started == [path])
        with path.open("a") as file:
            file.write("end")
        running.until(lambda: running.frames)
        running.idle()
    assert running.frames == [("a.dng", False)]
    assert running.problems == []


def test_the_same_name_written_again_is_a_new_frame(tmp_path):
    """Other content under a known name."""
    with Running(tmp_path) as running:
        write(tmp_path / "a.dng")
        running.until(lambda: len(running.frames) == 1)
        write(tmp_path / "a.dng", "good and longer end")
        running.until(lambda: len(running.frames) == 2)
    assert running.frames == [("a.dng", False), ("a.dng", False)]


def test_a_file_that_is_only_touched_is_no_new_frame(tmp_path):
    """Its time changes, its content does not; written anew with other content of the same size, it is one."""
    path = tmp_path / "a.dng"
    with Running(tmp_path) as running:
        write(path)
        running.until(lambda: len(running.frames) == 1)
        for moment in (1_000_000_000, 2_000_000_000):
            os.utime(path, (moment, moment))
            running.idle()
        running.watcher.use(Aim(from_grey_stops=1.0), Step.THIRD)
        running.until(lambda: len(running.frames) == 2)
        write(path, "good.end")
        running.until(lambda: len(running.frames) == 3)
        running.idle()
    assert running.frames == [("a.dng", False), ("a.dng", True), ("a.dng", False)]
    assert running.problems == []


def test_what_lay_there_before_is_not_new_when_it_is_touched_or_renamed(tmp_path):
    """Once there was time to look into it; written anew it is a new capture at any time."""
    names = [tmp_path / name for name in ("a.dng", "b.dng", "c.dng")]
    for number, path in enumerate(names):
        write(path, f"good {number} end")
    with Running(tmp_path) as running:
        running.until(lambda: not running.watcher.unlearned)
        os.utime(names[0], (1_000_000_000, 1_000_000_000))
        names[1].rename(tmp_path / "d.dng")
        running.idle()
        assert running.frames == []
        write(names[2], "good x end")
        running.until(lambda: running.frames)
        running.idle()
    assert running.frames == [("c.dng", False)]


def test_a_renamed_capture_is_no_new_frame_and_a_copy_is_one(tmp_path):
    """What was given lies under another name now; a copy lies there beside it."""
    with Running(tmp_path) as running:
        write(tmp_path / "a.dng")
        running.until(lambda: len(running.frames) == 1)
        (tmp_path / "a.dng").rename(tmp_path / "b.dng")
        running.idle()
        shutil.copy(tmp_path / "b.dng", tmp_path / "c.dng")
        running.until(lambda: len(running.frames) == 2)
        running.idle()
    assert running.frames == [("a.dng", False), ("c.dng", False)]


def test_a_touched_file_complains_no_second_time(tmp_path):
    """The same content has the same problem."""
    with Running(tmp_path) as running:
        write(tmp_path / "a.dng", "short")
        running.until(lambda: running.problems)
        os.utime(tmp_path / "a.dng", (1_000_000_000, 1_000_000_000))
        running.idle()
    assert running.problems == [("a.dng", Fault.CUT_SHORT.problem)]


def test_a_pair_is_one_frame(tmp_path):
    """The raw is metered, the JPEG named."""
    with Running(tmp_path) as running:
        write(tmp_path / "a.jpg")
        write(tmp_path / "a.dng")
        running.until(lambda: ("a.dng", False) in running.frames or ("a.dng", True) in running.frames)
        running.idle()
    frames = [event for event in running.seen if isinstance(event, Metered)]
    assert frames[-1].capture.pair == tmp_path / "a.jpg"
    assert sum(not frame.replaces for frame in frames) == 1


@pytest.mark.parametrize("is_twin", [True, False])
def test_a_picture_beside_an_old_raw_of_its_name_is_a_frame_unless_it_is_of_that_shot(tmp_path, is_twin):
    """A counter that begins anew gives new shots old names; an export carries the moment of its raw."""
    write(tmp_path / "a.dng")
    reader = Threads(lambda *args: replace(worker_stubs.read_text(*args), is_twin=is_twin))
    with Running(tmp_path, reader) as running:
        write(tmp_path / "a.jpg", "good picture end")
        write(tmp_path / "b.jpg", "good other end")
        running.until(lambda: ("b.jpg", False) in running.frames)
        running.idle()
    assert (("a.jpg", False) in running.frames) == (not is_twin)
    assert running.problems == []


def test_every_bad_input_is_one_problem_and_the_next_good_frame_is_read(tmp_path):
    """Empty, cut short, a folder, a dead link, a name full of traps."""
    expected = {
        ("empty.dng", Fault.EMPTY.problem),
        ("short.dng", Fault.CUT_SHORT.problem),
        ("folder.dng", Fault.NOT_A_FILE.problem),
    }
    with Running(tmp_path) as running:
        write(tmp_path / "empty.dng", "")
        write(tmp_path / "short.dng", "good")
        (tmp_path / "folder.dng").mkdir()
        if sys.platform != "win32":
            (tmp_path / "link.dng").symlink_to(tmp_path / "nowhere")
            write(tmp_path / "a\x1b[2J\n.dng", "short")
            expected |= {("link.dng", Fault.VANISHED.problem), ("a\x1b[2J\n.dng", Fault.CUT_SHORT.problem)}
        running.until(lambda: len(running.problems) == len(expected))
        write(tmp_path / "good.dng")
        running.until(lambda: running.frames)
        running.idle()
    assert set(running.problems) == expected
    assert len(running.problems) == len(expected)
    assert running.frames == [("good.dng", False)]


def test_a_preview_gives_a_frame_and_a_problem(tmp_path):
    """A raw nobody can decode is metered from its preview, and the user is told."""
    with Running(tmp_path) as running:
        write(tmp_path / "a.dng", "preview")
        running.until(lambda: running.problems)
    assert running.frames == [("a.dng", False)]
    assert running.problems == [("a.dng", Fault.UNSUPPORTED.problem)]


def test_the_newest_capture_overtakes_the_backlog(tmp_path):
    """With one worker busy, what came last is read next."""
    gate = threading.Event()

    def slow(path: Path, aim: Aim, step: Step):
        gate.wait(LIMIT_S)
        return worker_stubs.read_of(aim)

    with Running(tmp_path, Threads(slow)) as running:
        write(tmp_path / "0.dng")
        running.until(lambda: running.reader.started)
        for number in range(1, 5):
            write(tmp_path / f"{number}.dng")
            running.until(lambda number=number: running.health.backlog == number + 1)
        while running.watcher._arrivals.unsettled:
            time.sleep(0.01)
        gate.set()
        running.until(lambda: len(running.frames) == 5)
    assert [name for name, _ in running.frames] == ["0.dng", "4.dng", "3.dng", "2.dng", "1.dng"]


def test_a_capture_is_shown_before_it_has_settled(tmp_path):
    """As soon as the system says that it was closed or moved into place; its reading follows."""
    patience = Patience(settle_s=1.0, odd_s=1.0, pair_s=0.5)
    with Running(tmp_path, looker=Threads(), patience=patience) as running:
        running.until(lambda: running.health.mode == "events")
        write(tmp_path / ".a.part").rename(tmp_path / "a.dng")
        running.until(lambda: running.looks)
        assert running.frames == []
        running.until(lambda: running.frames)
        running.idle()
    assert (running.looks, running.frames) == (["a.dng"], [("a.dng", False)])


def test_without_events_a_capture_is_shown_while_it_is_being_read(tmp_path):
    """And not any more when it has been; a known one, touched or renamed, never is."""
    slow = Threads(lambda *args: time.sleep(0.5) or worker_stubs.read_text(*args))
    with Running(tmp_path, slow, Threads(), disk=Silent(tmp_path)) as running:
        write(tmp_path / "a.dng")
        running.until(lambda: running.looks)
        assert running.frames == []
        running.until(lambda: running.frames)
        os.utime(tmp_path / "a.dng", (1_000_000_000, 1_000_000_000))
        running.idle()
    assert (running.looks, running.frames) == (["a.dng"], [("a.dng", False)])


def test_a_look_that_comes_too_late_is_not_shown(tmp_path):
    """The reading is there already."""
    late = Threads(lambda *args: time.sleep(1.0) or worker_stubs.read_text(*args))
    with Running(tmp_path, looker=late) as running:
        write(tmp_path / "a.dng")
        running.until(lambda: running.frames)
        time.sleep(1.2)
        running.idle()
    assert running.looks == []


def test_of_a_burst_the_newest_is_shown(tmp_path):
    """Looks are taken beside the readings, never behind them, and older captures are not worth one."""
    busy = Threads(lambda *args: time.sleep(0.4) or worker_stubs.read_text(*args))
    with Running(tmp_path, busy, Threads(), disk=Silent(tmp_path)) as running:
        for number in range(5):
            write(tmp_path / f"{number}.dng", f"good {number} end")
            os.utime(tmp_path / f"{number}.dng", (2_000_000_000 + number, 2_000_000_000 + number))
        running.until(lambda: running.looks)
        assert len(running.frames) < 2
        running.until(lambda: len(running.frames) == 5)
    assert running.looks[-1] == "4.dng"


def test_a_burst_is_not_shown_backwards(tmp_path):
    """When captures settle one after the other, those that were passed by for newer ones are not shown any more."""
    busy = Threads(lambda *args: time.sleep(0.8) or worker_stubs.read_text(*args))
    patience = Patience(settle_s=0.3, odd_s=0.3, pair_s=0.3)
    with Running(tmp_path, busy, Threads(), patience=patience) as running:
        running.until(lambda: running.health.mode == "events")
        for number in range(6):
            part = write(tmp_path / f".{number}.part", f"good {number} end")
            os.utime(part, (2_000_000_000 + number, 2_000_000_000 + number))
            part.rename(tmp_path / f"{number}.dng")
            time.sleep(0.1)
        running.until(lambda: len(running.frames) >= 2)
    assert running.looks == sorted(set(running.looks))


def test_the_jpeg_of_a_pair_is_not_shown_once_pairs_are_known(tmp_path):
    """Its raw is."""
    with Running(tmp_path, looker=Threads()) as running:
        for name in ("a.jpg", "a.dng"):
            write(tmp_path / name)
        running.until(lambda: running.frames)
        running.idle()
        before = len(running.looks)
        write(tmp_path / "b.jpg", "good b end")
        write(tmp_path / "b.dng", "good b raw end")
        running.until(lambda: len(running.frames) >= 2)
        running.idle()
    assert set(running.looks[before:]) <= {"b.dng"}


def test_a_new_aim_meters_the_newest_again(tmp_path):
    """At once, and later captures under it too."""
    with Running(tmp_path) as running:
        write(tmp_path / "a.dng")
        running.until(lambda: len(running.frames) == 1)
        running.watcher.use(Aim(from_grey_stops=1.0), Step.THIRD)
        running.until(lambda: len(running.frames) == 2)
        write(tmp_path / "b.dng")
        running.until(lambda: len(running.frames) == 3)
    assert running.frames == [("a.dng", False), ("a.dng", True), ("b.dng", False)]
    offsets = [event.reading.offset_stops for event in running.seen if isinstance(event, Metered)]
    assert offsets == [0.0, -1.0, -1.0]


def test_a_folder_that_goes_away_and_comes_back(tmp_path):
    """Said while it is away; when it is back, what is new in it is read and what was known is not."""
    folder = tmp_path / "in"
    folder.mkdir()
    write(folder / "old.dng")
    with Running(folder) as running:
        assert running.health.here
        folder.rename(tmp_path / "away")
        running.until(lambda: not running.health.here)
        write(tmp_path / "away" / "meanwhile.dng")
        (tmp_path / "away").rename(folder)
        running.until(lambda: running.health.here)
        running.until(lambda: running.frames)
        write(folder / "after.dng")
        running.until(lambda: len(running.frames) == 2)
        running.idle()
    assert running.frames == [("meanwhile.dng", False), ("after.dng", False)]
    assert running.problems == []


def test_captures_waiting_when_the_folder_goes_away_are_read_when_it_is_back(tmp_path):
    """A pulled cable is not a problem of every capture."""
    gate = threading.Event()

    def slow(path: Path, aim: Aim, step: Step):
        gate.wait(LIMIT_S)
        return worker_stubs.read_text(path, aim, step)

    folder = tmp_path / "in"
    folder.mkdir()
    with Running(folder, Threads(slow), grace_s=0.0) as running:
        for number in range(3):
            write(folder / f"{number}.dng")
        running.until(lambda: running.reader.started and running.health.backlog == 3)
        folder.rename(tmp_path / "away")
        gate.set()
        running.until(lambda: not running.health.here)
        assert running.health.backlog == 3
        (tmp_path / "away").rename(folder)
        running.until(lambda: len(running.frames) == 3)
    assert running.problems == []


def test_another_folder_in_its_place_is_taken_up(tmp_path):
    """Deleted and made again: events of the old one would never come."""
    folder = tmp_path / "in"
    folder.mkdir()
    with Running(folder) as running:
        keep = tmp_path / "keep"  # so that the number of the deleted folder is not used again
        folder.rename(keep)
        folder.mkdir()
        running.until(lambda: not running.health.here)
        running.until(lambda: running.health.here)
        shutil.rmtree(keep)
        write(folder / "a.dng")
        running.until(lambda: running.frames)
    assert running.frames == [("a.dng", False)]


def test_a_watch_whose_events_die_goes_on_and_asks_for_them_anew(tmp_path):
    """What lands meanwhile is found by looking; then events are reported again."""

    class Local(Folder):
        def reports_changes(self, folder: Path) -> bool:
            return True

    with Running(tmp_path, disk=Local(tmp_path)) as running:
        assert running.health.mode == "events"
        hints = running.watcher._hints
        for emitter in hints._observer.emitters:
            emitter.stop()
            emitter.join(LIMIT_S)
        assert not hints.sound
        write(tmp_path / "a.dng")
        running.until(lambda: running.frames)
        running.until(lambda: hints.sound)
        assert running.health.mode == "events"
    assert running.problems == []


@pytest.mark.parametrize("name", ["missing", "file"])
def test_a_folder_that_cannot_be_watched_is_an_error(tmp_path, name):
    """At once, in words."""
    write(tmp_path / "file")
    with pytest.raises(FolderError) as caught:
        Watcher(tmp_path / name, AIM, Step.THIRD)
    assert caught.value.folder == tmp_path / name
    assert "folder" in caught.value.problem


def test_an_idle_watch_uses_next_to_no_processor_time(tmp_path):
    """Nothing spins: less than a twentieth of the time, with a thousand files there."""
    for number in range(1000):
        write(tmp_path / f"{number}.dng")
    with Running(tmp_path, Threads(lambda *_: None)) as running:
        began, used = time.monotonic(), time.process_time()
        running.until(lambda: time.monotonic() - began > 3.0)
        used = time.process_time() - used
    assert used < 0.05 * 3.0
    assert running.health.backlog == 0


def test_it_tells_how_it_is_doing_without_a_change(tmp_path):
    """A heartbeat every two seconds or so, with the time of the last look."""
    with Running(tmp_path) as running:
        beats = lambda: [event for event in running.seen if isinstance(event, Health)]  # noqa: E731
        running.until(lambda: len(beats()) == 2)
    first, second = beats()
    assert (second.here, second.mode, second.backlog) == (first.here, first.mode, 0)
    assert abs(second.last_look - time.time()) < 60


@pytest.mark.parametrize("end", ["stop", "close"])
def test_it_ends_soon_when_told_to(tmp_path, end):
    """Within two seconds, idle or not, with the reader let go."""
    running = Running(tmp_path)
    with running:
        began = time.monotonic()
        running.stop.set() if end == "stop" else running.watcher.close()
        running.thread.join(LIMIT_S)
        assert time.monotonic() - began < 2.0
    assert running.reader.left == 1


def test_a_reading_of_a_file_that_has_changed_since_does_not_count(tmp_path):
    """Nobody knows which content was read; the new one is read again, as one frame."""
    gate = threading.Event()

    def slow(path: Path, aim: Aim, step: Step):
        gate.wait(LIMIT_S)
        return worker_stubs.read_of(aim)

    with Running(tmp_path, Threads(slow)) as running:
        write(tmp_path / "a.dng")
        running.until(lambda: running.reader.started)
        write(tmp_path / "a.dng", "good and longer end")
        gate.set()
        running.until(lambda: running.frames)
        running.idle()
    assert running.frames == [("a.dng", False)]
    assert len(running.reader.started) == 2
