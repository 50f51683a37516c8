"""Which pixels are metered, in every orientation."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from meter_frames import BAYER, MONO, PATTERNS, UPRIGHT, XTRANS, mosaic_frame, turned_pattern

from tetherwatch.exposure.settings import Settings
from tetherwatch.meter.area import CENTRE_RINGS, centred_box, sample_pitch, sites_inside, stored_box
from tetherwatch.meter.reading import meter_frame
from tetherwatch.meter.records import WHOLE_BOX, Aim, Box

SIDES = st.integers(16, 60)
ORIENTATIONS = st.integers(1, 8)
SEEDS = st.integers(0, 2**32 - 1)


@st.composite
def boxes(draw):
    """Boxes whose edges, in thousandths plus a bit, never pass through the middle of a pixel of a small picture."""
    left, right = sorted(draw(st.lists(st.integers(0, 999), min_size=2, max_size=2, unique=True)))
    top, bottom = sorted(draw(st.lists(st.integers(0, 999), min_size=2, max_size=2, unique=True)))
    return Box(*((edge + 0.137) / 1000 for edge in (left, top, right, bottom)))


def mask_of(box, height, width):
    """Which pixels of a picture have their centre in a box."""
    y, x = (np.arange(height) + 0.5) / height, (np.arange(width) + 0.5) / width
    return np.outer((y >= box.top) & (y < box.bottom), (x >= box.left) & (x < box.right))


@given(boxes(), SIDES, SIDES, ORIENTATIONS)
def test_a_stored_box_covers_what_the_upright_box_covers(box, height, width, orientation):
    """Pixels inside the stored box, turned upright, are the pixels inside the upright box."""
    stored = mask_of(stored_box(box, orientation), height, width)
    upright = UPRIGHT[orientation](stored)
    assert np.array_equal(upright, mask_of(box, *upright.shape))


def test_boxes_of_known_turns():
    """A box at the upper left lies where the Exif orientation says the upper left is stored."""
    corner = Box(0.0, 0.0, 0.2, 0.1)
    assert stored_box(corner, 1) == corner
    assert stored_box(corner, 2) == Box(0.8, 0.0, 1.0, 0.1)
    assert stored_box(corner, 3) == Box(0.8, 0.9, 1.0, 1.0)
    assert stored_box(corner, 6) == Box(0.0, 0.8, 0.1, 1.0)
    assert stored_box(corner, 8) == Box(0.9, 0.0, 1.0, 0.2)


@given(boxes(), SIDES, SIDES, st.sampled_from(PATTERNS), SEEDS)
def test_a_box_holds_the_pixels_whose_centre_is_inside(box, height, width, pattern, seed):
    """Each site gives exactly its pixels in the box; at least one where it would give none."""
    codes = np.random.default_rng(seed).integers(0, 50, (height, width), dtype=np.uint16)
    frame = mosaic_frame(codes, pattern)
    mask = mask_of(box, height, width)
    for site, part in zip(frame.sites, sites_inside(frame, box, 1), strict=True):
        own = mask[site.top :: site.pitch_y, site.left :: site.pitch_x]
        if own.any():
            assert np.array_equal(part.values.ravel(), site.values[own])
        else:
            assert part.values.size >= 1


@given(SIDES, SIDES, st.sampled_from(PATTERNS), st.integers(1, 8))
def test_the_whole_box_is_the_whole_picture(height, width, pattern, orientation):
    """The box from 0 to 1 leaves no pixel out."""
    frame = mosaic_frame(np.zeros((height, width), np.uint16), pattern)
    box = stored_box(WHOLE_BOX, orientation)
    assert sum(part.values.size for part in sites_inside(frame, box, 1)) == height * width


@pytest.mark.parametrize("pattern", [BAYER, XTRANS, MONO])
@pytest.mark.parametrize("shape", [(16, 16), (17, 16), (2301, 3001), (16, 400_000), (200, 30_000), (400_000, 16)])
def test_centre_rings_never_overlap(pattern, shape):
    """An inner box counts a subset of the outer box's pixels, in pictures of any size and shape."""
    places = np.arange(shape[0] * shape[1], dtype=np.uint32).reshape(shape)
    frame = mosaic_frame(places, pattern)
    pitch = sample_pitch(frame, WHOLE_BOX)
    rings = [sites_inside(frame, centred_box(side), pitch) for side, _ in CENTRE_RINGS]
    for inner, outer in pairwise(rings):
        for small, large in zip(inner, outer, strict=True):
            assert small.values.size >= 1
            assert np.isin(small.values, large.values, assume_unique=True).all()


