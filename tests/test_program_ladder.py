"""Noise ladders through the real command: figures against the rehearsed truth, disturbances, bad series, profiles."""

import json
import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, datetime, timezone
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any

import numpy as np
import pytest
import tomli
from bad_files import HOSTILE_NAME
from benchmarks.ladder import KINDS
from browser import CHROMIUM, visit
from program import run

from tetherwatch.body.library import body_named, save_body
from tetherwatch.body.records import Grey
from tetherwatch.rehearse.camera import GREY_SHARE
from tetherwatch.rehearse.capture import TRUTH_FILE
from tetherwatch.rehearse.dng import write_dng
from tetherwatch.rehearse.ladder import CAMERA, Disturbance, LadderOptions, LadderTruth, rehearse_ladder
from tetherwatch.rehearse.scene import GREY

STARTED_AT = datetime(2026, 3, 14, 15, 9, 26, tzinfo=timezone.utc)
Event = dict[str, Any]
Done = CompletedProcess[str]
Run = Callable[..., Done]


def shot(folder: Path, camera: Any = CAMERA, **options: Any) -> list[LadderTruth]:
    """A small ladder, four rungs unless told otherwise."""
    folder.mkdir(exist_ok=True)
    chosen = LadderOptions(**{"megapixels": 0.3, "rungs": 4, "compressed": False, **options})
    truths = list(rehearse_ladder(folder, chosen, STARTED_AT, camera))
    (folder / TRUTH_FILE).unlink()
    return truths


def events(done: Done) -> Iterator[Event]:
    """The JSON lines of a run."""
    return map(json.loads, done.stdout.splitlines())


def true_snr(truth: LadderTruth, stops: float = 0.0) -> float:
    """Signal to temporal noise of a green pixel `stops` from mid-grey: mu / sqrt(mu + read^2 + q^2) (EMVA 1288)."""
    signal = GREY_SHARE * truth.saturation_e * 2.0**stops
    return signal / (signal + truth.read_noise_e**2 + 1 / 12 / truth.gain_dn_per_e**2) ** 0.5


@pytest.fixture
def bodies(tmp_path: Path) -> Path:
    """Where profiles would be written."""
    return tmp_path / "config" / "bodies"


@pytest.fixture
def ladder(bodies: Path) -> Run:
    """Run `tetherwatch ladder` with a config folder of its own."""

    def call(*words: str | Path) -> Done:
        return run("ladder", *words, env={**os.environ, "TETHERWATCH_CONFIG": str(bodies.parent), "COLUMNS": "80"})

    return call


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[LadderTruth]]:
    """A ladder without a fault, and its truth."""
    folder = tmp_path_factory.mktemp("clean")
    return folder, shot(folder, megapixels=1.5, rungs=8)


def test_figures_are_those_of_the_truth(clean: tuple[Path, list[LadderTruth]], ladder: Run) -> None:
    """Gain within 1 %, read noise within 3 %, signal to noise within 2 %, saturation within 1 %, and no warning."""
    folder, truths = clean
    done = ladder(folder, "--json")
    assert done.returncode == 0, done.stderr
    found = list(events(done))
    rungs = [event for event in found if event["event"] == "rung"]
    assert [event["iso"] for event in rungs] == [truth.settings.iso for truth in truths[::2]]
    for rung, truth in zip(rungs, truths[::2], strict=True):
        assert rung["gain_dn_per_e"] == pytest.approx(truth.gain_dn_per_e, rel=0.01)
        assert rung["read_noise_e"] == pytest.approx(truth.read_noise_e, rel=0.03)
        assert rung["snr_grey"] == pytest.approx(true_snr(truth), rel=0.02)
        assert rung["snr_shadow"] == pytest.approx(true_snr(truth, -3), rel=0.02)
        assert rung["saturation_e"] == pytest.approx(truth.saturation_e, rel=0.01)
        assert rung["warnings"] == []
        assert rung["frames"] == 2
    assert [event["event"] for event in found] == ["rung"] * 8 + ["ceiling"]


def test_the_ceiling_is_the_last_third_stop_that_keeps_the_grade(
    clean: tuple[Path, list[LadderTruth]], ladder: Run
) -> None:
    """By the truth, the grade holds at the ceiling and not a third-stop above it; a higher grade lowers it."""
    folder, truths = clean
    width = 1500  # pixels of the longer side, which a print of this many centimetres shows at 70 a centimetre
    ceilings = []
    for grade in (10, 40):
        *_, ceiling = events(ladder(folder, "--json", "--grade", str(grade), "--output", f"{width / 70:.2f}cm"))
        ceilings.append(ceiling["iso"])
        below, above = (_snr_at(truths, ceiling["iso"] * 2.0 ** (third / 3)) for third in (0, 1))
        assert below >= 0.98 * grade
        assert above < 1.02 * grade
        assert ceiling["interval"][0] <= ceiling["iso"] <= ceiling["interval"][1]
    assert ceilings[0] > ceilings[1]


