"""One channel: read noise, crushed shadows, clipping, and the curve of each of its sites."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from meter_frames import BLACK, MONO, WHITE, mosaic_frame, picture_frame, raw_codes

from tetherwatch.exposure.settings import Settings
from tetherwatch.meter.channel import channel_tones, read_noise_codes
from tetherwatch.meter.histogram import count_sites
from tetherwatch.meter.reading import meter_frame
from tetherwatch.meter.records import Aim

ONE_SIGMA = 84.134
"""Percent of a normal curve at or below one sigma above its middle."""


def dark_counts(rng, sigma, black=BLACK, pixels=200_000):
    codes = np.clip(np.rint(rng.normal(black, sigma, pixels)), 0, WHITE).astype(np.int64)
    return np.bincount(codes, minlength=1 << 16)


def tones(frame):
    return channel_tones(count_sites(frame.sites), frame)


@pytest.mark.parametrize("sigma", [1.0, 1.5, 3.0, 8.0, 40.0])
@pytest.mark.parametrize("black", [512.0, 511.6, 512.3])
def test_read_noise_of_a_dark_frame(sigma, black):
    """Read noise is found to 5 % (or 0.15 of a code) whatever the fraction in the black level."""
    found = read_noise_codes(dark_counts(np.random.default_rng(1), sigma, black), black, WHITE)
    assert found == pytest.approx(sigma, rel=0.05, abs=0.15)


def test_dead_pixels_do_not_pass_for_noise():
    """A thousand pixels stuck at zero among many leave the read noise as it is."""
    counts = dark_counts(np.random.default_rng(2), 4.0)
    counts[0] += 1000
    assert read_noise_codes(counts, BLACK, WHITE) == pytest.approx(4.0, abs=0.3)


def test_read_noise_that_cannot_be_told():
    """One code where nothing lies below black; never more than 1 % of the range, however wrong the black level."""
    bright = np.bincount(np.full(1000, 5000), minlength=1 << 16)
    assert read_noise_codes(bright, BLACK, WHITE) == 1.0
    assert read_noise_codes(bright, 0.0, WHITE) == 1.0
    wrong = np.bincount(np.full(1000, 100), minlength=1 << 16)
    assert read_noise_codes(wrong, BLACK, WHITE) == pytest.approx(0.01 * (WHITE - BLACK))


@pytest.mark.parametrize("sigma", [3.0, 6.0, 12.0])
def test_crushed_is_the_share_below_one_sigma(sigma):
    """Of an area without light, 84 % counts as crushed; a well lit rest does not."""
    rng = np.random.default_rng(3)
    codes = np.full((400, 400), 5000, np.uint16)
    codes[:100] = np.clip(np.rint(rng.normal(BLACK, sigma, (100, 400))), 0, None).astype(np.uint16)
    crushed = meter_frame(mosaic_frame(codes), Aim(), Settings(), 1).crushed_percent
    assert crushed == pytest.approx(ONE_SIGMA / 4, abs=100 / 4 * 0.5 * 0.4 / sigma + 0.3)


def test_crushed_in_a_picture_is_its_last_codes():
    """Codes 0 and 1 of a finished picture hold no shadow detail; code 2 does."""
    picture = np.zeros((16, 16, 3), np.uint8)
    picture[4:8], picture[8:] = 1, 2
    assert meter_frame(picture_frame(picture), Aim(), Settings(), 1).crushed_percent == 50


def test_channels_are_grouped_in_order():
    """Sites become channels in the order they appear, with all of their pixels."""
    codes = np.random.default_rng(4).integers(0, 16384, (31, 47), dtype=np.uint16)
    for pattern, order in ((("gb", "rg"), "gbr"), (("rg", "gb"), "rgb"), (MONO, "y")):
        channels = tones(mosaic_frame(codes, pattern))
        assert "".join(channel.channel for channel in channels) == order
        assert sum(channel.tones.total for channel in channels) == codes.size


def test_sites_with_their_own_black_share_a_saturation():
    """Two greens with different black levels get a curve each, from the own black to one saturation."""
    codes = np.random.default_rng(5).integers(600, 9000, (40, 40), dtype=np.uint16)
    frame = mosaic_frame(codes)
    sites = (*frame.sites[:2], *mosaic_frame(codes, black=520.0, white=16000.0).sites[2:])
    (green,) = (c for c in channel_tones(count_sites(sites), frame) if c.channel == "g")
    assert green.saturation.code == 16000.0
    assert [float(site.table[int(site.black)]) for site in green.sites] == [0, 0]
    assert [site.range_codes for site in green.sites] == [16000.0 - 512, 16000.0 - 520]
    assert all(site.table[16000] == 1 > site.table[15999] for site in green.sites)


@given(st.floats(0.0, 0.4))
def test_clipped_percent_is_the_share_at_saturation(share):
    """The percent clipped is the share of pixels at or above the saturation code."""
    codes = np.full(10_000, 3000, np.uint16)
    codes[: int(share * codes.size)] = int(WHITE)
    (channel,) = tones(mosaic_frame(codes.reshape(100, 100), MONO))
    assert channel.clipped_percent == pytest.approx(int(share * codes.size) / 100)


def test_clipped_percent_of_noisy_light():
    """Clipping of a raw with photon and read noise is the share of light above saturation."""
    rng = np.random.default_rng(6)
    light = np.where(rng.random((500, 500)) < 0.03, 1.5, 0.3)
    (channel,) = tones(mosaic_frame(raw_codes(light, rng), MONO))
    assert channel.clipped_percent == pytest.approx(100 * np.mean(light > 1))
    assert not channel.saturation.pile_up
