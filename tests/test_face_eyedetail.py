"""Fine detail of eyes: noise, exposure, size, orientation and colour pattern take nothing from it and add nothing."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from eye_records import noise_at, person
from hypothesis import given
from hypothesis import strategies as st
from meter_frames import BAYER, MONO, UPRIGHT, XTRANS, picture_frame

from benchmarks import blur  # isort: skip
from benchmarks.drawn_eyes import Light, Pair  # isort: skip
from benchmarks.simulated_eyes import CAMERA, SATURATION, face_of, mosaic_frame, photographed  # isort: skip
from tetherwatch.face.eyedetail import measure_eyes
from tetherwatch.face.records import SECTORS, EyeDetail
from tetherwatch.frame.records import Frame
from tetherwatch.meter.records import Point
from tetherwatch.meter.tone import linear_to_srgb

INVERSE = {1: 1, 2: 2, 3: 3, 4: 4, 5: 5, 6: 8, 7: 7, 8: 6}
"""The Exif code that turns an upright picture into the one stored under a code."""


def clean(light: Light, offset_stops: float = 0.0, pattern: tuple[str, ...] = BAYER) -> Frame:
    """A photograph without noise, but for rounding."""
    codes = light * CAMERA.electrons(offset_stops, 100) * CAMERA.gain(100) + CAMERA.black
    return mosaic_frame(np.clip(np.rint(codes), 0, CAMERA.white).astype(np.uint16), pattern)


def detail_of(frame: Frame, pair: Pair | None = None, iso: float = 100) -> EyeDetail:
    """What is measured; it must be something."""
    detail = measure_eyes(frame, face_of(pair or person()), 1, SATURATION, noise_at(iso))
    assert detail is not None
    return detail


@cache
def blurred(sigma: float) -> EyeDetail:
    """A drawn pair without noise, blurred by a bell of so many pixels."""
    return detail_of(clean(blur.gaussian(person().light, sigma)))


def draws(light: Light, iso: float, count: int) -> list[EyeDetail]:
    """Several photographs of the same light."""
    rng = np.random.default_rng(11)
    return [detail_of(photographed(light, iso, 0.0, rng), iso=iso) for _ in range(count)]


@pytest.mark.parametrize("sigma", [0.0, 1.0, 3.0])
def test_noise_adds_nothing_on_average_and_as_much_scatter_as_is_said(sigma: float) -> None:
    """At ISO 6400 the mean of many frames is that of a clean one, and their scatter the stated uncertainty."""
    light = blur.gaussian(person().light, sigma)
    noisy = draws(light, 6400, 24)
    truth = detail_of(photographed(light, 100, 0.0, np.random.default_rng(1))).energy[-1]
    energies, stated = [d.energy[-1] for d in noisy], np.mean([d.uncertainty[-1] for d in noisy])
    assert np.mean(energies) == pytest.approx(truth, abs=3 * stated / math.sqrt(24) + 0.02 * truth)
    assert 0.4 * stated < np.std(energies) < 1.6 * stated


@given(st.floats(-3.0, 0.5))
def test_exposure_changes_nothing(offset_stops: float) -> None:
    """Gain cancels, as long as rounding to codes does not matter."""
    assert detail_of(clean(person().light, offset_stops)).energy == pytest.approx(blurred(0.0).energy, rel=0.02)


@given(st.floats(0.0, 4.0), st.floats(0.2, 2.0))
def test_more_blur_never_holds_more_detail(sigma: float, more: float) -> None:
    """In all bands together, and in every direction."""
    less = detail_of(clean(blur.gaussian(person().light, sigma)))
    much = detail_of(clean(blur.gaussian(person().light, sigma + more)))
    assert much.energy[-1] < less.energy[-1]
    assert all(a < b for a, b in zip(much.sectors, less.sectors, strict=True))


def test_a_face_twice_as_large_holds_the_same_detail() -> None:
    """In cycles per eye distance, up to what the smaller one can hold."""
    small, large = detail_of(clean(person(80).light)), detail_of(clean(person(160).light), person(160))
    assert len(large.energy) > len(small.energy)
    shared = len(small.energy)
    assert math.sqrt(large.energy[shared - 1] / small.energy[-1]) == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize("code", range(1, 9))
def test_orientation_changes_nothing(code: int) -> None:
    """Energy, tilt and directions are those of the upright picture, however it is stored."""
    light = blur.motion(person().light, 5, 30)
    upright = clean(light, pattern=MONO)
    stored = mosaic_frame(np.ascontiguousarray(UPRIGHT[INVERSE[code]](upright.pixels)), MONO)
    seen, plain = (measure_eyes(f, face_of(person()), o, SATURATION) for f, o in ((stored, code), (upright, 1)))
    assert seen is not None and plain is not None
    assert seen.energy == pytest.approx(plain.energy, rel=1e-4)
    assert seen.sectors == pytest.approx(plain.sectors, rel=1e-4)
    assert (seen.distance_px, seen.tilt_deg) == pytest.approx((plain.distance_px, plain.tilt_deg))


def test_a_tilted_head_keeps_its_detail_and_directions() -> None:
    """Turned by a quarter, the line of the eyes turns and nothing else does."""
    pair = person()
    turned = np.ascontiguousarray(np.rot90(pair.light, -1))
    rows = pair.light.shape[0]
    eyes = [(rows - 1 - y, x) for x, y in (pair.left, pair.right)]
    seen = detail_of(clean(turned, pattern=MONO), Pair(turned, *eyes))
    level = detail_of(clean(pair.light, pattern=MONO))
    assert seen.tilt_deg - level.tilt_deg == pytest.approx(90.0)
    assert seen.energy == pytest.approx(level.energy, rel=1e-6)
    assert seen.sectors == pytest.approx(level.sectors, rel=1e-6)


@pytest.mark.parametrize("pattern", [BAYER, XTRANS, MONO])
def test_every_colour_pattern_tells_blur(pattern: tuple[str, ...]) -> None:
    """A smear of 8 pixels takes a like part of the detail from all of them, at ISO 1600 too."""
    rng, pair = np.random.default_rng(4), person(160)
    sharp, soft = (
        detail_of(photographed(light, 1600, 0.0, rng, pattern), pair, 1600)
        for light in (pair.light, blur.motion(pair.light, 8, 20))
    )
    assert 0.25 < soft.energy[-1] / sharp.energy[-1] < 0.75
    assert min(range(SECTORS), key=lambda k: soft.sectors[k] / sharp.sectors[k]) in (0, 1)


def test_the_sharper_eye_counts() -> None:
    """With the far eye out of focus the energy is that of the near one."""
    light, column = person().light.copy(), person().light.shape[1] // 2
    light[:, column:] = blur.defocus(light, 8)[:, column:]
    assert detail_of(clean(light)).energy[-1] == pytest.approx(blurred(0.0).energy[-1], rel=0.1)


def test_noise_found_in_the_frame_serves_as_well() -> None:
    """Without a profile the energy is the same within its uncertainty, which is larger."""
    frame = photographed(person().light, 3200, 0.0, np.random.default_rng(6))
    known = detail_of(frame, iso=3200)
    found = measure_eyes(frame, face_of(person()), 1, SATURATION)
    assert found is not None
    assert found.energy[-1] == pytest.approx(known.energy[-1], abs=2 * found.uncertainty[-1])
    assert found.uncertainty[-1] > known.uncertainty[-1]


def test_a_finished_picture_is_measured_with_more_doubt() -> None:
    """Through the sRGB curve blur is told too, but less surely than in the raw of the same capture."""
    white, rng = dict.fromkeys(SATURATION, 255.0), np.random.default_rng(9)
    seen = []
    for light in (person().light, blur.defocus(person().light, 5)):
        frame = photographed(light, 1600, 0.0, rng, MONO)
        linear = (frame.pixels - CAMERA.black) / (CAMERA.white - CAMERA.black)
        picture = picture_frame(np.rint(255 * linear_to_srgb(linear)).astype(np.uint8))
        seen += [
            measure_eyes(frame, face_of(person()), 1, SATURATION),
            measure_eyes(picture, face_of(person()), 1, white),
        ]
    raw, sharp, _, soft = seen
    assert raw is not None and sharp is not None and soft is not None
    assert sharp.energy[-1] == pytest.approx(raw.energy[-1], rel=0.1)
    assert soft.energy[-1] < 0.3 * sharp.energy[-1]
    assert sharp.uncertainty[-1] > 0.2 * sharp.energy[-1] > 2 * raw.uncertainty[-1]


anywhere = st.builds(Point, st.floats(-1.0, 2.0), st.floats(-1.0, 2.0))
NOISY = photographed(person().light, 800, 0.0, np.random.default_rng(10))


@given(anywhere, anywhere, st.integers(1, 8))
def test_eyes_anywhere_never_cost_the_capture(left: Point, right: Point, orientation: int) -> None:
    """Outside the picture, in one place, upside down: a measurement or none, but no error, and only finite numbers."""
    for one, other in ((left, right), (left, left)):
        detail = measure_eyes(NOISY, replace(face_of(person()), left_eye=one, right_eye=other), orientation, SATURATION)
        numbers = () if detail is None else (*detail.energy, *detail.uncertainty, *detail.sectors)
        assert all(map(math.isfinite, numbers))


def test_nothing_is_said_of_eyes_that_cannot_be_seen() -> None:
    """Too small, cut off by the edge, black, or clipped."""
    face, rng = face_of(person()), np.random.default_rng(8)
    near = replace(face, right_eye=Point(face.left_eye.x + 0.1, face.left_eye.y))
    outside = replace(face, left_eye=Point(-0.4, 0.5), right_eye=Point(0.0, 0.5))
    frame = photographed(person().light, 400, 0.0, rng)
    assert measure_eyes(frame, near, 1, SATURATION) is None
    assert measure_eyes(frame, outside, 1, SATURATION) is None
    black = photographed(person().light, 6400, -9.0, rng)
    assert measure_eyes(black, face, 1, SATURATION, noise_at(6400)) is None
    assert measure_eyes(clean(person().light, 4.0), face, 1, SATURATION, noise_at(100)) is None