def _snr_at(truths: list[LadderTruth], iso: float) -> float:
    """The truth's signal to noise at mid-grey at any ISO."""
    known = replace(truths[0], gain_dn_per_e=CAMERA.gain(iso), read_noise_e=CAMERA.read_noise_e(iso))
    return true_snr(replace(known, saturation_e=CAMERA.limit_e(iso)))


def test_the_table_fits_and_ends_with_the_ceiling(clean: tuple[Path, list[LadderTruth]], ladder: Run) -> None:
    """80 columns hold it; your own eye may set the ceiling, and the table says what that stands for."""
    done = ladder(clean[0], "--accept", "1600")
    assert done.returncode == 0, done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "CEILING ISO 1600" in done.stdout
    assert "S/N seen: grey" in done.stdout
    assert done.stderr == ""


def test_the_sheet_and_the_profile_are_written_where_asked(
    clean: tuple[Path, list[LadderTruth]], ladder: Run, bodies: Path, tmp_path: Path
) -> None:
    """The sheet opens quietly; the profile holds what was measured; captures and their folder stay as they were."""
    folder, truths = clean
    before = {path: path.stat().st_mtime_ns for path in folder.iterdir()}
    page = tmp_path / "ladder.html"
    done = ladder(folder, "--sheet", page, "--save", "q24")
    assert done.returncode == 0, done.stderr
    assert {path: path.stat().st_mtime_ns for path in folder.iterdir()} == before
    profile = tomli.loads((bodies / "q24.toml").read_text("utf-8"))
    assert (profile["camera"], profile["serial"]) == ("Harrow Q24", "HQ-204417")
    assert page.read_text("utf-8").count('width="240" height="240"') == 3 * len(truths) / 2
    if CHROMIUM is not None:
        seen = visit(page, tmp_path / "profile")
        assert (seen.console, seen.requests) == ((), ())


