"""From files to figures: rehearsed ladders with known truth, their disturbances, and what is no ladder."""

import hashlib
import math
import shutil
from dataclasses import replace
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from benchmarks.ladder import KINDS
from frame_files import cut, write_picture
from PIL import Image, ImageCms

from tetherwatch.errors import UsageError
from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.metadata import read_metadata
from tetherwatch.ladder.measure import measure_ladder
from tetherwatch.ladder.profile import body_from_ladder
from tetherwatch.ladder.records import Ladder, Options, Output
from tetherwatch.ladder.words import rules
from tetherwatch.rehearse.files import with_tags
from tetherwatch.rehearse.ladder import CAMERA, LadderOptions, LadderTruth, rehearse_ladder

STARTED_AT = datetime(2026, 3, 14, 15, 9, 26, tzinfo=timezone.utc)
WIDE = Options(output=Output("web", 400.0))
"""Seen so small that even little pictures have a ceiling within their rungs."""


def played(folder: Path, **options: Any) -> list[LadderTruth]:
    """A ladder of small pictures with five rungs unless told otherwise."""
    chosen = {"megapixels": 0.35, "rungs": 5, "compressed": False, **options}
    camera = chosen.pop("camera", CAMERA)
    return list(rehearse_ladder(folder, LadderOptions(**chosen), STARTED_AT, camera))


def measured(folder: Path, options: Options = WIDE) -> Ladder:
    """The ladder of all captures in a folder."""
    return measure_ladder(sorted(path for path in folder.iterdir() if path.suffix in (".DNG", ".JPG")), options)


def found(ladder: Ladder) -> set[str]:
    """The kinds of all that was found."""
    return {finding.kind for finding in ladder.all_findings}


def test_a_clean_ladder_gives_the_truth_and_no_findings(tmp_path: Path) -> None:
    """Gain, saturation and SNR of every rung within the proof's limits, read noise within its own uncertainty."""
    truths = {truth.settings.iso: truth for truth in played(tmp_path)}
    ladder = measured(tmp_path)
    assert not ladder.all_findings
    assert (ladder.camera, ladder.serial) == (CAMERA.model, CAMERA.serial)
    assert [rung.iso for rung in ladder.rungs] == sorted(iso for iso in truths if iso)
    for rung in ladder.rungs:
        truth = truths[rung.iso]
        assert rung.gain_dn_per_e and rung.read_noise_e and rung.saturation_e and rung.snr_grey and rung.snr_shadow
        assert rung.gain_dn_per_e.value == pytest.approx(truth.gain_dn_per_e, rel=0.01)
        assert rung.saturation_e.value == pytest.approx(truth.saturation_e, rel=0.01)
        read = rung.read_noise_e
        assert read.value == pytest.approx(truth.read_noise_e, rel=0.03, abs=3.5 * read.uncertainty)
        for figure, share in ((rung.snr_grey, 1.0), (rung.snr_shadow, 1 / 8)):
            electrons = truth.saturation_e * 10 / 78 * share
            assert figure.value == pytest.approx(electrons / math.hypot(electrons**0.5, truth.read_noise_e), rel=0.02)
        assert rung.detail_kept and rung.detail_kept.value == pytest.approx(1.0, abs=0.02)
    assert ladder.fit_for_profile


@pytest.mark.parametrize(("disturbance", "kind"), KINDS.items())
def test_every_disturbance_is_caught_where_it_is(tmp_path: Path, disturbance: str, kind: str) -> None:
    """Named at the rungs that have it, and nothing else is said of them or of the others."""
    truths = played(tmp_path, disturbance=disturbance)
    ladder = measured(tmp_path)
    allowed = {kind, "missing rung"} if disturbance == "aperture" else {kind}
    assert kind in found(ladder) <= allowed
    disturbed = {truth.settings.iso for truth in truths if truth.disturbance}
    if disturbance not in ("skipped", "clipped"):
        blamed = {finding.iso for finding in ladder.all_findings if finding.kind == kind}
        assert blamed and blamed <= disturbed


def test_shadows_that_fail_first_give_the_ceiling(tmp_path: Path) -> None:
    """A sensor with much read noise is limited by its dark parts, and the sentence says so."""
    played(tmp_path, camera=replace(CAMERA, early_noise_e=14.0))
    ceiling = measured(tmp_path, replace(WIDE, grade=28.0)).ceiling
    assert ceiling is not None and ceiling.limited_by == "shadows"
    assert "below mid-grey" in ceiling.reason


