"""Predictions, landings and what-if through the real program."""

import json
from datetime import datetime, timezone
from pathlib import Path

import pytest
from program import Event, drop, is_frame, run, shoot, watching

from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.session import rehearse

MOVE: Event = {"kind": "brighter", "setting": "iso", "from": "100", "to": "250", "move_stops": 4 / 3}


def before_and_after(folder: Path) -> tuple[Path, Path]:
    """Two captures under one light, 1 1/3 stop too dark and then with the ISO moved from 100 to 250."""
    options = Options(frames=2, megapixels=0.2)
    when = datetime(2026, 3, 14, 15, 9, 26, tzinfo=timezone.utc)
    first, second = [truth.file for truth in rehearse(folder, options, when, lambda _: MOVE)]
    return folder / first, folder / second


def read(*words: str | Path) -> list[Event]:
    """The events of `read --json` by the grey-card plan."""
    done = run("read", *words, "--json", "--plan", "window-card")
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_a_what_if_comes_true(tmp_path: Path) -> None:
    """What --try says of one capture is what the next one, shot that way, reads."""
    first, there = before_and_after(tmp_path)
    tried = read(first, "--try", "iso=250")[-1]
    frame = read(there)[0]
    assert (tried["event"], tried["try"]["iso"]["to"]) == ("tried", "250")
    assert tried["predicted"]["offset_stops"] == pytest.approx(frame["reading"]["offset_stops"], abs=0.03)
    by_channel = tried["predicted"]["clipped_percent_by_channel"]
    for channel, percent in frame["reading"]["clipped_percent"].items():
        assert by_channel[channel] == pytest.approx(percent, abs=0.1)


def test_tries_add_up_and_are_told_in_plain_words(tmp_path: Path) -> None:
    """Several --try are one outcome, in a line under the frame's."""
    file = tmp_path / shoot(tmp_path)[0].file
    done = run("read", file, "--try", "iso=250", "--try", "light=-0.5", "--plan", "window-card")
    assert done.returncode == 0
    (line,) = [line for line in done.stdout.splitlines() if "try ISO 250 (+1.33 stops), light -0.50 stops: " in line]
    assert "-0.50 stops ±" in line and "outside the tolerance" in line


@pytest.mark.parametrize("words", ["iso=loud", "shutter", "light=1"])
def test_wrong_words_are_refused_before_anything_is_read(words: str, tmp_path: Path) -> None:
    """One line with the right spelling, exit code 2."""
    done = run("read", tmp_path / "missing.dng", "--try", words)
    assert (done.returncode, done.stdout) == (2, "")
    assert "write iso=800" in done.stderr and "Traceback" not in done.stderr


def test_a_followed_call_lands(tmp_path: Path) -> None:
    """The frame shot as called is told with its landing, right after its own event."""
    shelf, captures = tmp_path / "shelf", tmp_path / "captures"
    shelf.mkdir()
    captures.mkdir()
    first, there = before_and_after(shelf)
    with watching(captures) as watch:
        drop(first, captures / "A.DNG")
        call = watch.until(is_frame("A.DNG"))[-1]["call"]
        assert (call["setting"], call["to"]) == ("iso", "250")
        drop(there, captures / "B.DNG")
        frame, landed = watch.until(lambda event: event["event"] == "landed")[-2:]
        assert watch.end() == 0
    assert (frame["file"], landed["file"], landed["setting"]) == ("B.DNG", "B.DNG", "iso")
    assert landed["offset_stops"] == frame["reading"]["offset_stops"]
    assert landed["predicted_offset_stops"] == call["predicted"]["offset_stops"]
    assert abs(landed["error_stops"]) < 0.05
