"""Whatever lies in the folder: one clear line, the watch goes on, and no escape code reaches the terminal."""

import json
import os
import re
import sys
from pathlib import Path
from typing import Any

import exiv2
import pytest
from bad_files import BAD, HOSTILE_NAME, NEEDS_LINKS, unreadable
from PIL import Image
from program import drop, is_frame, run, shoot, watching

CASES = [case for case in BAD if sys.platform != "win32" or case not in NEEDS_LINKS]
CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]")


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Good captures: an uncompressed and a compressed raw, and a JPEG."""
    folder = tmp_path_factory.mktemp("shelf")
    for name, options in {
        "plain.DNG": {"compressed": False},
        "packed.DNG": {"compressed": True},
        "picture.JPG": {"files": "jpeg"},
    }.items():
        (folder / shoot(folder, **options)[0].file).rename(folder / name)
    return folder


def make(case: str, folder: Path, shelf: Path) -> Path:
    """Put one bad capture into a folder."""
    name, write = BAD[case]
    write(folder / name, shelf)
    return folder / name


def problems(events: list[dict[str, Any]], name: str) -> list[dict[str, Any]]:
    """The problems told of a file."""
    return [event for event in events if event["event"] == "problem" and event["file"] == name]


@pytest.mark.parametrize("case", CASES)
def test_reading_a_bad_capture_gives_one_clear_line(case: str, tmp_path: Path, shelf: Path) -> None:
    """`read` says what is wrong and what to do, exits with 1, and prints no traceback and no control code."""
    path = make(case, tmp_path, shelf)
    result = run("read", path, shelf / "plain.DNG")
    lines = result.stdout.splitlines()
    complaints = [line for line in lines if line.startswith("! ")]
    assert result.returncode == 1
    assert result.stderr == ""
    assert len(complaints) == 1
    assert "; " in complaints[0]
    assert not CONTROL.search(result.stdout)
    assert any("plain.DNG" in line and "(raw)" in line for line in lines)


def test_the_watch_says_each_problem_once_and_goes_on(tmp_path: Path, shelf: Path) -> None:
    """All bad captures at once: each costs one problem event, and the good frame that follows is read."""
    names = [make(case, tmp_path, shelf).name for case in CASES]
    with watching(tmp_path, "--from-start") as watch:
        events = []
        missing = set(names)
        while missing:
            events += watch.until(lambda event: event["event"] == "problem")
            missing -= {events[-1]["file"]}
        drop(shelf / "plain.DNG", tmp_path / "good.DNG")
        events += watch.until(is_frame("good.DNG"))
        assert watch.end() == 1
        assert watch.process.stderr is not None
        assert watch.process.stderr.read() == b""
    for name in names:
        told = problems(events, name)
        assert len(told) == 1, name
        assert told[0]["problem"]
        assert told[0]["advice"]
    assert events[-1]["reading"]["source"] == "raw"
    assert all(byte in b"\n" or 32 <= byte < 127 for line in watch.raw for byte in line)


def test_a_hostile_name_is_metered_like_any_other(tmp_path: Path, shelf: Path) -> None:
    """Escape codes, brackets, newline and emoji in the name of a good capture end up visible, not obeyed."""
    if sys.platform == "win32":
        pytest.skip("Windows allows no such names")
    drop(shelf / "plain.DNG", tmp_path / HOSTILE_NAME)
    as_json = run("read", tmp_path / HOSTILE_NAME, "--json")
    plain = run("read", tmp_path / HOSTILE_NAME)
    assert as_json.returncode == plain.returncode == 0
    assert json.loads(as_json.stdout)["file"] == str(tmp_path / HOSTILE_NAME)
    assert r"bad\x1b[31m[red]\x0a[b]🎞.dng" in plain.stdout
    assert not CONTROL.search(plain.stdout)


@pytest.mark.parametrize("value", [None, "0"])
def test_missing_or_zero_metadata_is_unknown_never_zero(value: str | None, tmp_path: Path, shelf: Path) -> None:
    """Without shutter, aperture and ISO the frame is still metered; settings and light value are null."""
    path = tmp_path / "bare.DNG"
    path.write_bytes((shelf / "plain.DNG").read_bytes())
    image = exiv2.ImageFactory.open(str(path))
    image.readMetadata()
    exif = image.exifData()
    for key in [tag.key() for tag in exif if tag.key().startswith("Exif.Photo.")]:
        del exif[key]
    if value is not None:
        exif["Exif.Photo.ExposureTime"] = "0/1000000"
        exif["Exif.Photo.FNumber"] = "0/10"
        exif["Exif.Photo.ISOSpeedRatings"] = "0"
    image.writeMetadata()
    result = run("read", path, "--json", "--plan", "window-card")
    event = json.loads(result.stdout)
    assert result.returncode == 0
    assert set(event["settings"].values()) == {None}
    assert event["reading"]["light_value"] is None
    assert event["reading"]["offset_stops"] == pytest.approx(-4 / 3, abs=0.03)
    assert (event["call"]["kind"], event["call"]["from"], event["call"]["to"]) == ("brighter", None, None)


def test_a_very_wide_picture_is_read(tmp_path: Path) -> None:
    """20,000 pixels wide is a panorama, not a mistake."""
    path = tmp_path / "wide.jpg"
    Image.new("RGB", (20_000, 400), (118, 118, 118)).save(path)
    event = json.loads(run("read", path, "--json", "--plan", "window-card").stdout)
    assert event["reading"]["source"] == "jpeg"
    assert event["reading"]["offset_stops"] == pytest.approx(0.0, abs=0.02)


def test_an_unreadable_file_is_named_with_its_advice(tmp_path: Path, shelf: Path) -> None:
    """A capture without read permission gives one line that says so."""
    if sys.platform == "win32" or os.geteuid() == 0:
        pytest.skip("this user may read every file")
    unreadable(tmp_path / "shut.dng", shelf)
    result = run("read", tmp_path / "shut.dng")
    assert result.returncode == 1
    assert "may not be read" in result.stdout


def test_a_folder_that_does_not_exist_is_one_line(tmp_path: Path) -> None:
    """Exit code 2, the folder and what to do; no traceback."""
    result = run("watch", tmp_path / "nowhere", "--headless")
    assert result.returncode == 2
    assert len(result.stderr.splitlines()) == 1
    assert "nowhere: there is no such folder; " in result.stderr


def test_a_file_instead_of_a_folder_is_one_line(tmp_path: Path, shelf: Path) -> None:
    """Naming a capture where the folder belongs is told apart from a missing folder."""
    result = run("watch", shelf / "plain.DNG", "--headless")
    assert result.returncode == 2
    assert "this is a file, not a folder" in result.stderr


TEN_MISTAKES = """\
name = ""
light = "torch"
step = "1/4"
colour = "red"
[aim]
area = "nose"
tolerance_stops = -1
[shutter]
start = "1/250"
allow = ["1/250"]
[aperture]
start = "f/nine"
allow = ["f/8", "f/2.8"]
[iso]
start = 50
allow = [100, 800]
[order]
brighter = ["zoom"]
darker = []
"""


def test_a_plan_with_ten_mistakes_names_them_all(tmp_path: Path) -> None:
    """Every mistake is told at once, each with its line and key; exit code 2."""
    plan = tmp_path / "ten.toml"
    plan.write_text(TEN_MISTAKES)
    for command in (["plan", "check", plan], ["watch", tmp_path, "--plan", plan]):
        result = run(*command)
        heading, *mistakes = result.stderr.splitlines()
        assert result.returncode == 2
        assert heading.startswith(f"{plan}: ")
        lines = [re.match(r"  line (\d+), ([\w.]+): .", line) for line in mistakes]
        assert all(lines)
        assert {(int(found[1]), found[2]) for found in lines if found} >= {
            (1, "name"),
            (2, "light"),
            (3, "step"),
            (4, "colour"),
            (6, "aim.area"),
            (7, "aim.tolerance_stops"),
            (10, "shutter.allow"),
            (12, "aperture.start"),
            (15, "iso.start"),
            (18, "order.brighter"),
            (19, "order.darker"),
        }


def test_an_unknown_plan_is_one_line_with_advice() -> None:
    """Exit code 2 and where to find the names."""
    result = run("read", "x.dng", "--plan", "no-such-plan")
    assert result.returncode == 2
    assert (
        result.stderr == "there is no plan no-such-plan; see 'tetherwatch plan list', or give the path of a plan file\n"
    )
