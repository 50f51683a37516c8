"""The level of an area against mid-grey, and how well it is known."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.exposure.light import RAW_GREY
from tetherwatch.meter.level import AreaPart, mean_light, picture_level, raw_level, trimmed
from tetherwatch.meter.tone import PICTURE_GREY

SEEDS = st.integers(0, 2**32 - 1)
RANGE_CODES = 15871.0


def part(light, channel="g", weight=1.0, range_codes=RANGE_CODES):
    """Pixels of these linear values as a part of an area."""
    values, counts = np.unique(np.asarray(light, float), return_counts=True)
    return AreaPart(channel, counts, values, range_codes, weight)


@given(SEEDS, st.floats(0, 0.49))
def test_trimming_takes_the_same_share_from_both_ends(seed, share):
    """What is left is what sorting the pixels and cutting both ends leaves."""
    counts = np.random.default_rng(seed).integers(0, 6, 40)
    counts[3] += 1
    kept = trimmed(counts, share)
    total = counts.sum()
    ranks = np.repeat(np.arange(40), counts)
    inside = np.clip(
        np.minimum(np.arange(1, total + 1), (1 - share) * total) - np.maximum(np.arange(total), share * total), 0, 1
    )
    assert np.allclose(kept, np.bincount(ranks, weights=inside, minlength=40))
    assert kept.sum() == pytest.approx((1 - 2 * share) * total)


@given(SEEDS)
def test_the_mean_is_a_plain_mean(seed):
    """Without trimming, one part's mean is that of its pixels."""
    light = np.random.default_rng(seed).normal(0.1, 0.05, 300)
    assert mean_light([part(light)], 0.0) == pytest.approx(light.mean())


def test_parts_are_weighted_whatever_their_size():
    """A ring of few pixels has its whole weight; one without pixels has none."""
    few, many, none = part([0.5], weight=0.75), part([0.1] * 1000, weight=0.25), part([], weight=5.0)
    assert mean_light([few, many, none], 0.0) == pytest.approx(0.4)
    assert mean_light([none], 0.0) == 0


def test_dust_on_a_card_is_trimmed_away():
    """A tenth of the pixels black and a tenth white do not move a trimmed mean."""
    assert mean_light([part([0.0] * 100 + [0.13] * 800 + [1.0] * 100)], 0.1) == pytest.approx(0.13)


@given(st.floats(-8, 2.9), st.floats(0.01, 2))
def test_level_follows_exposure_exactly(stops, step):
    """A raw grey is 0 at 10/78 of saturation, and twice the light is one stop more."""
    light = RAW_GREY * 2.0**stops
    assert raw_level([part([light] * 100)], 0.0).stops == pytest.approx(stops, abs=1e-12)
    darker = raw_level([part([light * 2.0**-step] * 100)], 0.0)
    assert stops - darker.stops == pytest.approx(step)


@given(st.floats(0, 1), st.floats(0, 1))
def test_a_raw_level_is_that_of_green(red, blue):
    """Red and blue, which depend on the colour of the light, do not move a raw level."""
    parts = [part([red], "r"), part([0.2], "g"), part([0.3], "g"), part([blue], "b")]
    assert raw_level(parts, 0.0).stops == pytest.approx(math.log2(0.25 / RAW_GREY))


def test_a_monochrome_level_is_that_of_its_only_channel():
    """A sensor without colours, and one that lacks green, are metered from what they have."""
    assert raw_level([part([RAW_GREY] * 50, "y")], 0.0).stops == pytest.approx(0)
    assert raw_level([part([RAW_GREY] * 50, "r")], 0.0).stops == pytest.approx(0)


def test_a_picture_level_is_its_luminance():
    """A finished picture is metered by BT.709 luminance of linear light, 0 at 18 %."""
    level = picture_level([part([0.4], "r"), part([0.1], "g"), part([0.9], "b")], 0.0)
    assert level.stops == pytest.approx(math.log2((0.2126 * 0.4 + 0.7152 * 0.1 + 0.0722 * 0.9) / PICTURE_GREY))
    assert picture_level([part([PICTURE_GREY], "y")], 0.0).stops == pytest.approx(0)


def test_uncertainty_grows_into_the_dark():
    """The darker a raw area, the more an error of one code in the black level matters; never under 0.03 stop."""
    levels = [raw_level([part([RAW_GREY * 2.0**-stops] * 1000)], 0.0) for stops in range(12)]
    uncertainties = [level.uncertainty for level in levels]
    assert uncertainties == sorted(uncertainties)
    assert uncertainties[0] == pytest.approx(0.03, abs=0.0005)
    assert uncertainties[-1] > 1


def test_uncertainty_counts_the_noise():
    """Few noisy pixels say less than many: the standard error of their mean is part of the uncertainty."""
    light = np.random.default_rng(1).normal(RAW_GREY, 0.2 * RAW_GREY, 16)
    few = raw_level([part(light)], 0.0).uncertainty
    many = raw_level([part(np.tile(light, 100))], 0.0).uncertainty
    expected = light.std() / 4 / light.mean() / math.log(2)
    assert few == pytest.approx(math.hypot(0.03, expected), rel=0.01)
    assert many < few


def test_uncertainty_of_a_picture_grows_away_from_grey():
    """A camera's curve is least known far from mid-grey, on both sides; a picture is never as sure as a raw."""
    at = {
        stops: picture_level([part([PICTURE_GREY * 2.0**stops], "y")], 0.0).uncertainty for stops in (-3, -1, 0, 1, 2)
    }
    assert at[-3] > at[-1] > at[0] < at[1] < at[2]
    assert at[1] == pytest.approx(at[-1])
    assert at[0] == pytest.approx(0.2)


@pytest.mark.parametrize("measure", [raw_level, picture_level])
@pytest.mark.parametrize("light", [0.0, -0.01, 2.0**-15, 2.0**-14])
def test_black_is_a_bound(measure, light):
    """An area at or below black has a level that is only an upper bound, finite, and very uncertain."""
    level = measure([part([light] * 100)], 0.0)
    assert level.floor
    assert -12 < level.stops < -11
    assert 1 < level.uncertainty < 10
    assert not measure([part([2.0**-13] * 100)], 0.0).floor


def test_black_is_not_better_known_than_nearly_black():
    """Uncertainty does not fall where the level turns into a bound."""
    nearly, black = (raw_level([part([light] * 100)], 0.0) for light in (2.0**-13.99, 0.0))
    assert black.uncertainty >= nearly.uncertainty
