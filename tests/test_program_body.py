"""Body profiles from end to end: made from a grey card, found by watch and read, broken, shown."""

import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import pytest
from body_records import BODY
from program import drop, is_frame, run, shoot, watching

from tetherwatch.body.library import body_named, save_body
from tetherwatch.body.records import Noise
from tetherwatch.cli.options import complete_body

CARD = replace(BODY, noise=tuple(Noise(n.iso, n.gain_dn_per_e, n.read_noise_e, {"g": 15_871.0}) for n in BODY.noise))
"""The profile of the simulated camera, whose green ends 15,871 codes above black."""


@pytest.fixture(autouse=True)
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Profiles of this test alone."""
    monkeypatch.setenv("TETHERWATCH_CONFIG", str(tmp_path / "config"))
    return tmp_path / "config" / "bodies"


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A frame of the simulated camera with its card 1 1/3 stop below 10/78."""
    folder = tmp_path_factory.mktemp("card")
    yield folder / shoot(folder)[0].file


def events(*words: str | Path) -> list[dict[str, Any]]:
    """What `read --json` prints."""
    result = run("read", *words, "--json", "--plan", "window-card")
    assert (result.returncode, result.stderr) == (0, "")
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_watch_finds_the_body_at_the_first_capture(card: Path, captures: Path) -> None:
    """Started before any capture is there, it says whose ceiling counts once one lands, and calls under it."""
    save_body(CARD)
    with watching(captures) as watch:
        drop(card, captures / card.name)
        found = watch.until(lambda event: is_frame(card.name)(event) and not event["reading"]["provisional"])
        assert watch.end() == 0
    (told,) = [event for event in found if event["event"] == "warning"]
    frame = found[-1]
    assert (told["kind"], told["file"]) == ("body", card.name)
    assert told["reason"] == "body profile harrow-q24, by camera and serial: ceiling ISO 6400"
    assert frame["reading"]["body"] == "harrow-q24"
    assert (frame["call"]["setting"], frame["call"]["to"]) == ("iso", "250")
    expected = CARD.grey_snr(100 * 2 ** (4 / 3))
    assert frame["call"]["predicted"]["grey_snr"] == pytest.approx(expected, abs=0.1)


def test_a_session_keeps_its_body_when_the_profile_has_gone(card: Path, captures: Path, config: Path) -> None:
    """The next start goes on under the ceiling of the body it knew, and says so before any capture."""
    save_body(CARD)
    drop(card, captures / card.name)
    assert run("watch", captures, "--headless", "--from-start", "--frames", "1").returncode == 0
    shutil.rmtree(config)
    with watching(captures) as watch:
        first = json.loads(watch.raw[0])
    assert first["reason"] == "the noise ceiling, ISO 6400, is that of body profile harrow-q24"


def test_a_named_body_counts_from_the_start(captures: Path, card: Path, tmp_path: Path) -> None:
    """--body takes a name or a file, before any capture and above what is found; a user's ceiling stays above both."""
    path = save_body(replace(CARD, name="mine"))
    elsewhere = shutil.copy(path, tmp_path / "studio.toml")
    with watching(captures, "--body", str(elsewhere)) as watch:
        assert "ISO 6400, is that of body profile studio" in json.loads(watch.raw[0])["reason"]
    told, frame = events(card, "--body", "mine", "--ceiling", "1600")
    assert told["reason"] == "body profile mine, as chosen: your ceiling, ISO 1600, stays"
    assert frame["reading"]["body"] == "mine"


def test_a_broken_profile_is_one_line_and_the_shoot_goes_on(captures: Path, card: Path, config: Path) -> None:
    """Found in the library it is told and left aside, the exit code is that of the captures; named, it is refused."""
    config.mkdir(parents=True)
    (config / "bad.toml").write_text('camera = "Harrow Q24"\n[ceiling]\niso = "high"\nbetween = [100]\nfound = ""\n')
    drop(card, captures / card.name)
    result = run("watch", captures, "--headless", "--from-start", "--frames", "1")
    found = [json.loads(line) for line in result.stdout.splitlines()]
    (problem,) = [event for event in found if event["event"] == "problem"]
    assert "bad.toml" in problem["file"] and "line 3, ceiling.iso: " in problem["problem"]
    (frame,) = [event for event in found if event["event"] == "frame"]
    assert (result.returncode, frame["reading"]["body"]) == (0, None)
    refused = run("watch", captures, "--headless", "--body", "bad")
    assert refused.returncode == 2
    assert "3 mistakes" in refused.stderr and "Traceback" not in refused.stderr
    assert run("read", card, "--plan", "window-card").stdout.count("bad.toml") == 1


