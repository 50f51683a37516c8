"""One look at real folders, odd ones included."""

import os
import sys
from pathlib import Path

import pytest

from tetherwatch.watch.listing import Entry, list_captures

needs_links = pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")


def fill(path: Path, text: str = "x") -> Path:
    """A file with its folders."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    return path


def found(folder: Path, depth: int = 4) -> set[str]:
    """What a look finds, relative to the folder."""
    return {Path(path).relative_to(folder).as_posix() for path in list_captures(folder, depth)}


def test_captures_are_listed_with_size_and_time(tmp_path):
    """As the file system tells them."""
    path = fill(tmp_path / "a.dng", "12345")
    assert list_captures(tmp_path) == {str(path): Entry("file", 5, path.stat().st_mtime_ns)}


def test_paths_are_those_of_captures_also_in_the_working_folder(tmp_path, monkeypatch):
    """No dot in front: what is remembered by its path must be found again."""
    fill(tmp_path / "a.dng")
    fill(tmp_path / "2026" / "b.dng")
    monkeypatch.chdir(tmp_path)
    assert set(list_captures(Path())) == {"a.dng", str(Path("2026", "b.dng"))}
    assert set(list_captures(Path("2026"))) == {str(Path("2026", "b.dng"))}


def test_side_files_and_hidden_files_are_not_listed(tmp_path):
    """Nor what lies in hidden folders."""
    for name in ("a.xmp", "notes.txt", ".a.dng", "._a.dng", "a.dng.part", ".trash/a.dng", "a.dng"):
        fill(tmp_path / name)
    assert found(tmp_path) == {"a.dng"}


def test_sub_folders_by_date_are_looked_into_down_to_a_depth(tmp_path):
    """Four levels unless told otherwise."""
    for name in ("1.dng", "2026/2.dng", "2026/05/06/4.dng", "2026/05/06/x/5.dng", "2026/05/06/x/y/6.dng"):
        fill(tmp_path / name)
    assert found(tmp_path) == {"1.dng", "2026/2.dng", "2026/05/06/4.dng", "2026/05/06/x/5.dng"}
    assert found(tmp_path, depth=0) == {"1.dng"}


def test_a_folder_named_like_a_capture_is_listed_as_a_folder(tmp_path):
    """Without size and time, so that it is one problem, not one for each change; what is in it is not looked at."""
    fill(tmp_path / "x.dng" / "y.dng")
    assert list_captures(tmp_path) == {str(tmp_path / "x.dng"): Entry("folder")}


@needs_links
def test_links_to_files_count_as_files_and_dead_ones_as_links(tmp_path):
    """And links to folders are not followed."""
    there = fill(tmp_path / "real" / "a.dng", "123")
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "b.dng").symlink_to(there)
    (tmp_path / "in" / "c.dng").symlink_to(tmp_path / "nowhere")
    (tmp_path / "in" / "loop").symlink_to(tmp_path)
    listing = list_captures(tmp_path / "in")
    assert {Path(path).name: (entry.kind, entry.size) for path, entry in listing.items()} == {
        "b.dng": ("file", 3),
        "c.dng": ("link", 0),
    }


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no such files here")
def test_special_files_are_listed_without_being_opened(tmp_path):
    """A pipe would block for ever."""
    os.mkfifo(tmp_path / "x.dng")
    assert list_captures(tmp_path) == {str(tmp_path / "x.dng"): Entry("other")}


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not allow such names")
def test_names_that_are_not_text_are_listed(tmp_path):
    """Escape codes, newlines and bytes that are no text."""
    for name in (b"a\x1b[2J.dng", b"b\nc.dng", b"d\xff\xfe.dng"):
        (tmp_path / os.fsdecode(name)).touch()
    assert {os.fsencode(Path(path).name) for path in list_captures(tmp_path)} == {
        b"a\x1b[2J.dng",
        b"b\nc.dng",
        b"d\xff\xfe.dng",
    }


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="needs a user who can be refused")
def test_a_sub_folder_that_may_not_be_read_is_left_out(tmp_path):
    """The rest is listed."""
    fill(tmp_path / "closed" / "a.dng").parent.chmod(0)
    fill(tmp_path / "b.dng")
    try:
        assert found(tmp_path) == {"b.dng"}
    finally:
        (tmp_path / "closed").chmod(0o700)


def test_a_folder_that_is_away_is_an_error(tmp_path):
    """So the caller can tell it from an empty one; a file in its place as well."""
    with pytest.raises(FileNotFoundError):
        list_captures(tmp_path / "away")
    with pytest.raises(OSError):
        list_captures(fill(tmp_path / "a.dng"))
