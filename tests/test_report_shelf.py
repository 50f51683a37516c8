"""The sessions that were kept: found, copied, and removed only while no one records them."""

import os
from pathlib import Path

import pytest
from journal_records import Program, program
from report_records import frame, keep, write

from tetherwatch.errors import SessionBusyError, UsageError
from tetherwatch.report.reader import reading
from tetherwatch.report.shelf import copy, in_use, kept, remove, session_file
from tetherwatch.session.places import new_path, sessions_folder


@pytest.fixture(autouse=True)
def _data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sessions of each test are kept apart."""
    monkeypatch.setenv("TETHERWATCH_DATA", str(tmp_path / "data"))


def kept_session(folder: Path, written_at: float) -> Path:
    """A session of a folder in the folder of sessions, last written to at this time."""
    path = new_path(folder, written_at)
    keep(path, folder, [frame(1, folder=folder)])
    os.utime(path, (written_at, written_at))
    return path


def test_the_newest_comes_first(captures: Path, shelf: Path) -> None:
    """Numbers count from the session that was written to last; a folder that is not there holds none."""
    assert kept() == ()
    old, new = kept_session(captures, 1e9), kept_session(shelf, 1.1e9)
    assert [(each.number, each.path) for each in kept()] == [(1, new), (2, old)]
    assert kept()[0].size == new.stat().st_size and kept()[0].name == new.stem


def test_a_session_is_found_by_whatever_names_it(captures: Path, shelf: Path, tmp_path: Path) -> None:
    """Its number, name, file, or the folder of its captures, also when that is gone."""
    old, new = kept_session(captures, 1e9), kept_session(shelf, 1.1e9)
    again = kept_session(captures, 1.05e9)
    elsewhere = tmp_path / "mine.session"
    keep(elsewhere, captures, [])
    found = [
        session_file(word) for word in ("1", old.stem, old.name, str(old), str(elsewhere), str(captures), f"{shelf}/")
    ]
    assert found == [new, old, old, old, elsewhere, again, new]
    captures.rmdir()
    assert session_file(str(captures)) == again


@pytest.mark.parametrize("word", ["9", "none", "", "a\0b", "x" * 5000, "../nothing"])
def test_what_names_none_is_said(word: str) -> None:
    """Anything else becomes advice."""
    with pytest.raises(UsageError, match="there is no session"):
        session_file(word)


def test_one_that_is_recorded_is_in_use(captures: Path) -> None:
    """While its program runs, and not after it ended or was killed; asking takes no lock for long."""
    path = new_path(captures, 1e9)
    running = Program(path, captures)
    assert in_use(path) and in_use(path)
    running.die()
    assert not in_use(path)
    with program(path, captures):
        assert in_use(path)
    assert not in_use(path) and not in_use(path.with_name("none.session"))


def test_a_copy_holds_all_of_it(captures: Path, tmp_path: Path) -> None:
    """Also of a session that is being recorded, in one file that reads the same."""
    path = new_path(captures, 1e9)
    with program(path, captures) as running:
        write(running, [frame(1, folder=captures)])
        assert copy(path, tmp_path / "copy.session") == (tmp_path / "copy.session").stat().st_size
        with reading(path) as one, reading(tmp_path / "copy.session") as other:
            assert one.record().frames == other.record().frames
            assert list(one.thumbnails([1])) == list(other.thumbnails([1]))


def test_a_copy_takes_nothings_place(captures: Path, tmp_path: Path) -> None:
    """What is there is left; of a session that cannot be read nothing is made."""
    path = kept_session(captures, 1e9)
    there = tmp_path / "there"
    there.write_text("mine")
    with pytest.raises(UsageError, match="there already"):
        copy(path, there)
    with pytest.raises(UsageError, match="cannot be written"):
        copy(path, tmp_path / "none" / "copy")
    with pytest.raises(UsageError, match="cannot be read"):
        copy(there, tmp_path / "copy")
    assert there.read_text() == "mine" and not (tmp_path / "copy").exists()


def test_removing_leaves_nothing_of_it(captures: Path) -> None:
    """The file and what lay beside it are gone, the captures are not."""
    path = kept_session(captures, 1e9)
    path.with_name(f"{path.name}-journal").write_bytes(b"left by a kill")
    (captures / "a.DNG").write_bytes(b"a capture")
    remove(path)
    assert list(sessions_folder().iterdir()) == [] and (captures / "a.DNG").exists()


def test_one_that_is_recorded_is_not_removed(captures: Path) -> None:
    """Its lock is asked at that moment."""
    path = new_path(captures, 1e9)
    with program(path, captures) as running:
        with pytest.raises(SessionBusyError):
            remove(path)
        write(running, [frame(1, folder=captures)])
    with reading(path) as reader:
        assert reader.frame_count() == 1
