"""Rehearsed noise ladders: real files whose noise, light and faults are those of their truth."""

import json
import math
from dataclasses import replace
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rawpy
from numpy.typing import NDArray
from program import run

from tetherwatch.errors import UsageError
from tetherwatch.frame.metadata import read_metadata
from tetherwatch.rehearse.camera import GREY_SHARE
from tetherwatch.rehearse.capture import TRUTH_FILE
from tetherwatch.rehearse.ladder import CAMERA, LadderOptions, LadderTruth, rehearse_ladder
from tetherwatch.rehearse.scene import CARD, GREY, inside
from tetherwatch.rehearse.still import DARK_TWEED, PRINT, TWEED, WEDGE, set_table

STARTED_AT = datetime(2026, 3, 14, 15, 9, 26, tzinfo=timezone.utc)


def played(folder: Path, **options: Any) -> list[LadderTruth]:
    """A ladder of small pictures with four rungs unless told otherwise."""
    chosen = LadderOptions(**{"megapixels": 0.15, "rungs": 4, **options})
    return list(rehearse_ladder(folder, chosen, STARTED_AT))


def greens(path: Path) -> NDArray[np.float64]:
    """The first green pixel of each cell, black subtracted."""
    with rawpy.imread(str(path)) as raw:
        return raw.raw_image_visible[0::2, 1::2].astype(float) - CAMERA.black


def card(path: Path) -> NDArray[np.float64]:
    """The green pixels of the grey card."""
    pixels = greens(path)
    return pixels[inside(CARD, *pixels.shape)]


def card_stops(path: Path) -> float:
    """The grey card against mid-grey."""
    return math.log2(card(path).mean() / (CAMERA.white - CAMERA.black) / GREY_SHARE)


def test_the_still_life_has_dark_bright_and_detailed_parts() -> None:
    """The wedge spans nine stops, the card is grey, cloths keep their mean and vary, print is ink on paper."""
    cells = set_table(400, 600)
    steps = [cells[(slice(None), *inside(patch, 400, 600))].mean() for patch in WEDGE]
    assert np.log2(steps[0] / np.array(steps)) == pytest.approx(range(10), abs=0.01)
    assert np.all(cells[(slice(None), *inside(CARD, 400, 600))] == np.float32(GREY))
    for patch in (TWEED, DARK_TWEED):
        cloth = cells[(1, *inside(patch, 400, 600))]
        assert cloth.mean() == pytest.approx(patch.colour[1], rel=0.05)
        assert cloth.std() > 0.05 * cloth.mean()
        assert cloth.min() > 0
    assert set(np.unique(cells[(1, *inside(PRINT, 400, 600))])) == {np.float32(0.05), np.float32(0.75)}


def test_each_rung_doubles_iso_and_halves_time(tmp_path: Path) -> None:
    """Files carry ISO 100, 200, ... and 1/8, 1/15, ...; the card stays on mid-grey; two frames a rung."""
    truths = played(tmp_path)
    assert [(truth.rung, truth.settings.iso) for truth in truths[::2]] == [(1, 100), (2, 200), (3, 400), (4, 800)]
    assert [truth.rung for truth in truths[::2]] == [truth.rung for truth in truths[1::2]]
    for truth in truths:
        said = read_metadata(tmp_path / truth.file).settings
        assert said.iso == truth.settings.iso
        assert said.shutter_s == pytest.approx(truth.settings.shutter_s, rel=0.07)
        assert card_stops(tmp_path / truth.file) == pytest.approx(0, abs=0.02)


def test_truth_is_written_before_each_capture(tmp_path: Path) -> None:
    """`truth.jsonl` has a line for each file, with what the camera is made of."""
    truths = played(tmp_path, frames=1)
    lines = [json.loads(line) for line in (tmp_path / TRUTH_FILE).read_text(encoding="utf-8").splitlines()]
    assert [line["file"] for line in lines] == [truth.file for truth in truths]
    assert lines[2]["gain_dn_per_e"] == pytest.approx(CAMERA.gain(400))
    assert lines[2]["read_noise_e"] == pytest.approx(CAMERA.read_noise_e(400))
    assert lines[2]["saturation_e"] == pytest.approx(CAMERA.full_well_e / 4)
    assert lines[2]["prnu"] == CAMERA.prnu


def test_noise_of_pairs_and_of_single_frames_is_that_of_the_truth(tmp_path: Path) -> None:
    """Pairs show photon and read noise; a single frame shows the fixed pattern as well (EMVA 1288)."""
    camera = replace(CAMERA, prnu=0.02)
    options = LadderOptions(megapixels=2.0, rungs=1)
    first, second = rehearse_ladder(tmp_path, options, STARTED_AT, camera)
    a, b = card(tmp_path / first.file), card(tmp_path / second.file)
    gain, noise, signal = first.gain_dn_per_e, first.read_noise_e, a.mean()
    temporal = gain * signal + (gain * noise) ** 2 + 1 / 12
    assert (a - b).var() / 2 == pytest.approx(temporal, rel=0.03)
    assert a.var() == pytest.approx(temporal + (0.02 * signal) ** 2, rel=0.03)


