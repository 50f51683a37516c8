"""Codes to linear light, and tones counted in stops."""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.exposure.light import RAW_GREY
from tetherwatch.meter.records import BINS_PER_STOP, STOPS_SHOWN
from tetherwatch.meter.tone import (
    LUMINANCE,
    PICTURE_GREY,
    linear_to_srgb,
    merged,
    picture_table,
    raw_table,
    srgb_to_linear,
    tone_histogram,
)

SRGB = {
    0: 0.0, 10: 0.003035, 11: 0.003347, 64: 0.051269, 100: 0.127438, 118: 0.181164, 127: 0.212231, 128: 0.215861,
    180: 0.456411, 188: 0.502886, 200: 0.577580, 235: 0.830770, 250: 0.955973, 254: 0.991102, 255: 1.0,
}  # fmt: skip
"""Linear light of 8-bit codes (IEC 61966-2-1)."""

ENCODED = {
    0.01: 25.46, 0.05: 63.19, 0.1: 89.04, 10 / 78: 100.29, 0.18: 117.65, 0.2140: 127.49,
    0.25: 136.96, 0.36: 161.73, 0.5: 187.52, 0.9: 243.45,
}  # fmt: skip
"""Codes of linear light, not rounded (IEC 61966-2-1)."""

STOPS_FROM_118 = {-3: 41.5, -2: 60.1, -1: 84.9, -1 / 3: 105.9, 0: 118, 1 / 3: 131.3, 1: 162.2, 4 / 3: 180.0, 2: 221.2}
"""Codes at a distance in stops from code 118 on the sRGB curve."""


@pytest.mark.parametrize(("code", "light"), SRGB.items())
def test_srgb_decoding(code, light):
    """8-bit codes decode to the standard's linear light; the last one to exactly 1, so that it counts as clipped."""
    assert picture_table()[255] == 1
    assert picture_table()[code] == pytest.approx(light, abs=6e-7)


@pytest.mark.parametrize(("light", "code"), ENCODED.items())
def test_srgb_encoding(light, code):
    """Linear light encodes to the standard's codes."""
    assert 255 * float(linear_to_srgb(np.array(light))) == pytest.approx(code, abs=0.006)


@pytest.mark.parametrize(("stops", "code"), STOPS_FROM_118.items())
def test_codes_at_a_distance_in_stops(stops, code):
    """Exposure moves of a picture land on the codes that the sRGB curve gives."""
    light = picture_table()[118] * 2.0**stops
    assert 255 * float(linear_to_srgb(np.array(light))) == pytest.approx(code, abs=0.06)


def test_curve_agrees_with_colour_science():
    """Both directions agree with the colour-science library on the whole scale."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        transfer = pytest.importorskip("colour.models.rgb.transfer_functions.srgb")
    scale = np.linspace(0, 1, 1001)
    assert np.allclose(srgb_to_linear(scale), transfer.eotf_sRGB(scale), atol=1e-7)
    assert np.allclose(linear_to_srgb(scale), transfer.eotf_inverse_sRGB(scale), atol=1e-7)


@given(st.floats(0, 1))
def test_the_curve_goes_there_and_back(light):
    """Encoding and decoding are each other's inverse."""
    assert float(srgb_to_linear(linear_to_srgb(np.array(light)))) == pytest.approx(light, abs=1e-6)


def test_light_outside_the_scale_is_limited():
    """Light below black encodes as 0, light above white as 1."""
    assert linear_to_srgb(np.array([-3.0, -1e-9, 1.0, 1.01, np.inf])).tolist() == pytest.approx([0, 0, 1, 1, 1])


def test_grey_and_luminance():
    """Grey is 10/78 of raw saturation (ISO 12232) and code 118 of a picture; BT.709 weights add up to one."""
    assert pytest.approx(0.128205, abs=1e-6) == RAW_GREY
    assert round(255 * float(linear_to_srgb(np.array(PICTURE_GREY)))) == 118
    assert (LUMINANCE["r"], LUMINANCE["g"], LUMINANCE["b"]) == (0.2126, 0.7152, 0.0722)
    assert LUMINANCE["r"] + LUMINANCE["g"] + LUMINANCE["b"] == pytest.approx(LUMINANCE["y"])


def test_raw_table_is_a_straight_line_from_black_to_saturation():
    """Black is 0, saturation and all above it 1, grey between; below black is negative."""
    table = raw_table(1 << 16, 512.0, 16383.0)
    assert table[512] == 0
    assert table[16383] == table[65535] == 1
    assert table[0] == pytest.approx(-512 / 15871)
    assert table[512 + 1984] == pytest.approx(1984 / 15871)
    assert table[16382] < 1


@given(
    st.integers(0, 2**32 - 1),
    st.floats(0, 4000),
    st.floats(5000, 65535),
)
def test_tones_are_counted_in_their_bins(seed, black, saturation):
    """Each bin holds the pixels a search among the bin edges puts there, and none is lost."""
    counts = np.random.default_rng(seed).integers(0, 5, 1 << 16)
    light = raw_table(1 << 16, black, saturation)
    tones = tone_histogram("g", counts, light)
    assert tones.total == counts.sum()
    assert tones.clipped == counts[np.arange(1 << 16) >= saturation].sum()
    shown = (light < 1) & (light > 2.0**-STOPS_SHOWN)
    assert tones.below == counts[light <= 2.0**-STOPS_SHOWN].sum()
    edges = 2.0 ** (-np.arange(BINS_PER_STOP * STOPS_SHOWN + 1) / BINS_PER_STOP)
    naive = np.histogram(light[shown], edges[::-1], weights=counts[shown])[0][::-1]
    # A code on an edge may fall on either side of it.
    assert np.abs(np.cumsum(naive) - np.cumsum(tones.counts)).max() <= 5


def test_a_known_tone_lands_in_its_bin():
    """Half a stop below saturation is bin 6 of 12, 2^-14 is below the last bin, and a little more is in it."""
    light = np.array([1.5, 1.0, 2.0**-0.52, 2.0**-13.99, 2.0**-14, 0.0, -0.1])
    tones = tone_histogram("y", np.array([1, 2, 4, 8, 16, 32, 64]), light)
    assert (tones.clipped, tones.below) == (3, 112)
    assert {k: n for k, n in enumerate(tones.counts) if n} == {6: 4, 167: 8}


def test_histograms_of_one_channel_merge():
    """Merging adds everything up."""
    light = np.array([2.0, 0.5, 0.0])
    one, two = tone_histogram("g", np.array([1, 2, 3]), light), tone_histogram("g", np.array([10, 20, 30]), light)
    both = merged([one, two])
    assert both == tone_histogram("g", np.array([11, 22, 33]), light)
