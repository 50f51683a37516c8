"""Where sessions live."""

import os
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.errors import JournalError, UsageError
from tetherwatch.session.places import (
    RESUMED_WITHIN_S,
    check_place,
    latest,
    new_path,
    resumable,
    sessions_folder,
)

NOW = 1_900_000_000.0


@pytest.fixture(autouse=True)
def _data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TETHERWATCH_DATA", str(tmp_path / "data"))


def session(folder: Path, written_at: float) -> Path:
    """A session file that was last written to at some time."""
    path = new_path(folder, written_at)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"")
    os.utime(path, (written_at, written_at))
    return path


def test_the_data_folder_can_be_chosen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By a variable; without it, it is the user's own, which has the program's name."""
    assert sessions_folder() == tmp_path / "data" / "sessions"
    monkeypatch.delenv("TETHERWATCH_DATA")
    assert sessions_folder().parts[-2:] == ("tetherwatch", "sessions")


@given(st.text(min_size=1))
def test_names_are_safe_on_every_system(name: str) -> None:
    """Letters, digits, dots and dashes, of a bounded length, whatever the folder is called."""
    path = new_path(Path("/shoots") / name.replace("\0", ""), NOW)
    assert path.name.isascii()
    assert path.name.replace("-", "").replace(".", "").isalnum()
    assert len(path.name) < 100


def test_the_name_tells_when_and_what(tmp_path: Path) -> None:
    """So that a person finds it."""
    name = new_path(tmp_path / "Inès Okafor", NOW).name
    assert name.startswith("2030-03-1")
    assert "-ines-okafor-" in name


def test_two_sessions_of_one_second_have_two_files(tmp_path: Path) -> None:
    """A new one never takes the place of an old one."""
    first = session(tmp_path, NOW)
    second = session(tmp_path, NOW)
    assert first != second
    assert latest(tmp_path) in (first, second)


def test_the_latest_session_of_the_same_folder_is_gone_on_with(tmp_path: Path) -> None:
    """Within a day; those of other folders do not count."""
    mine, other = tmp_path / "mine", tmp_path / "other"
    assert latest(mine) is None
    assert resumable(mine, NOW) is None
    session(mine, NOW - 5000)
    newest = session(mine, NOW - 1000)
    session(other, NOW)
    assert latest(mine) == resumable(mine, NOW) == newest
    assert resumable(mine, NOW - 1000 + RESUMED_WITHIN_S) == newest
    assert resumable(mine, NOW - 1000 + RESUMED_WITHIN_S + 1) is None
    assert latest(mine) == newest


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_a_folder_is_known_by_any_of_its_names(tmp_path: Path) -> None:
    """A link to it leads to the same sessions."""
    (tmp_path / "card").mkdir()
    (tmp_path / "today").symlink_to(tmp_path / "card")
    assert session(tmp_path / "card", NOW) == latest(tmp_path / "today")


def test_no_session_beside_the_captures(tmp_path: Path) -> None:
    """In the folder itself, below it, or by way of a detour."""
    for place in ("a.session", "sub/a.session", "sub/../a.session"):
        with pytest.raises(UsageError):
            check_place(tmp_path / place, tmp_path)
    check_place(tmp_path.parent / "a.session", tmp_path)


@pytest.mark.skipif(not Path("/proc/mounts").exists(), reason="what a folder is on can only be told on Linux")
def test_no_session_on_a_file_system_of_unknown_kind() -> None:
    """/proc stands for a network's: neither is a disk of this machine."""
    with pytest.raises(JournalError, match="not a disk of this machine"):
        check_place(Path("/proc/tetherwatch/a.session"), Path("/shoots"))