def test_the_same_seed_gives_the_same_pixels_and_another_seed_does_not(tmp_path: Path) -> None:
    """Noise follows the seed; the fixed pattern does not."""
    frames = []
    for place, seed in (("a", 1), ("b", 1), ("c", 2)):
        (tmp_path / place).mkdir()
        (truth,) = played(tmp_path / place, seed=seed, rungs=1, frames=1)
        frames.append(greens(tmp_path / place / truth.file))
    assert np.array_equal(frames[0], frames[1])
    assert not np.array_equal(frames[0], frames[2])


def test_lamps_flicker_more_the_shorter_the_time(tmp_path: Path) -> None:
    """From the middle rung on the frames of a pair differ, and the truth says by how much."""
    truths = played(tmp_path, rungs=8, disturbance="flicker", megapixels=0.1)
    gaps = [abs(a.offset_stops - b.offset_stops) for a, b in zip(truths[::2], truths[1::2], strict=True)]
    assert gaps[:4] == [0.0] * 4
    assert min(gaps[4:]) > 0.1
    assert max(gaps[4:]) < 1.0
    measured = [card_stops(tmp_path / truth.file) for truth in truths[-2:]]
    assert measured == pytest.approx([truth.offset_stops for truth in truths[-2:]], abs=0.03)


def test_a_moved_tripod_shifts_the_picture(tmp_path: Path) -> None:
    """Edges of the card lie elsewhere from the middle rung on, the light stays."""
    truths = played(tmp_path, disturbance="moved", frames=1)
    before, after = (greens(tmp_path / truths[place].file) for place in (1, 2))
    assert [truth.disturbance for truth in truths] == [None, None, "moved", "moved"]
    followed = np.roll(before, (3, 5), (0, 1))
    assert np.abs(followed - after).mean() < 0.5 * np.abs(before - after).mean()


def test_skipped_and_repeated_rungs(tmp_path: Path) -> None:
    """The middle rung is missing, or there twice."""
    for kind, isos in (("skipped", [100, 200, 800]), ("repeated", [100, 200, 400, 400, 800])):
        (tmp_path / kind).mkdir()
        truths = played(tmp_path / kind, disturbance=kind)
        assert [truth.settings.iso for truth in truths[::2]] == isos


def test_light_filter_and_aperture(tmp_path: Path) -> None:
    """Changed light shows in the picture; a filter with a longer time and a wider aperture with a shorter do not."""
    for kind, stops in (("light", -0.5), ("nd", 0.0), ("aperture", 0.0)):
        (tmp_path / kind).mkdir()
        truth = played(tmp_path / kind, disturbance=kind, frames=1)[2]
        assert truth.disturbance == kind
        assert truth.offset_stops == pytest.approx(stops)
        assert card_stops(tmp_path / kind / truth.file) == pytest.approx(stops, abs=0.02)
    assert played(tmp_path / "nd", disturbance="nd", frames=1)[2].settings.shutter_s == pytest.approx(2.0**-2)
    assert truth.settings.aperture == pytest.approx(4.0)
    assert truth.settings.shutter_s == pytest.approx(2.0**-6)


def test_noise_reduction_lowers_and_spreads_noise(tmp_path: Path) -> None:
    """Neighbours of the same colour share their noise from the middle rung on."""
    truths = played(tmp_path, disturbance="denoised", frames=1)
    shared = []
    for place in (1, 2):
        flat = card(tmp_path / truths[place].file)
        shared.append(np.corrcoef(flat[:, :-1].ravel(), flat[:, 1:].ravel())[0, 1])
    assert abs(shared[0]) < 0.05
    assert shared[1] > 0.3


def test_a_clipped_ladder_has_a_white_card(tmp_path: Path) -> None:
    """The card is at saturation in every rung."""
    for truth in played(tmp_path, disturbance="clipped", frames=1):
        assert np.all(card(tmp_path / truth.file) >= CAMERA.white - CAMERA.black)


@pytest.mark.parametrize("wrong", [{"rungs": 0}, {"rungs": 11}, {"frames": 0}, {"megapixels": 0.01}])
def test_what_cannot_be_played_is_refused(wrong: dict[str, Any]) -> None:
    """Options outside their range are refused with the range."""
    with pytest.raises(UsageError) as refusal:
        LadderOptions(**wrong)
    assert " to " in refusal.value.advice


def test_the_command_writes_a_ladder(tmp_path: Path) -> None:
    """`rehearse --scene ladder` writes the frames and says what is wrong with each."""
    words = ["--scene", "ladder", "--every", 0, "--megapixels", 0.1, "--rungs", 3, "--disturb", "light", "--frames", 1]
    done = run("rehearse", tmp_path, *map(str, words))
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        "RHS_0001.DNG  1/8 f/5.6 ISO 100  card +0.00 stops",
        "RHS_0002.DNG  1/15 f/5.6 ISO 200  card -0.50 stops  light changed",
        "RHS_0003.DNG  1/30 f/5.6 ISO 400  card -0.50 stops  light changed",
    ]
    assert len(list(tmp_path.glob("*.DNG"))) == 3


@pytest.mark.parametrize("words", [["--rungs", "3"], ["--scene", "ladder", "--follow"]])
def test_options_of_another_scene_are_refused(tmp_path: Path, words: list[str]) -> None:
    """Options that would have no effect are named, and nothing is written."""
    done = run("rehearse", tmp_path / "new", *words)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert not (tmp_path / "new").exists()
