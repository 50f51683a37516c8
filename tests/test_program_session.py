"""Sessions from end to end: killed, resumed, refused. Every complete capture is in the journal exactly once."""

import os
import random
import sqlite3
import time
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from program import drop, is_frame, run, shoot, wait_for, watching

KILLS = int(os.environ.get("TETHERWATCH_TEST_KILLS", "30"))
"""Kills in one session; more take longer and find more."""


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """Where the session is kept."""
    return tmp_path / "data" / "a.session"


def rows(session: Path, query: str) -> list[Any]:
    """What a session holds."""
    with closing(sqlite3.connect(f"{session.as_uri()}?mode=ro", uri=True)) as db:
        return db.execute(query).fetchall()


def names(session: Path) -> list[str]:
    """The captures that are frames, once for each."""
    return [name for (name,) in rows(session, "SELECT path FROM frames JOIN captures ON captures.id = capture")]


def content_of(original: Path, number: int) -> bytes:
    """A capture like the original with content of its own."""
    return original.read_bytes() + number.to_bytes(4, "big")


@pytest.mark.timeout(60 + 12 * KILLS)
def test_a_watch_killed_at_any_moment_loses_and_doubles_nothing(shelf: Path, captures: Path, session: Path) -> None:
    """Captures land all the while, also while the program is down."""
    dice = random.Random(5)
    original = shelf / shoot(shelf)[0].file
    landed = 0

    def land(count: int) -> None:
        nonlocal landed
        for _ in range(count):
            landed += 1
            made = shelf / "made"
            made.write_bytes(content_of(original, landed))
            drop(made, captures / f"C{landed:04}.DNG")

    for _ in range(KILLS):
        with watching(captures, "--session", str(session)) as watch:
            land(12)
            time.sleep(dice.uniform(0.0, 2.5))  # any moment is the point
            watch.process.kill()
            watch.process.wait()
        land(1)
    with watching(captures, "--session", str(session)):
        while (kept := len(set(names(session)))) < landed:
            wait_for(lambda kept=kept: len(set(names(session))) > kept, "another capture in the journal")
    assert sorted(names(session)) == [f"C{number:04}.DNG" for number in range(1, landed + 1)]
    numbers = [number for (number,) in rows(session, "SELECT number FROM frames ORDER BY number")]
    assert numbers == list(range(1, landed + 1))
    assert rows(session, "PRAGMA integrity_check") == [("ok",)]
    assert rows(session, "SELECT path FROM problems") == []


def test_the_next_start_says_what_happened(shelf: Path, captures: Path, session: Path) -> None:
    """After a kill that it ended unexpectedly, after a proper end only that it goes on."""
    truth = shoot(shelf)[0]
    with watching(captures, "--session", str(session)) as watch:
        drop(shelf / truth.file, captures / truth.file)
        watch.until(is_frame(truth.file))
    with watching(captures, "--session", str(session)) as watch:
        problem = watch.until(lambda event: event["event"] == "problem")[-1]
        assert watch.end() == 0
    assert problem["file"] == str(session)
    assert "ended unexpectedly" in problem["problem"]
    assert problem["advice"] == "1 frame kept; what came since is read now"
    with watching(captures, "--session", str(session)) as watch:
        told = watch.until(lambda event: event["event"] == "warning" and event["kind"] == "session")[-1]
    assert "a session of 1 frame" in told["reason"]


def test_a_session_goes_on_by_itself_within_a_day_unless_a_new_one_is_asked_for(
    shelf: Path, captures: Path, tmp_path: Path
) -> None:
    """Numbers go on; what was skipped at first is skipped for good; a new session begins at 1."""
    first, second, third = (truth.file for truth in shoot(shelf, frames=3))
    drop(shelf / first, captures / "OLD.DNG")
    with watching(captures) as watch:
        drop(shelf / second, captures / "A.DNG")
        assert watch.until(is_frame("A.DNG"))[-1]["number"] == 1
        assert watch.end() == 0
    drop(shelf / third, captures / "B.DNG")
    with watching(captures) as watch:
        frames = [event for event in watch.until(is_frame("B.DNG")) if event["event"] == "frame"]
        assert [(frame["file"], frame["number"]) for frame in frames] == [("B.DNG", 2)]
        assert watch.end() == 0
    done = run("watch", captures, "--new", "--from-start", "--headless", "--frames", "3")
    assert done.returncode == 0
    assert '"number": 1,' in done.stdout


def test_a_second_watch_on_the_same_session_is_refused(captures: Path, session: Path) -> None:
    """With what to do, and without harm to the first."""
    with watching(captures, "--session", str(session)) as watch:
        refused = run("watch", captures, "--headless", "--session", session)
        assert watch.end() == 0
    assert refused.returncode == 2
    assert "is being recorded by another tetherwatch" in refused.stderr
    assert "--new" in refused.stderr
    assert refused.stdout == ""


def test_a_session_beside_the_captures_is_refused(captures: Path) -> None:
    """And nothing is written there."""
    refused = run("watch", captures, "--headless", "--session", captures / "a.session")
    assert refused.returncode == 2
    assert "never kept beside the captures" in refused.stderr
    assert list(captures.iterdir()) == []


@pytest.mark.parametrize("words", [["--resume"], ["--session", "{data}/text"], ["--session", "{data}/text/a"]])
def test_a_session_that_cannot_be_used_is_one_line(captures: Path, tmp_path: Path, words: list[str]) -> None:
    """No session yet, a file that is something else, a file in the place of a folder."""
    (tmp_path / "text").write_text("Dear Ines, " * 400)
    refused = run("watch", captures, "--headless", *(word.format(data=tmp_path) for word in words))
    assert refused.returncode == 2
    assert len(refused.stderr.splitlines()) == 1
    assert "Traceback" not in refused.stderr
    assert (tmp_path / "text").read_text().startswith("Dear Ines")


def test_without_a_place_to_write_the_shoot_goes_on(shelf: Path, captures: Path, tmp_path: Path) -> None:
    """It is said that nothing is recorded, and frames come out."""
    (tmp_path / "data").write_text("a file in the place of the data folder")
    shoot(captures)
    environment = os.environ | {"TETHERWATCH_DATA": str(tmp_path / "data")}
    done = run("watch", captures, "--headless", "--from-start", "--frames", "1", env=environment)
    assert done.returncode == 0
    assert "this session is not recorded" in done.stdout
    assert '"number": 1,' in done.stdout


def test_a_plan_goes_on_with_its_session(captures: Path, session: Path, tmp_path: Path) -> None:
    """Even if its file is gone; another plan may be named."""
    plan = tmp_path / "mine.toml"
    plan.write_text(run("plan", "show", "window-card").stdout)
    assert run("plan", "check", plan).returncode == 0
    with watching(captures, "--session", str(session), "--plan", str(plan)) as watch:
        assert watch.end() == 0
    plan.unlink()
    shoot(captures)
    done = run("watch", captures, "--session", session, "--frames", "1")
    assert done.returncode == 0
    assert "card" in rows(session, "SELECT area FROM frames")[0]
    other = run("watch", captures, "--session", session, "--plan", "nowhere.toml")
    assert other.returncode == 2


def test_nothing_is_left_in_the_folder_of_the_captures(shelf: Path, captures: Path) -> None:
    """Not even while the program runs."""
    truth = shoot(shelf)[0]
    with watching(captures) as watch:
        drop(shelf / truth.file, captures / truth.file)
        watch.until(is_frame(truth.file))
        assert [path.name for path in captures.iterdir()] == [truth.file]
