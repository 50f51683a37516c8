"""`tetherwatch report` and `tetherwatch sessions`, as a user runs them."""

import csv
import json
import os
import sys
import time
from pathlib import Path

import pytest
from journal_records import program
from program import is_frame, run, shoot, watching
from report_records import BRIGHTER, MISFIRE, frame, keep

from tetherwatch.session.places import new_path


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Sessions of this test only."""
    monkeypatch.setenv("TETHERWATCH_DATA", str(tmp_path / "data"))
    return tmp_path / "data" / "sessions"


def kept(folder: Path, age_days: float = 0.0) -> Path:
    """A session of a folder that was last written to so long ago."""
    at = time.time() - age_days * 86400
    path = new_path(folder, at)
    folder.mkdir(exist_ok=True)
    for name in ("F_0001.DNG", "F_0002.DNG", "F_0003.DNG"):
        (folder / name).write_bytes(b"a capture")
    frames = [frame(1, -1.0, BRIGHTER), frame(2, -5.0, MISFIRE), frame(3, clipped=2.0)]
    keep(path, folder, [frame(each.number, each.reading.offset_stops, each.call, folder=folder,
                              clipped=each.reading.area_clipped_percent) for each in frames])  # fmt: skip
    os.utime(path, (at, at))
    return path


def test_a_watched_folder_is_reported_while_it_is_watched(tmp_path: Path, data: Path) -> None:
    """Page, CSV and JSON of the session that is under way; sessions list says that it is."""
    folder = tmp_path / "captures"
    folder.mkdir()
    with watching(folder) as watch:
        shoot(folder, frames=2)
        watch.until(is_frame("RHS_0002.DNG"))
        done = run(
            "report", folder, "-o", tmp_path / "a.html", "--csv", tmp_path / "a.csv", "--json", tmp_path / "a.json"
        )
        listed = run("sessions", "list")
        pruned = run("sessions", "prune", "1", "--yes")
        assert watch.end() == 0
    assert (done.returncode, done.stderr) == (0, "")
    assert "2 frames" in done.stdout and "written: " in done.stdout
    assert (tmp_path / "a.html").read_text("utf-8").count('<tr id="frame-') == 2
    with (tmp_path / "a.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [line["file"] for line in csv.DictReader(file)] == ["RHS_0001.DNG", "RHS_0002.DNG"]
    assert len(json.loads((tmp_path / "a.json").read_bytes())["frames"]) == 2
    assert "2 frames" in listed.stdout and "being recorded" in listed.stdout and "1 session in" in listed.stdout
    assert "being recorded: kept" in pruned.stdout and "nothing to remove" in pruned.stdout
    assert "being recorded" not in run("sessions", "list").stdout


def test_without_options_a_page_is_written_here(tmp_path: Path, data: Path) -> None:
    """It is named like the session, and nothing is written beside the captures."""
    folder = tmp_path / "captures"
    path = kept(folder)
    before = sorted(folder.iterdir())
    done = run("report", "1", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / f"{path.stem}.html").is_file() and sorted(folder.iterdir()) == before
    assert "1 misfire, 1 frame clipped" in done.stdout


def test_sidecars_are_written_on_request_only(tmp_path: Path, data: Path) -> None:
    """Those that are there are named and left."""
    folder = tmp_path / "captures"
    kept(folder)
    (folder / "F_0003.xmp").write_text("mine")
    done = run("report", folder, "--sidecar", cwd=tmp_path)
    assert done.returncode == 0 and not list(tmp_path.glob("*.html"))
    assert "F_0003.xmp: there already" in done.stdout
    assert "1 sidecar written beside the captures" in done.stdout
    assert (folder / "F_0003.xmp").read_text() == "mine" and "Misfire" in (folder / "F_0002.xmp").read_text("utf-8")
    assert not (folder / "F_0001.xmp").exists()


@pytest.mark.skipif(sys.platform == "win32" or not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write")
def test_sidecars_that_cannot_be_written_are_said(tmp_path: Path, data: Path) -> None:
    """Exit code 1."""
    folder = tmp_path / "captures"
    kept(folder)
    folder.chmod(0o500)
    done = run("report", folder, "--sidecar", cwd=tmp_path)
    folder.chmod(0o700)
    assert done.returncode == 1 and "not writable" in done.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("report", "none"), "there is no session none"),
        (("report", __file__), "cannot be read"),
        (("report", "1", "-o", "a.DNG"), "end the name in .html"),
        (("report", "1", "--csv", "none/a.csv"), "cannot be written"),
        (("sessions", "show", "none"), "there is no session none"),
        (("sessions", "export", "1", "."), "is a directory"),
        (("sessions", "prune"), "say which sessions to remove"),
        (("sessions", "prune", "1", "--older", "3"), "say which sessions to remove"),
        (("sessions", "prune", "none", "--yes"), "there is no session none"),
    ],
)
def test_wrong_use_is_answered_in_a_line(tmp_path: Path, data: Path, words: tuple[str, ...], said: str) -> None:
    """Exit code 2, the reason, no traceback, and the session is still there."""
    path = kept(tmp_path / "captures")
    done = run(*words, cwd=tmp_path)
    assert done.returncode == 2 and said in done.stderr and "Traceback" not in done.stderr
    assert path.exists()


def test_a_session_is_shown_and_exported(tmp_path: Path, data: Path) -> None:
    """In words, and as one file that can be reported anywhere; a second time it takes nothing's place."""
    kept(tmp_path / "captures")
    shown = run("sessions", "show", "1")
    assert shown.returncode == 0 and "3 frames" in shown.stdout and "plan: Window" in shown.stdout
    for code in (0, 2):
        assert run("sessions", "export", "1", tmp_path / "copy.session").returncode == code
    assert run("sessions", "show", tmp_path / "copy.session").stdout.splitlines()[1:] == shown.stdout.splitlines()[1:]


