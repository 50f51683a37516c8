"""Shifts between pictures are found, and pictures of other scenes told apart."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ladder_frames import TO_LIGHT, Sensor, scene, site

from tetherwatch.ladder.register import find_shift, has_structure, small_picture, small_side
from tetherwatch.ladder.tiles import Plane

SENSOR = Sensor()


def still(rows: int = 60, columns: int = 90) -> Plane:
    """A small picture with structure at all scales."""
    rng = np.random.default_rng(8)
    parts = (rng.uniform(0, 1, (-(-rows // s), -(-columns // s))).repeat(s, 0).repeat(s, 1) for s in (1, 3, 10, 30))
    return np.sum([part[:rows, :columns] for part in parts], axis=0).astype(np.float32)


@given(down=st.integers(-8, 8), right=st.integers(-8, 8), seed=st.integers(0, 99))
@settings(max_examples=30)
def test_whole_shifts_are_found_in_noise(down: int, right: int, seed: int) -> None:
    """A shift of up to 8 pixels is found to a tenth of a pixel, with noise of a tenth of the signal."""
    rng, picture = np.random.default_rng(seed), still()
    moved = np.roll(picture, (down, right), (0, 1))
    noisy = [(part + rng.normal(0, 0.2, part.shape)).astype(np.float32) for part in (picture, moved)]
    shift = find_shift(*noisy)
    assert (shift.down, shift.right) == pytest.approx((down, right), abs=0.15)
    assert shift.likeness > 0.7


@pytest.mark.parametrize("pixels", [0, 2, 4, 6])
def test_shifts_within_a_small_pixel_are_found(pixels: int) -> None:
    """Small pictures of a scene shifted by parts of their pixels give that part to within one pixel of the picture."""
    rng, light = np.random.default_rng(3), scene(960, 1440)
    frames = [site(SENSOR.codes(part, 1600, rng)) for part in (light, np.roll(light, pixels, 1))]
    small = [small_picture(frame, TO_LIGHT) for frame in frames]
    shift = find_shift(*small)
    assert shift.distance * small_side(frames[0]) == pytest.approx(pixels, abs=0.3)


def test_another_scene_is_not_alike() -> None:
    """Two pictures with nothing in common have a likeness near 0, one with itself 1."""
    other = np.random.default_rng(1).uniform(0, 4, (60, 90)).astype(np.float32)
    assert abs(find_shift(still(), other).likeness) < 0.3
    assert find_shift(still(), still()).likeness == pytest.approx(1.0)


def test_an_even_picture_has_no_structure_and_no_likeness() -> None:
    """Nothing can be said of the shift of a blank wall, and nothing breaks."""
    even = np.full((60, 90), 5.0, np.float32)
    assert not has_structure(even)
    assert has_structure(still())
    assert find_shift(even, even).likeness == 0.0


def test_a_small_picture_is_the_mean_of_its_squares() -> None:
    """Also where the size is no multiple of them: what is left over is not used."""
    values = np.arange(40 * 50, dtype=np.uint16).reshape(40, 50) + 512
    small = small_picture(site(values), TO_LIGHT)
    assert small.shape == (5, 6)
    assert small[1, 2] == pytest.approx(values[8:16, 16:24].mean() - 512)