def test_a_profile_is_replaced_only_when_told_to(
    ladder: Run, bodies: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A name in use is refused before anything is measured; --replace says it was meant, and keeps the grey."""
    monkeypatch.setenv("TETHERWATCH_CONFIG", str(bodies.parent))
    folder = tmp_path / "two"
    shot(folder, rungs=3)
    assert ladder(folder, "--save", "mine").returncode == 0
    grey = Grey(0.121, date(2026, 3, 1))
    save_body(replace(body_named("mine"), grey=grey), replace=True)
    kept = (bodies / "mine.toml").read_bytes()
    refused = ladder(folder, "--save", "mine", "--accept", "200")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert refused.stderr == "there is a body profile mine already; choose another name, or add --replace\n"
    assert (bodies / "mine.toml").read_bytes() == kept
    assert ladder(folder, "--save", "mine", "--accept", "200", "--replace").returncode == 0
    body = body_named("mine")
    assert body.ceiling is not None
    assert (body.ceiling.iso, body.grey) == (200, grey)


@pytest.mark.parametrize(("disturbance", "kind"), [each for each in KINDS.items() if each[0] != "clipped"])
def test_each_disturbance_is_caught(tmp_path: Path, ladder: Run, disturbance: Disturbance, kind: str) -> None:
    """What went wrong is named at the middle rung and not below it."""
    rungs = 7 if disturbance == "flicker" else 5
    shot(tmp_path / "shot", disturbance=disturbance, rungs=rungs, megapixels=0.5)
    done = ladder(tmp_path / "shot", "--json")
    assert done.returncode == 0, done.stderr
    found = list(events(done))
    named = [event for event in found if event["event"] == "finding"]
    named += [warning for event in found if event["event"] == "rung" for warning in event["warnings"]]
    assert kind in {finding["kind"] for finding in named}
    assert all(finding["iso"] is None or finding["iso"] >= 400 for finding in named)


def bare(folder: Path) -> None:
    """Frames that say nothing of themselves."""
    grey, preview = np.full((3, 200, 300), GREY, np.float32), np.zeros((40, 60, 3), np.uint8)
    mosaic = CAMERA.expose(grey, 0.0, 100, np.random.default_rng(1))
    for name in "abcd":
        path = folder / f"{name}.DNG"
        write_dng(path, mosaic, black=CAMERA.black, white=CAMERA.white, compressed=False, preview=preview)


def two_cameras(folder: Path) -> None:
    """One ladder by each of two bodies."""
    shot(folder, rungs=2)
    shot(folder, replace(CAMERA, serial="HQ-000001"), rungs=2)


def mixed_sizes(folder: Path) -> None:
    """The upper rungs in another size."""
    shot(folder, rungs=2)
    other = folder.parent / "other"
    for truth in shot(other, rungs=4, megapixels=0.4)[4:]:
        (other / truth.file).rename(folder / f"LARGE_{truth.file}")


BAD: dict[str, tuple[Callable[[Path], object], str]] = {
    "one rung": (lambda folder: shot(folder, rungs=1), "two ISOs"),
    "two cameras": (two_cameras, "more than one camera"),
    "mixed sizes": (mixed_sizes, "different sizes"),
    "no metadata": (bare, "ISO"),
    "all clipped": (lambda folder: shot(folder, offset_stops=9.0), "clipped"),
    "empty": (lambda folder: None, "no captures"),
    "not captures": (lambda folder: (folder / "x.DNG").write_bytes(b"no picture"), "ISO"),
}


@pytest.mark.parametrize("what", BAD)
def test_a_series_that_allows_no_figures_is_refused_in_one_line(
    tmp_path: Path, ladder: Run, bodies: Path, what: str
) -> None:
    """One clear line on standard error, exit code 2, no sheet and no profile."""
    shoot, words = BAD[what]
    folder = tmp_path / "shot"
    folder.mkdir()
    shoot(folder)
    done = ladder(folder, "--save", "mine", "--sheet", tmp_path / "sheet.html")
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert words in done.stderr
    assert not bodies.exists()
    assert not (tmp_path / "sheet.html").exists()


def test_a_ladder_that_is_nowhere_good_enough_is_shown_but_has_no_ceiling(
    tmp_path: Path, ladder: Run, bodies: Path
) -> None:
    """The table and the sheet are there to look at; one line says why there is no ceiling; no profile."""
    shot(tmp_path / "shot", rungs=2)
    done = ladder(tmp_path / "shot", "--grade", "900", "--save", "mine", "--sheet", tmp_path / "sheet.html")
    assert done.returncode == 2
    assert "CEILING" not in done.stdout
    assert "2 rungs, 4 frames" in done.stdout
    assert "good enough" in done.stderr
    assert done.stderr.count("\n") == 1
    assert "good enough" in (tmp_path / "sheet.html").read_text("utf-8")
    assert not bodies.exists()


def test_jpegs_are_measured_and_called_what_they_are_but_make_no_profile(
    tmp_path: Path, ladder: Run, bodies: Path
) -> None:
    """Figures after the camera's processing are labelled; a profile is refused with one line."""
    shot(tmp_path / "shot", files="jpeg")
    done = ladder(tmp_path / "shot", "--save", "mine", "--sheet", tmp_path / "sheet.html")
    assert done.returncode == 2
    assert "after the camera's processing" in done.stdout
    assert "after the camera&#39;s processing" in (tmp_path / "sheet.html").read_text("utf-8")
    assert done.stderr.count("\n") == 1
    assert "no body profile" in done.stderr
    assert not bodies.exists()


def test_an_unreadable_frame_costs_itself_only(tmp_path: Path, ladder: Run) -> None:
    """It is named, the rest is measured, and the exit code says that something could not be read."""
    truths = shot(tmp_path / "shot")
    broken = tmp_path / "shot" / truths[4].file
    broken.write_bytes(broken.read_bytes()[:5000])
    done = ladder(tmp_path / "shot")
    assert done.returncode == 1
    assert f"! unreadable  {truths[4].file} was left out" in done.stdout
    assert "CEILING" in done.stdout


@pytest.mark.skipif(os.name == "nt", reason="such names and pipes do not exist there")
def test_what_lies_beside_the_ladder_is_named_safely_or_passed_over(tmp_path: Path, ladder: Run) -> None:
    """A file with escape codes in its name is told in plain text; folders, pipes and dead links are no captures."""
    folder = tmp_path / "shot"
    shot(folder)
    (folder / HOSTILE_NAME).write_bytes(b"no picture")
    (folder / "folder.dng").mkdir()
    os.mkfifo(folder / "pipe.dng")
    (folder / "link.dng").symlink_to(folder / "nowhere.dng")
    done = ladder(folder, "--sheet", tmp_path / "sheet.html")
    assert done.returncode in (0, 1), done.stderr
    assert "bad\\x1b[31m[red]\\x0a[b]" in "".join(done.stdout.splitlines())
    assert "\x1b[31m" not in done.stdout
    assert "pipe.dng" not in done.stdout + done.stderr
    assert "\x1b" not in (tmp_path / "sheet.html").read_text("utf-8")


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ([], "which folder holds the ladder?; name it, or see 'tetherwatch ladder --guide'"),
        (["nowhere"], "nowhere: this folder cannot be read (No such file or directory)"),
        ([".", "--sheet", "frame.DNG"], "frame.DNG is not named like a page; end the name in .html"),
        ([".", "--save", "../up"], "a body profile cannot be called '../up'"),
        ([".", "--replace"], "--replace has no effect without --save; add --save NAME"),
        ([".", "--output", "huge"], "Error: Invalid value for '--output': 'huge' is no size"),
        ([".", "--accept", "loud"], "Error: Invalid value for '--accept'"),
    ],
)
def test_wrong_use_is_answered_with_what_to_do(
    tmp_path: Path, ladder: Run, monkeypatch: pytest.MonkeyPatch, words: list[str], line: str
) -> None:
    """Nothing is measured; the last line says what is wrong and what to do."""
    monkeypatch.chdir(tmp_path)
    done = ladder(*words)
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1].startswith(line)
    assert list(tmp_path.iterdir()) == []


def test_the_guide_is_printed_without_a_folder(ladder: Run) -> None:
    """It says how to shoot a ladder and what to take care of."""
    done = ladder("--guide")
    assert done.returncode == 0
    assert "Double ISO, halve the time" in done.stdout
    assert "TAKE CARE" in done.stdout
