"""Noise of single pixels is known from a body or found in the picture, and detail is not taken for it."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tetherwatch.body.records import Noise
from tetherwatch.face.pixelnoise import BLOCK, PixelNoise, estimated_noise, known_noise, sampled_blocks

LIGHTS = np.array([0.02, 0.1, 0.4])


def noisy(light: NDArray[np.float64], noise: PixelNoise, seed: int) -> NDArray[np.float64]:
    """Light with noise."""
    return light + np.random.default_rng(seed).standard_normal(light.shape) * np.sqrt(noise.variance(light))


def ramp(rows: int = 512, columns: int = 512) -> NDArray[np.float64]:
    """Light that grows from black to half of saturation."""
    return np.linspace(0.0, 0.5, rows)[:, None] * np.ones(columns)


def test_a_known_body_gives_the_variance_of_the_linear_model() -> None:
    """K 0.25 and 4 e of read noise make 626 codes squared of 10,000 e (EMVA 1288, worked value)."""
    noise = known_noise(Noise(100.0, 0.25, 4.0), range_codes=15_000.0)
    assert noise.variance(np.array([2500 / 15_000]))[0] * 15_000**2 == pytest.approx(626.0)


def test_light_below_black_has_the_noise_of_black() -> None:
    """No variance is negative."""
    assert PixelNoise(1e-3, 1e-6, 0.1).variance(np.array([-1.0]))[0] == 1e-6


@pytest.mark.parametrize("gain", [1.7e-5, 1e-4, 1e-3])
@pytest.mark.parametrize("read_e", [0.0, 3.0])
def test_the_noise_of_an_even_picture_is_found(gain: float, read_e: float) -> None:
    """Within a third over four and a half stops, on light that slopes."""
    noise = PixelNoise(gain, (gain * read_e) ** 2, 0.0)
    found = estimated_noise(sampled_blocks(noisy(ramp(), noise, 1)), 0.15)  # type: ignore[arg-type]
    assert found is not None
    assert found.variance(LIGHTS) == pytest.approx(noise.variance(LIGHTS), rel=0.34)
    assert found.doubt == 0.15


def test_detail_is_not_taken_for_noise() -> None:
    """A picture most of which is strong texture still shows its noise in the rest."""
    noise, light = PixelNoise(2e-4, 0.0, 0.0), ramp()
    light[:, 150:] *= np.random.default_rng(2).uniform(0.3, 1.7, (512, 362))
    found = estimated_noise(sampled_blocks(noisy(light, noise, 3)), 0.15)  # type: ignore[arg-type]
    assert found is not None
    assert found.variance(LIGHTS) == pytest.approx(noise.variance(LIGHTS), rel=0.3)


@pytest.mark.parametrize("light", [0.0, 1.0])
def test_a_picture_without_noise_tells_none(light: float) -> None:
    """What is black or clipped throughout has no variance to learn from."""
    assert estimated_noise(np.full((500, BLOCK, BLOCK), light), 0.15) is None


def test_blocks_are_spread_over_the_plane() -> None:
    """Corners are among them, and a plane of a single block is taken whole."""
    plane = np.arange(100 * 90, dtype=np.uint16).reshape(100, 90)
    blocks = sampled_blocks(plane)
    assert blocks[0, 0, 0] == plane[0, 0] and blocks[-1, -1, -1] == plane[-1, -1]
    assert sampled_blocks(plane[:BLOCK, :BLOCK]).shape == (1, BLOCK, BLOCK)
