"""The main job from end to end: captures land in a folder, readings and calls come out."""

import os
import shutil
import time
from pathlib import Path

import pytest
from program import drop, is_frame, run, shoot, watching


def test_a_raw_capture_is_metered_against_the_truth_and_called(shelf: Path, captures: Path) -> None:
    """A frame 1 1/3 stop too dark gives its true offset and one call that puts it right."""
    truth = shoot(shelf)[0]
    with watching(captures) as watch:
        drop(shelf / truth.file, captures / truth.file)
        frame = watch.until(is_frame(truth.file))[-1]
        assert watch.end() == 0
    assert frame["reading"]["source"] == "raw"
    assert frame["reading"]["area"] == "card"
    assert frame["reading"]["offset_stops"] == pytest.approx(truth.offset_stops, abs=0.03)
    assert frame["settings"] == {
        "shutter_s": 2.0**-8,
        "aperture": pytest.approx(2.0**1.5, abs=1e-4),
        "iso": 100.0,
        "shutter": "1/250",
        "aperture_label": "f/2.8",
    }
    call = frame["call"]
    assert (call["kind"], call["setting"], call["from"], call["to"]) == ("brighter", "iso", "100", "250")
    assert call["move_stops"] == pytest.approx(4 / 3, abs=1e-3)
    assert call["predicted"]["offset_stops"] == pytest.approx(0.0, abs=0.03)


def test_a_first_look_comes_before_the_reading(shelf: Path, captures: Path) -> None:
    """Marked as provisional and without a number; after some captures it is as good as the reading, and says so."""
    truths = shoot(shelf, frames=6)
    with watching(captures) as watch:
        for truth in truths:
            drop(shelf / truth.file, captures / truth.file)
            looks = []
            for event in watch.all_events():
                if event["event"] == "frame" and event["file"] == truth.file:
                    if not event["reading"]["provisional"]:
                        break
                    looks.append(event)
            assert len(looks) <= 1
    (look,) = looks
    assert (look["number"], look["reading"]["source"]) == (None, "preview")
    assert look["call"]["firm"]
    assert look["reading"]["offset_stops"] == pytest.approx(event["reading"]["offset_stops"], abs=0.1)
    assert (look["call"]["kind"], look["call"]["to"]) == (event["call"]["kind"], event["call"]["to"])
    assert look["settings"] == event["settings"]


def test_what_lies_there_already_is_skipped_unless_asked_for(shelf: Path, captures: Path) -> None:
    """Without --from-start only the new capture is read; with it, in a new session, the old ones too."""
    for truth in shoot(captures, frames=2):
        assert (captures / truth.file).exists()
    new = shoot(shelf)[0].file
    with watching(captures) as watch:
        drop(shelf / new, captures / "NEW.DNG")
        frames = [event["file"] for event in watch.until(is_frame("NEW.DNG")) if event["event"] == "frame"]
    assert frames == ["NEW.DNG"]
    result = run("watch", captures, "--headless", "--new", "--from-start", "--frames", "3")
    assert result.returncode == 0
    assert result.stdout.count('"event": "frame"') == 3


def test_raw_and_jpeg_of_one_shot_are_one_frame(shelf: Path, captures: Path) -> None:
    """The raw is metered and the JPEG is named as its pair."""
    shoot(shelf, files="both", frames=2)
    with watching(captures) as watch:
        for name in ("RHS_0001.DNG", "RHS_0001.JPG"):
            drop(shelf / name, captures / name)
        first = watch.until(is_frame("RHS_0001.DNG"))[-1]
        for name in ("RHS_0002.JPG", "RHS_0002.DNG"):
            drop(shelf / name, captures / name)
        events = watch.until(is_frame("RHS_0002.DNG"))
    assert (first["number"], first["pair"], first["reading"]["source"]) == (1, "RHS_0001.JPG", "raw")
    assert [event["file"] for event in events if event["event"] == "frame"] == ["RHS_0002.DNG"]
    assert events[-1]["number"] == 2