def test_old_sessions_are_pruned_when_that_is_confirmed(tmp_path: Path, data: Path) -> None:
    """Asked first; only what is old enough, with sizes; never what is being recorded."""
    old, older, new = kept(tmp_path / "a", 40), kept(tmp_path / "b", 90), kept(tmp_path / "c", 1)
    no = run("sessions", "prune", "--older", "30", input="n\n")
    assert no.returncode == 0 and "remove 2 sessions" in no.stdout and "nothing was removed" in no.stdout
    with program(older, tmp_path / "b"):
        os.utime(older, (0, 0))
        yes = run("sessions", "prune", "--older", "30", input="y\n")
    assert "removed: 1 session, " in yes.stdout and "being recorded: kept" in yes.stdout
    assert [path.exists() for path in (old, older, new)] == [False, True, True]
    assert "nothing to remove" in run("sessions", "prune", "--older", "365", "--yes").stdout


def test_sessions_are_pruned_by_name_without_asking(tmp_path: Path, data: Path) -> None:
    """With --yes; the captures stay."""
    one, other = kept(tmp_path / "a"), kept(tmp_path / "b")
    done = run("sessions", "prune", one.stem, one.name, "--yes")
    assert done.returncode == 0 and "removed: 1 session" in done.stdout
    assert not one.exists() and other.exists() and (tmp_path / "a" / "F_0001.DNG").exists()
    assert not list(data.glob(f"{one.name}*"))


def test_a_damaged_session_is_listed_as_such(tmp_path: Path, data: Path) -> None:
    """Listing goes on, and it can be pruned."""
    path = kept(tmp_path / "a")
    path.write_bytes(b"x" * 5000)
    done = run("sessions", "list")
    assert done.returncode == 0 and "cannot be read" in done.stdout
    assert run("sessions", "prune", "1", "--yes").returncode == 0 and not path.exists()
