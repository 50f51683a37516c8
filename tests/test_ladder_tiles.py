"""Tiles tell noise from scene, and noise that lines or neighbours have in common from noise that is white."""

import numpy as np
import pytest
from ladder_frames import BLACK, TO_LIGHT, WHITE, Sensor, scene, site
from numpy.typing import NDArray

from tetherwatch.frame.records import Site
from tetherwatch.ladder.tiles import TILE, Tiles, pair_tiles, single_tiles

SENSOR = Sensor(gain=0.5, early_e=4.0)


def pair(light: NDArray[np.float64], gains: tuple[float, float] = (1.0, 1.0), seed: int = 2) -> tuple[Site, Site]:
    """Two frames of the same light times a gain each."""
    rng = np.random.default_rng(seed)
    first, second = (site(SENSOR.codes(light * gain, 100, rng)) for gain in gains)
    return first, second


def excess(tiles: Tiles) -> float:
    """Mean variance of the tiles against the model at their signals."""
    model = SENSOR.gain * tiles.signal + SENSOR.read_dn(100) ** 2 + 1 / 12
    return float(np.mean(tiles.variance / model))


def test_a_pair_shows_noise_only_whatever_the_scene_holds() -> None:
    """Texture at full contrast changes nothing; a single frame's variance is many times the noise there."""
    first, second = pair(scene()[240:])
    assert excess(pair_tiles(first, second, TO_LIGHT, 1.0)) == pytest.approx(1.0, abs=0.01)
    assert excess(single_tiles(first, TO_LIGHT)) > 10


def test_a_single_frame_shows_noise_where_the_scene_is_smooth() -> None:
    """A gradient is no noise."""
    light = np.linspace(0.05, 0.6, 960)[None, :] * np.linspace(0.5, 1.0, 480)[:, None]
    assert excess(single_tiles(pair(light)[0], TO_LIGHT)) == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("ratio", [0.6, 1.5])
def test_flicker_between_the_frames_is_scaled_away(ratio: float) -> None:
    """With half a stop between two frames of a textured scene the variance still is that of the stated signal."""
    first, second = pair(scene()[240:] * 0.5, (1.0, 1 / ratio))
    assert excess(pair_tiles(first, second, TO_LIGHT, ratio)) == pytest.approx(1.0, abs=0.015)
    assert excess(pair_tiles(first, second, TO_LIGHT, 1.0)) > 2


def test_tiles_lie_where_the_picture_has_them_whatever_the_pattern() -> None:
    """A site of every second and one of every sixth pixel give the same grid of tiles."""
    values = pair(np.full((8 * TILE, 10 * TILE), 0.1))[0].values
    for pitch in (1, 2, 6):
        tiles = single_tiles(site(np.ascontiguousarray(values[::pitch, ::pitch]), "g", pitch), TO_LIGHT)
        assert tiles.signal.shape == (8, 10)
        assert tiles.variance.mean() == pytest.approx(SENSOR.gain * tiles.signal.mean() + 5, rel=0.15)


def noise_pair(extra: tuple[NDArray[np.float64], NDArray[np.float64]]) -> Tiles:
    """White noise of 4 codes on both frames, and something more on each."""
    rng = np.random.default_rng(9)
    frames = [np.clip(np.rint(BLACK + 800 + rng.normal(0, 4, (960, 1440)) + more), 0, WHITE) for more in extra]
    return pair_tiles(*(site(frame.astype(np.uint16)) for frame in frames), TO_LIGHT, 1.0)


@pytest.mark.parametrize(("axis", "name"), [(1, "row"), (0, "column")])
def test_noise_common_to_lines_is_found(axis: int, name: str) -> None:
    """Rows (columns) that differ by 1 code from frame to frame have that variance, and the other way next to none."""
    rng = np.random.default_rng(4)
    lines = [np.expand_dims(rng.normal(0, 1, 960 if axis else 1440), axis) for _ in range(2)]
    tiles = noise_pair((lines[0], lines[1]))
    found = getattr(tiles, name)
    assert found is not None and found[0] == pytest.approx(1.0, abs=4 * found[1])
    other = tiles.column if name == "row" else tiles.row
    assert other is not None and abs(other[0]) < 4 * other[1] + 0.01


def test_white_noise_has_nothing_in_common() -> None:
    """Rows, columns and neighbours of white noise have no common part beyond chance."""
    nothing = np.zeros((1, 1))
    tiles = noise_pair((nothing, nothing))
    assert tiles.row is not None and abs(tiles.row[0]) < 4 * tiles.row[1]
    assert tiles.column is not None and abs(tiles.column[0]) < 4 * tiles.column[1]
    assert tiles.neighbours is not None and max(map(abs, tiles.neighbours)) < 0.005


def test_smoothing_shows_in_the_correlation_of_neighbours() -> None:
    """A mean with the right-hand neighbour gives half in the row and nothing in the column."""
    rng = np.random.default_rng(6)
    smooth = []
    for _ in range(2):
        noise = rng.normal(0, 6, (960, 1441))
        smooth.append((noise[:, 1:] + noise[:, :-1]) / 2 + BLACK + 900)
    frames = (site(np.rint(noise).astype(np.uint16)) for noise in smooth)
    found = pair_tiles(*frames, TO_LIGHT, 1.0).neighbours
    assert found == pytest.approx((0.5, 0.0), abs=0.01)
