"""Tone histograms answer percentiles and what a move would clip; records are plain and travel."""

import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from meter_frames import mosaic_frame, raw_codes

from tetherwatch.exposure.settings import Settings
from tetherwatch.meter.reading import meter_frame
from tetherwatch.meter.records import BINS_PER_STOP, STOPS_SHOWN, Aim, ToneHistogram
from tetherwatch.meter.thumbnail import make_thumbnail
from tetherwatch.meter.tone import tone_histogram

BIN = 1 / BINS_PER_STOP
SEEDS = st.integers(0, 2**32 - 1)
EMPTY = ToneHistogram("y", (0,) * (BINS_PER_STOP * STOPS_SHOWN), 0, 0)


def studio(seed, pixels=3000):
    """Linear light of a picture: tones over many stops, some clipped, some black."""
    rng = np.random.default_rng(seed)
    light = np.exp2(rng.normal(rng.uniform(-6, -1), rng.uniform(0.3, 3), pixels))
    light[: rng.integers(0, pixels // 2)] = 0
    return light


def tones_of(light):
    return tone_histogram("y", np.ones(light.size, np.int64), light)


@given(SEEDS, st.floats(0, 100))
def test_percentile_agrees_with_numpy(seed, percent):
    """The percentile is numpy's, in stops below saturation, to the width of a bin or the pixel beside it."""
    light = studio(seed)
    found = tones_of(light).percentile(percent)
    lower, upper = (np.percentile(light, percent, method=way) for way in ("lower", "higher"))
    darkest, brightest = (-np.log2(np.clip(x, 2.0**-STOPS_SHOWN, 1)) for x in (lower, upper))
    assert brightest - BIN - 1e-9 <= found <= darkest + BIN + 1e-9


@given(SEEDS)
def test_percentiles_grow_darker_to_brighter(seed):
    """A higher percentile is never darker."""
    tones = tones_of(studio(seed))
    stops = [tones.percentile(percent) for percent in np.linspace(0, 100, 41)]
    assert stops == sorted(stops, reverse=True)


@given(SEEDS, st.floats(0, STOPS_SHOWN))
def test_clipping_after_a_move_is_a_count_of_moved_pixels(seed, move):
    """The percent clipped lies between the counts for moves one bin smaller and one bin larger."""
    light = studio(seed)
    found = tones_of(light).clipped_percent_after(move)

    def brute(stops):
        return 100 * np.mean(light * 2.0**stops >= 1)

    assert brute(max(move - BIN, 0.0)) - 1e-9 <= found <= brute(move + BIN) + 1e-9


@given(SEEDS)
def test_clipping_grows_with_the_move(seed):
    """Brighter never clips less; darker changes nothing, since clipped light is only known to be bright."""
    tones = tones_of(studio(seed))
    moves = np.linspace(-3, 20, 60)
    percents = [tones.clipped_percent_after(move) for move in moves]
    assert percents == sorted(percents)
    assert percents[0] == tones.clipped_percent_after(0.0) == pytest.approx(100 * tones.clipped / tones.total)
    assert percents[-1] == pytest.approx(100 * (1 - tones.below / tones.total))


def test_inside_a_bin_counts_are_interpolated():
    """Half of a bin's width holds half of its pixels."""
    tones = tones_of(np.full(100, 2.0 ** (-3.5 * BIN)))
    assert tones.clipped_percent_after(3 * BIN) == 0
    assert tones.clipped_percent_after(3.5 * BIN) == pytest.approx(50)
    assert tones.clipped_percent_after(4 * BIN) == pytest.approx(100)
    assert tones.percentile(50) == pytest.approx(3.5 * BIN)


def test_ends_of_the_scale():
    """Clipped pixels are 0 stops below saturation, black ones at the end of the scale, no pixels neither."""
    assert tones_of(np.full(10, 2.0)).percentile(0.1) == 0
    assert tones_of(np.zeros(10)).percentile(99.9) == STOPS_SHOWN
    assert EMPTY.clipped_percent_after(1.0) == 0
    assert (EMPTY.total, EMPTY.percentile(50)) == (0, 0)


def test_readings_travel_between_processes():
    """A reading and its thumbnail survive pickling, small, and hold no arrays."""
    rng = np.random.default_rng(1)
    frame = mosaic_frame(raw_codes(rng.uniform(0, 1.2, (200, 300)), rng))
    reading = meter_frame(frame, Aim(), Settings(), 1)
    both = (reading, make_thumbnail(frame, reading, 1))
    packed = pickle.dumps(both)
    assert pickle.loads(packed) == both
    assert b"numpy" not in packed
    assert len(packed) < 100_000
