"""Whole rehearsals: files, truth, and the closed loop."""

import hashlib
import itertools
import json
import math
import sys
from dataclasses import asdict
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import exiv2
import numpy as np
import pytest
import rawpy
from numpy.typing import NDArray

from tetherwatch.errors import MissingExtraError
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.stops import Setting, brightness
from tetherwatch.rehearse.camera import GREY_SHARE
from tetherwatch.rehearse.capture import TRUTH_FILE
from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.scene import SHADE_STOPS
from tetherwatch.rehearse.script import MOVING_LIGHTS_S
from tetherwatch.rehearse.session import WEAK_POP, Truth, rehearse

MORNING = datetime(2026, 3, 4, 9, 30, tzinfo=timezone(timedelta(hours=-3, minutes=-30)))


def played(folder: Path, **options: Any) -> list[Truth]:
    """A rehearsal of small pictures."""
    return list(rehearse(folder, Options(**{"megapixels": 0.5, **options}), MORNING))


def card_offset(path: Path) -> float:
    """The card against mid-grey, from the green pixels of the centre box as an independent decoder gives them."""
    with rawpy.imread(str(path)) as raw:
        height, width = raw.raw_image.shape
        box = (
            slice(2 * round(0.2 * height), 2 * round(0.3 * height)),
            slice(2 * round(0.2 * width), 2 * round(0.3 * width)),
        )
        greens = (raw.raw_image[box][0::2, 1::2].astype(float) + raw.raw_image[box][1::2, 0::2]) / 2
        black = raw.black_level_per_channel[1]
        return math.log2((greens.mean() - black) / (raw.white_level - black) / GREY_SHARE)


def exif(path: Path) -> dict[str, str]:
    """All Exif entries of a file."""
    image = exiv2.ImageFactory.open(str(path))
    image.readMetadata()
    return {entry.key(): entry.toString() for entry in image.exifData()}


@pytest.mark.parametrize("scene", ["steady", "sunset", "moves", "misfires"])
def test_truth_is_in_the_files(tmp_path: Path, scene: str) -> None:
    """In every scene the decoded card sits at the offset the truth states."""
    truths = played(tmp_path, scene=scene, frames=9)
    measured = [card_offset(tmp_path / truth.file) for truth in truths]
    assert measured == pytest.approx([truth.offset_stops for truth in truths], abs=0.05)
    bright = [pair for pair in zip(measured, truths, strict=True) if pair[1].offset_stops > -3]
    assert all(abs(level - truth.offset_stops) < 0.006 for level, truth in bright)


def test_offset_follows_from_light_and_settings(tmp_path: Path) -> None:
    """Offset = light + brightness of the settings at the reference shutter."""
    for truth in played(tmp_path, scene="moves", frames=12):
        assert truth.settings.brightness_stops is not None
        assert truth.offset_stops == pytest.approx(truth.light_stops + truth.settings.brightness_stops)


def test_truth_file_repeats_what_was_returned(tmp_path: Path) -> None:
    """`truth.jsonl` holds one object a capture with stable names."""
    truths = played(tmp_path, frames=3)
    lines = (tmp_path / TRUTH_FILE).read_text(encoding="utf-8").splitlines()
    assert lines == [json.dumps(asdict(truth)) for truth in truths]
    first = json.loads(lines[0])
    assert first["file"] == "RHS_0001.DNG"
    assert first["settings"] == {"shutter_s": 2.0**-8, "aperture": 2.0**1.5, "iso": 100.0}
    assert first["flash_fired"] is True
    assert first["setup"] == 1
    assert set(first["clipped_percent"]) == {"r", "g", "b"}
    assert first["offset_stops"] == pytest.approx(-4 / 3)


def test_truth_is_there_before_the_capture(tmp_path: Path) -> None:
    """Captures appear one by one as truths are taken, none ahead of time."""
    frames = rehearse(tmp_path, Options(megapixels=0.5, frames=3), MORNING)
    next(frames)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["RHS_0001.DNG", TRUTH_FILE]


@pytest.mark.parametrize("files", ["dng", "jpeg", "both"])
def test_same_seed_gives_the_same_bytes(tmp_path: Path, files: str) -> None:
    """Two rehearsals with one seed are identical to the last byte; another seed differs."""
    digests = []
    for name, seed in (("a", 5), ("b", 5), ("c", 6)):
        (tmp_path / name).mkdir()
        played(tmp_path / name, frames=2, files=files, seed=seed)
        captures = sorted((tmp_path / name).glob("RHS_*"))
        digests.append([(path.name, hashlib.sha256(path.read_bytes()).hexdigest()) for path in captures])
    assert digests[0] == digests[1] != digests[2]
    assert len(digests[0]) == (4 if files == "both" else 2)


