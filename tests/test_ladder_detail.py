"""How much fine detail is left is told whatever the noise."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tetherwatch.ladder.detail import Windows, detail_kept, fine_band, in_light
from tetherwatch.ladder.tiles import Plane

RNG = np.random.default_rng(12)
CLOTH = [(500 + 100 * RNG.uniform(-1, 1, (122, 122))).astype(np.float32) for _ in range(3)]


def shot(noise: float, seed: int, keep: float = 1.0) -> list[Windows]:
    """Two frames of the cloth with white noise, `keep` of each pixel and the rest from its neighbours."""
    rng = np.random.default_rng(seed)
    return [[smoothed(part + rng.normal(0, noise, part.shape), keep) for part in CLOTH] for _ in range(2)]


def smoothed(picture: np.ndarray, keep: float) -> Plane:
    """A mix of each pixel with the mean of its four neighbours."""
    around = sum(np.roll(picture, step, axis) for axis in (0, 1) for step in (-1, 1)) / 4
    return (keep * picture + (1 - keep) * around).astype(np.float32)


@given(noise=st.floats(0, 100), seed=st.integers(0, 10**6))
@settings(max_examples=30)
def test_noise_alone_takes_no_detail(noise: float, seed: int) -> None:
    """Up to a noise as large as the detail itself all of it is found, within the stated uncertainty."""
    found = detail_kept(shot(10, seed + 1), shot(noise, seed), 0.0)
    assert found is not None
    assert abs(found.value - 1) < 5.5 * found.uncertainty + 1e-6
    assert found.uncertainty < 0.1


NEIGHBOUR = -0.244
"""Correlation of the fine band of a white texture with itself one pixel on, from the blur's weights."""


@pytest.mark.parametrize("keep", [1.0, 0.7, 0.4])
def test_smoothing_takes_detail(keep: float) -> None:
    """The more of its neighbours is mixed into a pixel, the less detail is kept: by as much as the mix says."""
    found = detail_kept(shot(10, 1), shot(50, 2, keep), 0.0)
    assert found is not None and found.value == pytest.approx(keep + (1 - keep) * NEIGHBOUR, abs=0.02)


def test_one_frame_of_the_lowest_rung_is_corrected_by_its_known_noise() -> None:
    """Without the correction its own noise would pass for detail that the others have lost."""
    lowest = shot(40, 5)[:1]
    found, wrong = (detail_kept(lowest, shot(60, 6), noise) for noise in (1600.0, 0.0))
    assert found is not None and found.value == pytest.approx(1.0, abs=5 * found.uncertainty)
    assert wrong is not None and wrong.value < 0.8


def test_another_light_takes_no_detail() -> None:
    """Frames half a stop darker and a third of a stop brighter are brought to the same light."""
    frames = [
        [window * factor for window in frame]
        for frame, factor in zip(shot(5, 7), (0.5**0.5, 2 ** (1 / 3)), strict=True)
    ]
    found = detail_kept(shot(5, 8), in_light(frames, (-0.5, 1 / 3)), 0.0)
    assert found is not None and found.value == pytest.approx(1.0, abs=0.01)


def test_where_there_is_no_detail_nothing_is_said() -> None:
    """Noise on an even surface is no detail."""
    rng = np.random.default_rng(3)
    even = [[rng.normal(500, 10, (122, 122)).astype(np.float32)] for _ in range(4)]
    assert detail_kept(even[:2], even[2:], 0.0) is None


def test_the_fine_band_holds_what_a_small_blur_takes() -> None:
    """Nothing of a gradient; three quarters of a lone pixel."""
    assert np.abs(fine_band(np.add.outer(np.arange(9.0), 3 * np.arange(9.0)).astype(np.float32))).max() < 1e-5
    dot = np.zeros((5, 5), np.float32)
    dot[2, 2] = 1
    assert fine_band(dot)[1, 1] == pytest.approx(0.75)
