"""Counting codes: each pixel once, whatever the pattern, in bounded memory."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from meter_frames import BAYER, MONO, PATTERNS, XTRANS, mosaic_frame, picture_frame

from tetherwatch.exposure.settings import Settings
from tetherwatch.meter.channel import channel_tones
from tetherwatch.meter.histogram import SiteCounts, code_count, count_clipped, count_codes, count_sites, tone_pitch
from tetherwatch.meter.reading import meter_frame
from tetherwatch.meter.records import Aim
from tetherwatch.meter.thumbnail import make_thumbnail

SIDES = st.integers(16, 70)
SEEDS = st.integers(0, 2**32 - 1)


def by_channel(counted):
    totals = {}
    for site in counted:
        totals[site.channel] = totals.get(site.channel, 0) + site.counts
    return totals


def naive(codes, pattern, channel):
    """Counts of one channel, pixel by pixel through a mask of the whole mosaic."""
    rows, columns = np.indices(codes.shape) % len(pattern)
    colours = np.array([list(row) for row in pattern])[rows, columns]
    found, times = np.unique(codes[colours == channel], return_counts=True)
    counts = np.zeros(1 << 16, np.int64)
    counts[found] = times
    return counts


@given(SIDES, SIDES, st.sampled_from(PATTERNS), SEEDS)
def test_mosaic_counts_equal_a_mask_and_unique(height, width, pattern, seed):
    """Every channel of a mosaic of any size is counted as a masked `np.unique` counts it."""
    codes = np.random.default_rng(seed).integers(0, 1 << 16, (height, width), dtype=np.uint16)
    totals = by_channel(count_sites(mosaic_frame(codes, pattern).sites))
    assert set(totals) == set("".join(pattern))
    for channel, counts in totals.items():
        assert np.array_equal(counts, naive(codes, pattern, channel))


@given(SIDES, SIDES, st.booleans(), SEEDS)
def test_picture_counts_equal_bincount(height, width, grey, seed):
    """Every plane of a finished picture is counted in 256 codes."""
    shape = (height, width) if grey else (height, width, 3)
    picture = np.random.default_rng(seed).integers(0, 256, shape, dtype=np.uint8)
    counted = count_sites(picture_frame(picture).sites)
    planes = picture[:, :, None] if grey else picture
    assert len(counted) == planes.shape[2]
    for index, site in enumerate(counted):
        assert np.array_equal(site.counts, np.bincount(planes[:, :, index].ravel(), minlength=256))


@pytest.mark.parametrize("pattern", [BAYER, XTRANS, MONO])
def test_a_picture_of_several_chunks_is_counted_once(pattern):
    """No pixel is lost or counted twice where one chunk ends and the next begins."""
    codes = np.random.default_rng(5).integers(0, 1 << 16, (2701, 1403), dtype=np.uint16)
    totals = by_channel(count_sites(mosaic_frame(codes, pattern).sites))
    assert np.array_equal(sum(totals.values()), np.bincount(codes.ravel(), minlength=1 << 16))


def test_sites_of_one_channel_are_counted_together():
    """The two greens share a histogram; a green with a black level of its own gets its own."""
    codes = np.full((20, 20), 700, np.uint16)
    sites = mosaic_frame(codes).sites
    assert [(s.channel, int(s.counts.sum())) for s in count_sites(sites)] == [("r", 100), ("g", 200), ("b", 100)]
    apart = (*sites[:2], *mosaic_frame(codes, black=514.0).sites[2:])
    assert [(s.channel, s.black) for s in count_sites(apart)] == [
        ("r", 512.0),
        ("g", 512.0),
        ("g", 514.0),
        ("b", 514.0),
    ]


def test_the_extreme_codes_have_their_place():
    """The lowest and the highest code of each type are counted; counting adds to what is there."""
    for kind in (np.uint8, np.uint16):
        values = np.array([[0, np.iinfo(kind).max]], dtype=kind)
        counts = np.ones(code_count(values), np.int64)
        count_codes(values, counts)
        assert counts[0] == counts[-1] == 2
        assert counts.sum() == counts.size + 2


def test_counts_carry_channel_and_levels():
    """A counted site keeps the channel, black and white of its pixels."""
    (counted,) = count_sites(mosaic_frame(np.zeros((16, 16), np.uint16), MONO, black=3.0, white=99.0).sites)
    assert isinstance(counted, SiteCounts)
    assert (counted.channel, counted.black, counted.white) == ("y", 3.0, 99.0)


@pytest.mark.parametrize("pattern", [BAYER, XTRANS, MONO])
def test_metering_45_megapixels_takes_little_memory(pattern):
    """Metering and drawing a 45 MP raw needs less than 40 MiB beyond its pixels (required: 120)."""
    codes = np.random.default_rng(6).integers(400, 16384, (5464, 8192), dtype=np.uint16)
    frame = mosaic_frame(codes, pattern)
    tracemalloc.start()
    try:
        reading = meter_frame(frame, Aim(), Settings(), 1)
        make_thumbnail(frame, reading, 1)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert sum(tone.total for tone in reading.tones) == pytest.approx(codes.size, rel=0.01)
    assert peak < 40 << 20


@given(SIDES, SIDES, st.sampled_from(PATTERNS), SEEDS, st.floats(512.0, 16383.0))
def test_every_clipped_pixel_is_counted(height, width, pattern, seed, saturation):
    """As a mask of the whole mosaic finds them, wherever they lie."""
    codes = np.random.default_rng(seed).normal(4000, 4000, (height, width)).clip(0, 16383).astype(np.uint16)
    frame = mosaic_frame(codes, pattern)
    limits = {channel: saturation + 7 * index for index, channel in enumerate(frame.neutral)}
    for channel, clipped in count_clipped(frame, limits).items():
        assert clipped == naive(codes, pattern, channel)[int(np.ceil(limits[channel])) :].sum()


@pytest.mark.parametrize("kind", ["raw", "picture"])
def test_a_large_picture_is_clipped_to_the_pixel_and_its_tones_hold(kind):
    """A few clipped pixels anywhere are counted; level and percentiles are those of all rows, within their scatter."""
    light = np.random.default_rng(8).normal(3000, 300, (3000, 4200)).clip(0, 16000)
    light[::1499, ::701] = 16383
    if kind == "raw":
        frame, spots = mosaic_frame(light.astype(np.uint16)), light == 16383
    else:
        frame = picture_frame((light / 16383 * 255).astype(np.uint8)[:, :, None].repeat(3, axis=2))
        spots = np.repeat(light == 16383, 3)
    assert tone_pitch(frame.sites) > 1
    reading = meter_frame(frame, Aim(), Settings(), 1)
    assert sum(tone.clipped for tone in reading.tones) == spots.sum()
    exact = channel_tones(count_sites(frame.sites), frame)
    for tones, channel in zip(reading.tones, exact, strict=True):
        for percent in (1, 50, 99, 99.9):
            assert tones.percentile(percent) == pytest.approx(channel.tones.percentile(percent), abs=0.01)