def test_a_grey_card_moves_mid_grey_to_where_the_meter_put_it(card: Path) -> None:
    """The first frame begins the profile, later ones find it; a frame of the same card then reads right."""
    before = events(card)[-1]["reading"]["offset_stops"]
    assert before == pytest.approx(-4 / 3, abs=0.03)
    begun = run("body", "grey", card, "--body", "q24")
    assert begun.returncode == 0 and "1.33 stops below" in begun.stdout
    grey = body_named("q24").grey
    assert grey is not None and grey.stops == pytest.approx(before, abs=1e-4)
    assert events(card)[-1]["reading"]["offset_stops"] == pytest.approx(0.0, abs=1e-4)
    again = run("body", "grey", card)
    assert again.returncode == 0
    assert body_named("q24").grey == grey


def test_a_grey_keeps_the_rest_of_a_profile(card: Path) -> None:
    """Noise, ceiling and serial of a measured body stay as they were."""
    save_body(CARD)
    assert run("body", "grey", card, "--box", "0.4,0.4,0.6,0.6").returncode == 0
    assert replace(body_named("harrow-q24"), grey=None) == CARD


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "no profile of this camera (Harrow Q24); name the one"),
        (["--body", "halden"], "body profile halden is of another camera"),
        (["--body", "No Name"], "cannot be called"),
        (["--body", "bad"], "bad.toml: 1 mistake"),
        (["--box", "0.6,0.4,0.4,0.6"], "the box has no area"),
        (["--box", "middle"], "left,top,right,bottom"),
    ],
)
def test_a_grey_that_cannot_be_kept_is_said(card: Path, config: Path, words: list[str], told: str) -> None:
    """Each answer says what is wrong; profiles, broken ones too, stay as they were."""
    save_body(replace(BODY, name="halden", camera="Halden K2"))
    (config / "bad.toml").write_text("camera = 5\n")
    before = {path.name: path.read_bytes() for path in config.iterdir()}
    result = run("body", "grey", card, *words)
    assert result.returncode == 2
    assert told in result.stderr and "Traceback" not in result.stderr
    assert {path.name: path.read_bytes() for path in config.iterdir()} == before


def test_a_frame_that_is_no_grey_card_in_raw_is_refused(tmp_path: Path, config: Path) -> None:
    """A JPEG, something that is no capture, a file that is not there: one line, and nothing is written."""
    shoot(tmp_path, files="jpeg")
    (tmp_path / "no.dng").write_bytes(b"no capture")
    for name, told in (("RHS_0001.JPG", "no raw data"), ("no.dng", "no.dng"), ("gone.dng", "gone.dng")):
        result = run("body", "grey", tmp_path / name, "--body", "q24")
        assert result.returncode == 2
        assert told in result.stderr and result.stderr.count("\n") == 1
    assert not config.exists()


def test_profiles_are_listed_and_shown(config: Path) -> None:
    """The list names cameras and ceilings, and the mistakes of broken files; one is shown in words and as its text."""
    assert "no body profile yet" in run("body", "list").stdout
    save_body(BODY)
    listed = run("body", "list")
    assert (listed.returncode, listed.stdout) == (0, "harrow-q24  Harrow Q24 HQ-204417, ceiling ISO 6400\n")
    shown = run("body", "show", "harrow-q24").stdout
    assert "ceiling   ISO 6400 (5000 to 6400): the shadows end it" in shown
    assert "ISO 100   0.25 DN/e, read noise 5.00 e, grey SNR" in shown
    assert 'camera = "Harrow Q24"' in shown
    (config / "bad.toml").write_text("camera = 5\n")
    broken = run("body", "list")
    assert broken.returncode == 2
    assert "line 1, camera" in broken.stderr and "harrow-q24" in broken.stdout


def test_completion_offers_the_profiles() -> None:
    """Names that begin so, then files."""
    save_body(BODY)
    context, option = click.Context(click.Command("x")), click.Option(["--body"])
    assert [item.value for item in complete_body(context, option, "ha")] == ["harrow-q24", "ha"]
    assert [item.type for item in complete_body(context, option, "z")] == ["file"]
