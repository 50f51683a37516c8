"""What `doctor` finds, on a machine that is well and on one that is not."""

import os
import sqlite3
from pathlib import Path

import pytest
from body_records import BODY
from program import run

from tetherwatch.body.library import save_body


def lines(data: Path, *words: str | Path) -> tuple[int, dict[str, str]]:
    """The exit code and what was found, by subject, with sessions kept under `data`."""
    result = run("doctor", *words, env={**os.environ, "TETHERWATCH_DATA": str(data)})
    assert result.stderr == ""
    return result.returncode, {line[4:14].strip(): line for line in result.stdout.splitlines()}


def test_what_is_well_is_named_with_its_version(tmp_path: Path) -> None:
    """Program, packages, decoders, workers, the place of sessions and the folder; nothing is left to do."""
    code, found = lines(tmp_path / "data", tmp_path)
    assert code == 0, found
    assert all(line.startswith("ok ") for line in found.values())
    assert sqlite3.sqlite_version in found["sessions"]
    assert str(tmp_path / "data") in found["sessions"]
    assert "LibRaw" in found["decoders"]
    assert "starts and answers" in found["workers"]
    assert "0 captures" in found["folder"]


def test_body_profiles_are_named_and_broken_ones_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each with its camera and ceiling; one that cannot be read needs something done. Without any, how to get one."""
    monkeypatch.setenv("TETHERWATCH_CONFIG", str(tmp_path))
    assert "ladder --guide" in lines(tmp_path / "data")[1]["bodies"]
    folder = save_body(BODY).parent
    code, found = lines(tmp_path / "data")
    assert code == 0
    assert "harrow-q24 (Harrow Q24 HQ-204417, ceiling ISO 6400)" in found["bodies"]
    (folder / "bad.toml").write_text("camera = 5\n")
    result = run("doctor")
    assert result.returncode == 2
    assert "tetherwatch body show bad" in result.stdout


def test_what_is_not_well_comes_with_advice(tmp_path: Path) -> None:
    """A folder that is not there and a place that cannot be written to: exit code 2 and what to do, no traceback."""
    (tmp_path / "file").write_text("")
    code, found = lines(tmp_path / "file", tmp_path / "nowhere")
    assert code == 2
    wrong = {subject for subject, line in found.items() if line.startswith("!! ")}
    assert wrong == {"sessions", "folder"}
    assert "--session" in found["sessions"]
    assert "name the folder" in found["folder"]
