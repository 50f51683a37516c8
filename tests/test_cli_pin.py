"""`tetherwatch pin` and `watch --setup`, on a real session."""

import os
from pathlib import Path

import pytest
from program import run, shoot

from tetherwatch.session.journal import Journal
from tetherwatch.session.recall import recall
from tetherwatch.session.records import Past


@pytest.fixture
def session(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Path]:
    """A session file of three captures, and their folder; the setup has a name."""
    monkeypatch.setenv("TETHERWATCH_DATA", str(tmp_path / "data"))
    folder, path = tmp_path / "captures", tmp_path / "a.session"
    folder.mkdir()
    shoot(folder, frames=3)
    words = ("--from-start", "--frames", "3", "--plan", "window-card", "--setup", "Key left", "--session", path)
    done = run("watch", folder, *words, env=dict(os.environ))
    assert done.returncode == 0, done.stderr
    return path, folder


def past(path: Path, folder: Path) -> Past:
    """What the file holds."""
    journal = Journal.open(path, folder, lambda: 0.0)
    try:
        return recall(journal).past
    finally:
        journal.close()


def test_a_frame_is_pinned_and_the_pin_is_taken_away(session: tuple[Path, Path]) -> None:
    """The newest one unless another is named; in its setup, by its name."""
    path, folder = session
    # Numbers follow the reading, and with two workers a later capture may be read before an earlier one.
    first, *_, newest = (frame.number for frame in past(path, folder).frames)
    done = run("pin", path, str(first))
    assert (done.returncode, done.stdout) == (0, f"frame {first} is pinned in Key left\n")
    assert [pin.frame for pin in past(path, folder).pins.values()] == [first]
    assert run("pin", path).stdout == f"frame {newest} is pinned in Key left\n"
    assert run("pin", path, "--remove").stdout == "nothing is pinned in Key left now\n"
    assert past(path, folder).pins == {}


def test_a_frame_that_is_not_there_is_said(session: tuple[Path, Path]) -> None:
    """With what there is."""
    done = run("pin", session[0], "9")
    assert done.returncode == 2
    assert "there is no frame 9; the session has 3" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_session_that_is_not_there_is_said(tmp_path: Path) -> None:
    """As in other commands."""
    done = run("pin", tmp_path / "none")
    assert done.returncode == 2
    assert "there is no session" in done.stderr