def test_compressed_and_plain_hold_the_same_codes(tmp_path: Path) -> None:
    """Compression changes the file, not one code."""
    codes = []
    for name, compressed in (("a", True), ("b", False)):
        (tmp_path / name).mkdir()
        played(tmp_path / name, frames=1, compressed=compressed)
        with rawpy.imread(str(tmp_path / name / "RHS_0001.DNG")) as raw:
            codes.append(raw.raw_image.copy())
    assert np.array_equal(*codes)
    sizes = [(tmp_path / name / "RHS_0001.DNG").stat().st_size for name in "ab"]
    assert sizes[0] < 0.8 * sizes[1]


@pytest.mark.parametrize("suffix", ["DNG", "JPG"])
def test_metadata_are_complete(tmp_path: Path, suffix: str) -> None:
    """Both formats carry nominal settings, camera, serial, lens, program, flash and a time with its zone."""
    played(tmp_path, frames=3, files="both", every_s=2.5)
    data = exif(tmp_path / f"RHS_0003.{suffix}")
    wanted = {
        "Exif.Photo.ExposureTime": "1/250",
        "Exif.Photo.FNumber": "14/5",
        "Exif.Photo.ISOSpeedRatings": "250",
        "Exif.Photo.ExposureProgram": "1",
        "Exif.Photo.Flash": "1",
        "Exif.Image.Model": "Harrow Q24",
        "Exif.Photo.BodySerialNumber": "HQ-204417",
        "Exif.Photo.LensModel": "Harrow 85mm F1.8",
        "Exif.Photo.DateTimeOriginal": "2026:03:04 09:30:05",
        "Exif.Photo.OffsetTimeOriginal": "-03:30",
    }
    assert {key: data.get(key) for key in wanted} == wanted


def test_local_time_without_zone_is_written_without_one(tmp_path: Path) -> None:
    """A time that knows no zone leaves the zone entry out."""
    list(rehearse(tmp_path, Options(megapixels=0.5, frames=1), datetime(2026, 3, 4, 9, 30)))
    assert "Exif.Photo.OffsetTimeOriginal" not in exif(tmp_path / "RHS_0001.DNG")


def test_camera_does_not_know_of_a_misfire(tmp_path: Path) -> None:
    """The flash tag says the flash was asked to fire in every frame; only the truth knows which stayed dark."""
    truths = played(tmp_path, scene="misfires", frames=40, megapixels=0.1)
    assert {exif(tmp_path / truth.file)["Exif.Photo.Flash"] for truth in truths} == {"1"}
    (dark,) = [truth for truth in truths if not truth.flash_fired]
    assert (dark.odd, dark.offset_stops < -6) == ("misfire", True)


def test_odd_frames_look_like_what_they_are(tmp_path: Path) -> None:
    """A weak flash dims, a blocked light dims the card alone, a cap leaves black, and a held card fills the picture."""
    truths = played(tmp_path, scene="misfires", frames=40)
    odd = {truth.odd: truth for truth in truths if truth.odd}
    assert odd["weak"].offset_stops == pytest.approx(math.log2(WEAK_POP), abs=0.01)
    assert odd["blocked"].offset_stops == SHADE_STOPS
    assert odd["card"].offset_stops == truths[0].offset_stops == 0.0
    codes = {kind: greens(tmp_path / truth.file) for kind, truth in odd.items()}
    usual = greens(tmp_path / truths[0].file)
    corner = (slice(0, 20), slice(0, 20))
    assert codes["blocked"][corner].mean() == pytest.approx(usual[corner].mean(), rel=0.02)
    assert abs(codes["cap"].mean()) < 0.1
    assert np.std(codes["card"]) < 0.2 * np.std(usual)


def greens(path: Path) -> NDArray[np.float64]:
    """One green of each cell of a capture, black subtracted."""
    with rawpy.imread(str(path)) as raw:
        codes: NDArray[np.float64] = raw.raw_image[0::2, 1::2].astype(float) - raw.black_level_per_channel[1]
    return codes