def test_a_slow_copy_is_read_once_when_it_is_whole(shelf: Path, captures: Path) -> None:
    """A file that grows with pauses gives one frame and no problem."""
    truth = shoot(shelf, compressed=False)[0]
    data = (shelf / truth.file).read_bytes()
    with watching(captures) as watch:
        with (captures / truth.file).open("wb") as slow:
            for start in range(0, len(data), len(data) // 6 + 1):
                slow.write(data[start : start + len(data) // 6 + 1])
                slow.flush()
                os.fsync(slow.fileno())
                time.sleep(0.25)  # the pace of the copy is what is tested
        events = watch.until(is_frame(truth.file))
    assert [event["event"] for event in events] == ["frame"]
    assert events[0]["reading"]["offset_stops"] == pytest.approx(truth.offset_stops, abs=0.03)


def test_the_same_name_written_again_is_a_new_frame(shelf: Path, captures: Path) -> None:
    """A camera whose counter starts anew does not lose its shots."""
    one, two = (truth.file for truth in shoot(shelf, frames=3, scene="sunset", light="continuous")[::2])
    with watching(captures) as watch:
        drop(shelf / one, captures / "A.DNG")
        first = watch.until(is_frame("A.DNG"))[-1]
        drop(shelf / two, captures / "A.DNG")
        second = watch.until(is_frame("A.DNG"))[-1]
    assert (first["number"], second["number"]) == (1, 2)
    assert first["reading"]["offset_stops"] != second["reading"]["offset_stops"]


def test_sub_folders_by_date_are_watched(shelf: Path, captures: Path) -> None:
    """A folder made during the shoot, with a capture already inside, is read; side files and hidden ones are not."""
    truth = shoot(shelf)[0]
    with watching(captures) as watch:
        day = captures / "2026" / "03-14"
        day.mkdir(parents=True)
        (day / "A.xmp").write_text("<x/>")
        (day / ".B.DNG").write_bytes(b"hidden")
        drop(shelf / truth.file, day / "A.DNG")
        events = watch.until(is_frame("2026/03-14/A.DNG"))
    assert [event["event"] for event in events] == ["frame"]


def test_a_folder_that_goes_away_and_comes_back_is_taken_up_again(shelf: Path, captures: Path) -> None:
    """The watch says that the folder is away, then back, and reads what lands afterwards."""
    truth = shoot(shelf)[0]
    with watching(captures) as watch:
        shutil.rmtree(captures)
        away = watch.until(lambda event: event["event"] == "folder")[-1]
        captures.mkdir()
        back = watch.until(lambda event: event["event"] == "folder")[-1]
        drop(shelf / truth.file, captures / "A.DNG")
        watch.until(is_frame("A.DNG"))
        assert watch.end() == 0
    assert (away["state"], back["state"]) == ("away", "back")


def test_captures_are_left_as_they_were(shelf: Path, captures: Path) -> None:
    """Reading changes neither content nor times, and leaves nothing beside the captures."""
    truth = shoot(shelf)[0]
    target = captures / truth.file
    with watching(captures) as watch:
        drop(shelf / truth.file, target)
        before = target.stat()
        watch.until(is_frame(truth.file))
    after = target.stat()
    assert (after.st_mtime_ns, after.st_size, after.st_mode) == (before.st_mtime_ns, before.st_size, before.st_mode)
    assert target.read_bytes() == (shelf / truth.file).read_bytes()
    assert [path.name for path in captures.iterdir()] == [truth.file]


def test_following_the_calls_puts_every_setup_right(captures: Path) -> None:
    """An obedient photographer is inside the tolerance one move after each change of light."""
    result = run("rehearse", captures, "--scene", "moves", "--frames", "10", "--every", "0", "--follow")
    assert result.returncode == 0, result.stderr
    offsets = [float(line.split(" card ")[1].split()[0]) for line in result.stdout.splitlines()]
    assert len(offsets) == 10
    changes = (0, 4, 8)
    assert all(abs(offsets[frame]) > 0.17 for frame in changes)
    assert all(abs(offset) <= 0.17 for frame, offset in enumerate(offsets) if frame not in changes)


def test_without_a_terminal_there_are_plain_lines(captures: Path) -> None:
    """Piped output is one readable line a frame, free of escape codes."""
    shoot(captures)
    result = run("watch", captures, "--from-start", "--frames", "1", "--plan", "window-card")
    assert result.returncode == 0
    assert "BRIGHTER ISO 100 -> 250" in result.stdout
    assert "\x1b" not in result.stdout