def test_one_frame_a_rung_works_with_wider_uncertainty(tmp_path: Path) -> None:
    """The figures are marked, and as close as they say."""
    played(tmp_path, frames=1)
    ladder = measured(tmp_path)
    assert found(ladder) == {"single frames"}
    for rung in ladder.rungs:
        gain = rung.gain_dn_per_e
        assert gain is not None and rung.method == "single"
        assert gain.value == pytest.approx(CAMERA.gain(rung.iso), abs=4 * gain.uncertainty, rel=0.01)
    assert ladder.ceiling is not None


@pytest.mark.parametrize(("frames", "lost"), [(1, {100, 200, 400, 800, 1600}), (2, {100, 200, 400})])
def test_read_noise_below_what_little_pictures_show_is_unknown(tmp_path: Path, frames: int, lost: set[int]) -> None:
    """It is said, never 0, and no profile keeps it; what a rung does show is as close as it says."""
    played(tmp_path, megapixels=0.3, frames=frames)
    ladder = measured(tmp_path)
    assert {rung.iso for rung in ladder.rungs if rung.read_noise_e is None} == lost
    assert {rung.iso for rung in ladder.rungs if rung.read_noise_dn is None} == lost
    for rung in ladder.rungs:
        assert rung.gain_dn_per_e and rung.snr_grey
        if rung.read_noise_e:
            read = rung.read_noise_e
            assert read.value == pytest.approx(CAMERA.read_noise_e(rung.iso), abs=3 * read.uncertainty)
    assert (
        f"Read noise at ISO {', '.join(map(str, sorted(lost)))}: below what these frames can show" in rules(ladder)[-1]
    )
    kept = body_from_ladder(ladder, "q24", STARTED_AT.date()).noise
    assert {noise.iso for noise in kept}.isdisjoint(lost) and all(noise.read_noise_e > 0 for noise in kept)


def test_crops_show_the_same_parts_of_every_rung(tmp_path: Path) -> None:
    """A dark, a bright and a detailed part at full resolution, each about as light in all rungs."""
    played(tmp_path, rungs=4)
    ladder = measured(tmp_path)
    assert set(ladder.boxes) == {"dark", "bright", "detail"}
    means: dict[str, list[float]] = {}
    for rung in ladder.rungs:
        for crop in rung.crops:
            assert crop.box == ladder.boxes[crop.part]
            assert crop.light.shape == (crop.box.height, crop.box.width, 3)
            means.setdefault(crop.part, []).append(float(crop.light[:, :, 1].mean()))
    assert means["dark"][0] < 0.5 * means["bright"][0] < 0.5
    for levels in means.values():
        assert levels == pytest.approx([levels[0]] * 4, rel=0.03)


def test_captures_are_only_read_and_progress_is_told(tmp_path: Path) -> None:
    """The files are the same afterwards; every rung is counted once."""
    played(tmp_path, rungs=3)
    files = sorted(tmp_path.glob("*.DNG"))
    before = [hashlib.sha256(path.read_bytes()).digest() for path in files]
    told: list[tuple[int, int]] = []
    measure_ladder(files, WIDE, lambda done, of: told.append((done, of)))
    assert told == [(1, 3), (2, 3), (3, 3)]
    assert [hashlib.sha256(path.read_bytes()).digest() for path in files] == before


def test_finished_pictures_give_figures_marked_as_processed(tmp_path: Path) -> None:
    """Signal to noise and detail, but no gain, no read noise and no profile."""
    played(tmp_path, files="jpeg", rungs=4)
    ladder = measured(tmp_path)
    assert found(ladder) == {"processed"} and ladder.source == "jpeg"
    assert all(rung.gain_dn_per_e is None and rung.snr_grey is not None for rung in ladder.rungs)
    assert ladder.ceiling is not None and not ladder.fit_for_profile


def test_raws_are_preferred_to_the_pictures_beside_them(tmp_path: Path) -> None:
    """Raw and JPEG of the same frames are one ladder, of raws."""
    played(tmp_path, files="both", rungs=3)
    ladder = measured(tmp_path)
    assert ladder.source == "raw" and not ladder.all_findings
    assert all(rung.frames == 2 for rung in ladder.rungs)


def retagged(path: Path, **tags: str) -> None:
    """Set Exif entries of a capture."""
    path.write_bytes(with_tags(path.read_bytes(), {f"Exif.Photo.{name}": value for name, value in tags.items()}))


def other_sizes(folder: Path) -> None:
    """Half of the ladder at another size."""
    played(folder, rungs=2)
    small = folder / "small"
    small.mkdir()
    played(small, rungs=3, megapixels=0.3)
    for path in sorted(small.glob("*.DNG"))[-2:]:
        path.rename(folder / f"other-{path.name}")