def test_setups_are_minutes_apart(tmp_path: Path) -> None:
    """By the camera's clock lights take their time to be moved; inside a setup frames keep the pace asked for."""
    truths = played(tmp_path, scene="moves", frames=9, megapixels=0.1, every_s=2.0)
    times = [datetime.fromisoformat(truth.captured_at) for truth in truths]
    gaps = [(after - before).total_seconds() for before, after in itertools.pairwise(times)]
    assert gaps == [2.0] * 3 + [2.0 + MOVING_LIGHTS_S] + [2.0] * 3 + [2.0 + MOVING_LIGHTS_S]


def test_numbers_go_on_and_nothing_is_overwritten(tmp_path: Path) -> None:
    """A second rehearsal into a folder continues the counter and the truth."""
    (tmp_path / "RHS_0007.JPG").write_bytes(b"mine")
    (tmp_path / "RHS_notes.txt").write_bytes(b"mine too")
    played(tmp_path, frames=1)
    played(tmp_path, frames=1)
    names = sorted(path.name for path in tmp_path.glob("*.DNG"))
    assert names == ["RHS_0008.DNG", "RHS_0009.DNG"]
    assert (tmp_path / "RHS_0007.JPG").read_bytes() == b"mine"
    assert len((tmp_path / TRUTH_FILE).read_text(encoding="utf-8").splitlines()) == 2


def test_missing_extra_is_noticed_before_anything_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the libraries nothing is put into the folder, not even a truth; JPEG files can be made all the same."""
    monkeypatch.setitem(sys.modules, "imagecodecs", None)
    with pytest.raises(MissingExtraError):
        played(tmp_path, frames=1)
    assert not any(tmp_path.iterdir())
    assert len(played(tmp_path, frames=1, files="jpeg")) == 1


def test_spread_moves_the_true_offset_a_little(tmp_path: Path) -> None:
    """With a spread, frames differ by about that much and the truth knows it; without, they are exact."""
    truths = played(tmp_path, scene="misfires", frames=40, megapixels=0.1, spread_stops=0.05)
    offsets = [truth.offset_stops for truth in truths]
    usual = [truth.offset_stops for truth in truths if truth.odd is None]
    assert 0.03 < np.std(usual) < 0.07
    assert card_offset(tmp_path / "RHS_0001.DNG") == pytest.approx(offsets[0], abs=0.02)


def perfect_call(truth: Truth) -> dict[str, Any]:
    """The ISO call that a faultless meter would print for a frame."""
    dial = Dial(Setting.ISO, Step.THIRD)
    assert truth.settings.iso is not None
    position = dial.nearest(brightness(Setting.ISO, truth.settings.iso))
    wanted = dial.move(position, -truth.offset_stops)
    if wanted == position:
        return {"kind": "hold"}
    kind = "brighter" if wanted > position else "darker"
    return {"kind": kind, "setting": "iso", "to": dial.label(wanted), "move_stops": -truth.offset_stops}


@pytest.mark.parametrize("scene", ["steady", "sunset", "moves"])
def test_loop_closes(tmp_path: Path, scene: str) -> None:
    """Obeying a faultless meter keeps every frame within half a dial step, but for the one after the light changed."""
    truths: list[Truth] = []
    asked: list[str] = []

    def next_call(file: str) -> dict[str, Any]:
        asked.append(file)
        return perfect_call(truths[-1])

    options = Options(scene=scene, frames=14, megapixels=0.1)  # type: ignore[arg-type]
    for truth in rehearse(tmp_path, options, MORNING, next_call):
        truths.append(truth)
    assert asked == [truth.file for truth in truths[:-1]]
    for before, after in itertools.pairwise(truths):
        change = abs(after.light_stops - before.light_stops)
        assert abs(after.offset_stops) <= 1 / 6 + change + 1e-9


def test_light_calls_stay_in_force(tmp_path: Path) -> None:
    """Lamps moved by a call stay moved in later frames; no call leaves everything as it is."""
    calls = iter([{"kind": "brighter", "setting": "light", "move_stops": 4 / 3}, None, None])
    options = Options(frames=4, megapixels=0.1)
    truths = list(rehearse(tmp_path, options, MORNING, lambda _: next(calls)))
    assert [truth.offset_stops for truth in truths] == pytest.approx([-4 / 3, 0.0, 0.0, 0.0], abs=1e-9)
    assert len({truth.settings for truth in truths}) == 1
