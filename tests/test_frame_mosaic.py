"""Raw arrays as sites, and the checks made on them."""

import numpy as np
import pytest
from frame_files import BAYER, XTRANS, coloured
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from tetherwatch.frame.mosaic import black_is_doubtful, colour_cell, ends_blank, is_blank, mosaic_sites, plane_sites

CHANNELS = ("r", "g", "b", "g")
BLACK, WHITE = 512.0, 16383.0


def _cell(pattern: tuple[tuple[int, ...], ...]) -> NDArray[np.int64]:
    side = len(pattern)
    cell = colour_cell(lambda row, column: pattern[row % side][column % side])
    assert cell is not None
    return cell


@pytest.mark.parametrize("pattern", [((6,),), BAYER, XTRANS])
def test_smallest_cell_is_found(pattern: tuple[tuple[int, ...], ...]) -> None:
    """The cell is the pattern itself, whatever its size."""
    assert _cell(pattern).tolist() == [list(row) for row in pattern]


def test_pattern_that_does_not_repeat_has_no_cell() -> None:
    """Colours without a period are refused, not guessed."""
    assert colour_cell(lambda row, column: (row * row + column) // 7 % 3) is None


@given(st.integers(16, 40), st.integers(16, 40), st.sampled_from([BAYER, XTRANS]))
def test_sites_cover_every_pixel_once(height: int, width: int, pattern: tuple[tuple[int, ...], ...]) -> None:
    """All sites together are the picture: each pixel at its stated place, none twice, none copied."""
    picture = np.arange(height * width, dtype=np.uint16).reshape(height, width)
    sites = mosaic_sites(picture, _cell(pattern), CHANNELS, [BLACK] * 4, [WHITE] * 4)
    rebuilt = np.zeros_like(picture)
    for site in sites:
        assert np.shares_memory(site.values, picture)
        rebuilt[site.top :: site.pitch_y, site.left :: site.pitch_x] = site.values
    assert (rebuilt == picture).all()
    assert sum(site.values.size for site in sites) == picture.size


@pytest.mark.parametrize("pattern", [BAYER, XTRANS])
def test_sites_carry_their_channel(pattern: tuple[tuple[int, ...], ...]) -> None:
    """Each site sees only pixels of its own colour, and that colour's levels."""
    picture = coloured(36, 48, pattern)
    for site in mosaic_sites(picture, _cell(pattern), CHANNELS, [1.0, 2.0, 3.0, 4.0], [5.0, 6.0, 7.0, 8.0]):
        colour = "rgb".index(site.channel)
        assert set(site.values.flat) == {(2000, 5000, 3000)[colour]}
        assert (site.black, site.white) == (colour + 1.0, colour + 5.0)


def test_plane_sites_are_views_of_planes() -> None:
    """A stack gives one site a plane, and leaves planes without a name alone."""
    stack = np.dstack([np.full((20, 30), level, np.uint16) for level in (1, 2, 3, 0)])
    sites = plane_sites(stack, ("r", "g", "b"), [BLACK] * 4, [WHITE] * 4)
    assert [(site.channel, int(site.values.max())) for site in sites] == [("r", 1), ("g", 2), ("b", 3)]
    assert all(np.shares_memory(site.values, stack) for site in sites)


def test_blank_is_told_from_black() -> None:
    """All zeros are blank; one code anywhere is not."""
    picture = np.zeros((20, 30), np.uint16)
    assert is_blank(picture)
    picture[-1, -1] = 1
    assert not is_blank(picture)


def test_blank_tail() -> None:
    """Last rows of zeros mean a cut only where black is not zero."""
    picture = np.full((40, 30), 600, np.uint16)
    assert not ends_blank(picture, BLACK)
    picture[-4:] = 0
    assert ends_blank(picture, BLACK)
    assert not ends_blank(picture, 0.0)
    picture[-1, 0] = 511
    assert not ends_blank(picture, BLACK)


def _with_noise(level: float, spread: float, shape: tuple[int, int] = (120, 160)) -> NDArray[np.uint16]:
    return np.random.default_rng(3).normal(level, spread, shape).clip(0, 65535).astype(np.uint16)


@pytest.mark.parametrize(
    ("level", "spread", "doubtful"),
    [
        (BLACK, 20, False),
        (BLACK + 100, 20, False),
        (BLACK + 400, 20, True),
        (BLACK * 0.5, 5, True),
        (6000, 2000, False),
        (0, 0, False),
    ],
)
def test_black_level_against_the_margin(level: float, spread: float, doubtful: bool) -> None:
    """Only an even, filled margin at another level casts doubt on black (1 % of the range is 159 codes)."""
    image = _with_noise(level, spread)
    assert black_is_doubtful(image, 24, 32, BLACK, WHITE) == doubtful


def test_one_margin_that_agrees_is_enough() -> None:
    """Black is not doubted while the left margin confirms it, whatever is above."""
    image = _with_noise(BLACK, 10)
    image[:24] = 5000
    assert not black_is_doubtful(image, 24, 32, BLACK, WHITE)


def test_no_margin_no_doubt() -> None:
    """A raw without margins says nothing about its black level."""
    assert not black_is_doubtful(_with_noise(5000, 5), 0, 0, BLACK, WHITE)