def two_cameras(folder: Path) -> None:
    """One frame of another body."""
    played(folder, rungs=2)
    retagged(sorted(folder.glob("*.DNG"))[-1], BodySerialNumber="HQ-999999")


def disguised(folder: Path) -> None:
    """A finished picture under the name of a raw."""
    played(folder, rungs=2, files="both")
    (folder / "RHS_0004.JPG").replace(folder / "RHS_0004.DNG")


def no_settings(folder: Path) -> None:
    """Pictures without metadata."""
    for name in ("a.JPG", "b.JPG"):
        write_picture(folder / name, size=(400, 320))


def other_profile(folder: Path) -> None:
    """JPEGs that say they are not sRGB."""
    played(folder, rungs=2, files="jpeg")
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    for path in folder.glob("*.JPG"):
        with Image.open(path) as picture:
            picture.load()
            picture.save(path, icc_profile=profile, exif=picture.info["exif"])


@pytest.mark.parametrize(
    ("make", "kind", "words"),
    [
        (lambda folder: played(folder, rungs=1), "one rung", "two ISOs"),
        (two_cameras, "cameras", "more than one camera"),
        (other_sizes, "sizes", "different sizes"),
        (disguised, "sizes", "different kinds"),
        (no_settings, "no metadata", "which ISO"),
        (lambda folder: played(folder, rungs=2, offset_stops=9.0), "clipped", "clipped"),
        (other_profile, "unknown curve", "shoot raw"),
        (lambda folder: played(folder, rungs=2, files="jpeg", frames=1), "single frames", "two frames"),
        (lambda folder: None, "one rung", "no captures"),
    ],
)
def test_what_is_no_ladder_gets_a_clear_answer_and_no_profile(tmp_path: Path, make: Any, kind: str, words: str) -> None:
    """One reason in plain words, no figures, no ceiling."""
    make(tmp_path)
    ladder = measured(tmp_path)
    (refusal,) = ladder.refused
    assert refusal.kind == kind and words in refusal.reason
    assert not ladder.rungs and ladder.ceiling is None and not ladder.fit_for_profile


def test_damaged_captures_are_left_out_by_name(tmp_path: Path) -> None:
    """A rung with one sound frame is measured from that; the rest of the ladder as ever."""
    played(tmp_path, rungs=3)
    broken = sorted(tmp_path.glob("*.DNG"))[2]
    cut(broken, 0.4)
    ladder = measured(tmp_path)
    assert found(ladder) == {"unreadable", "single frames"}
    assert any(broken.name in finding.reason and finding.file == broken for finding in ladder.all_findings)
    assert [rung.method for rung in ladder.rungs] == ["pair", "single", "pair"]
    for path in tmp_path.glob("*.DNG"):
        cut(path, 0.01)
    assert measured(tmp_path).refused


def test_a_grade_out_of_reach_is_said_with_the_figures_kept(tmp_path: Path) -> None:
    """There is no ceiling then, but all that was measured is there."""
    played(tmp_path, rungs=3)
    ladder = measured(tmp_path, replace(WIDE, grade=5000.0))
    assert ladder.ceiling is None and len(ladder.rungs) == 3
    assert [finding.kind for finding in ladder.refused] == ["grade"]


def test_the_users_own_eye_is_taken_or_refused(tmp_path: Path) -> None:
    """An ISO among the rungs is the ceiling; one that was not shot is a wrong use."""
    played(tmp_path, rungs=3)
    ceiling = measured(tmp_path, Options(accept_iso=400.0)).ceiling
    assert ceiling is not None and ceiling.accepted and ceiling.iso == 400.0
    with pytest.raises(UsageError, match="outside"):
        measured(tmp_path, Options(accept_iso=3200.0))


def test_names_and_order_do_not_matter(tmp_path: Path) -> None:
    """Shuffled names give the same figures: rungs go by what the captures say."""
    played(tmp_path, rungs=3)
    first = measured(tmp_path)
    for number, path in enumerate(sorted(tmp_path.glob("*.DNG"), reverse=True)):
        shutil.move(path, tmp_path / f"x{number}-é.DNG")
    second = measured(tmp_path)
    assert [rung.gain_dn_per_e for rung in first.rungs] == [rung.gain_dn_per_e for rung in second.rungs]
    settings = read_metadata(second.rungs[0].files[0]).settings
    assert isinstance(settings, Settings) and settings.iso == 100
    assert np.isfinite([rung.mismatch_stops for rung in second.rungs]).all()