@given(boxes(), SIDES, SIDES, st.sampled_from(PATTERNS), st.integers(1, 2))
def test_a_cut_site_knows_where_its_pixels_lie(box, height, width, pattern, pitch):
    """Place and pitch of a cut site lead back to its pixels in the picture."""
    frame = mosaic_frame(np.arange(height * width, dtype=np.uint32).reshape(height, width), pattern)
    for part in sites_inside(frame, Box(0.0, 0.0, box.right, 1.0) if pitch > 1 else box, pitch):
        rows, columns = np.indices(part.values.shape)
        places = (part.top + rows * part.pitch_y) * width + part.left + columns * part.pitch_x
        assert np.array_equal(part.values, places)


def test_large_areas_are_sampled():
    """A large area is metered on a grid of pixels, though no fewer than 64 lines of the picture; a small one on all."""
    large = mosaic_frame(np.broadcast_to(np.uint16(0), (8000, 12000)))
    assert sample_pitch(large, WHOLE_BOX) > 1
    assert 8000 // sample_pitch(large, WHOLE_BOX) >= 64
    assert sample_pitch(large, Box(0.4, 0.4, 0.45, 0.45)) == 1
    assert sample_pitch(mosaic_frame(np.broadcast_to(np.uint16(0), (100, 900_000))), WHOLE_BOX) == 1
    assert sample_pitch(mosaic_frame(np.zeros((16, 16), np.uint16)), WHOLE_BOX) == 1


def test_centre_weighting():
    """The rings reach the edge, and their weights add up to one, the centre's being the largest."""
    weights = [weight for _, weight in CENTRE_RINGS]
    assert centred_box(CENTRE_RINGS[-1][0]) == WHOLE_BOX
    assert sum(weights) == pytest.approx(1)
    assert weights == sorted(weights, reverse=True)


@given(
    boxes(),
    st.integers(22, 60),
    st.integers(22, 60),
    st.sampled_from(PATTERNS),
    ORIENTATIONS,
    st.sampled_from(["box", "card", "frame"]),
    SEEDS,
)
def test_metering_a_turned_picture_is_metering_it_upright(box, height, width, pattern, orientation, area, seed):
    """An area of an asymmetrical capture reads the same as in the same capture turned upright before metering.

    (The sides are such that the inmost ring holds pixels of every site.)
    """
    rng = np.random.default_rng(seed)
    slope = np.add.outer(np.linspace(0, 1500, height), np.linspace(0, 1500, width))
    codes = (600 + slope + rng.integers(0, 900, (height, width))).astype(np.uint16)
    upright = UPRIGHT[orientation](codes)
    pitch = len(pattern)
    if area != "frame":
        # Wide enough for every site to have pixels in it, however it is turned.
        grow = (pitch + 1) / min(height, width)
        box = Box(box.left * (1 - grow), box.top * (1 - grow), *(e + grow * (1 - e) for e in (box.right, box.bottom)))
    aim = Aim(area=area, box=box)
    stored = meter_frame(mosaic_frame(codes, pattern), aim, Settings(), orientation)
    turned = meter_frame(mosaic_frame(upright, turned_pattern(codes.shape, pattern, orientation)), aim, Settings(), 1)
    assert stored.level_stops == pytest.approx(turned.level_stops, abs=1e-9)
    assert stored.uncertainty_stops == pytest.approx(turned.uncertainty_stops, abs=1e-9)
    assert stored.metered == turned.metered
    assert sorted(stored.area_tones, key=str) == sorted(turned.area_tones, key=str)
    assert stored.clipped_percent == turned.clipped_percent
