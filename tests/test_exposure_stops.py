"""Stops and APEX values against the Exif annex, the formulas and colour-hdri."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.exposure.stops import (
    CAMERA_SETTINGS,
    Setting,
    aperture_value,
    brightness,
    exposure_value,
    speed_value,
    time_value,
    value_at,
)

# Exif 2.2, annex C "APEX units": whole steps as the annex prints them, nominal numbers (entries from memory).
ANNEX_TIMES = {
    30: -5, 15: -4, 8: -3, 4: -2, 2: -1, 1: 0, 1 / 2: 1, 1 / 4: 2, 1 / 8: 3, 1 / 15: 4, 1 / 30: 5, 1 / 60: 6,
    1 / 125: 7, 1 / 250: 8, 1 / 500: 9, 1 / 1000: 10, 1 / 2000: 11,
}  # fmt: skip
ANNEX_APERTURES = {1: 0, 1.4: 1, 2: 2, 2.8: 3, 4: 4, 5.6: 5, 8: 6, 11: 7, 16: 8, 22: 9, 32: 10}
ANNEX_SPEEDS = {3: 0, 6: 1, 12: 2, 25: 3, 50: 4, 100: 5, 200: 6, 400: 7, 800: 8, 1600: 9, 3200: 10}

camera_settings = st.sampled_from(CAMERA_SETTINGS)
stops = st.floats(-20, 20)


@pytest.mark.parametrize(("shutter_s", "apex"), ANNEX_TIMES.items())
def test_time_value_is_within_a_tenth_of_the_annex_step(shutter_s: float, apex: int) -> None:
    """Nominal shutter times lie at most 0.0931 stop from the whole step the annex gives them."""
    assert time_value(shutter_s) == pytest.approx(apex, abs=0.09312)


@pytest.mark.parametrize(("aperture", "apex"), ANNEX_APERTURES.items())
def test_aperture_value_is_within_a_tenth_of_the_annex_step(aperture: float, apex: int) -> None:
    """Nominal f-numbers lie at most 0.0811 stop from the whole step the annex gives them."""
    assert aperture_value(aperture) == pytest.approx(apex, abs=0.0812)


@pytest.mark.parametrize(("iso", "apex"), ANNEX_SPEEDS.items())
def test_speed_value_is_within_a_tenth_of_the_annex_step(iso: float, apex: int) -> None:
    """The annex rounds 3.125, 6.25 and 12.5 to whole numbers; from 25 up its speeds are exact."""
    assert speed_value(iso) == pytest.approx(apex, abs=0.0590 if iso < 25 else 1e-12)


def test_apex_values_of_nominal_numbers() -> None:
    """Three decimals of nominal numbers, computed from the formulas of Exif 2.2 annex C."""
    assert [round(aperture_value(n), 3) for n in (1, 1.4, 5.6, 8, 11, 16, 22, 32)] == [
        0, 0.971, 4.971, 6, 6.919, 8, 8.919, 10,
    ]  # fmt: skip
    assert [round(time_value(t), 3) for t in (30, 1, 1 / 60, 1 / 125, 1 / 250, 1 / 1000, 1 / 8000)] == [
        -4.907, 0, 5.907, 6.966, 7.966, 9.966, 12.966,
    ]  # fmt: skip
    assert [speed_value(s) for s in (25, 50, 100, 200, 400, 3200, 102400)] == pytest.approx([3, 4, 5, 6, 7, 10, 15])


def test_exact_numbers_give_whole_apex_values() -> None:
    """The exact numbers behind f/1.4 and f/5.6 have whole aperture values (computed from the formula)."""
    assert aperture_value(math.sqrt(2)) == pytest.approx(1, abs=1e-12)
    assert aperture_value(4 * math.sqrt(2)) == pytest.approx(5, abs=1e-12)


@pytest.mark.parametrize(
    ("aperture", "shutter_s", "ev"), [(8, 1 / 250, 13.966), (16, 1 / 125, 14.966), (5.6, 1 / 125, 11.937)]
)
def test_exposure_value_of_nominal_pairs(aperture: float, shutter_s: float, ev: float) -> None:
    """Ev = Av + Tv (Exif 2.2 annex C); values computed with colour-hdri 0.2.6."""
    assert exposure_value(aperture, shutter_s) == pytest.approx(ev, abs=5e-4)


def test_exposure_value_of_the_exact_pair_is_whole() -> None:
    """Exact f/5.6 at 1/128 s is Ev 12, not the 11.937 of the nominal numbers."""
    assert exposure_value(2**2.5, 2.0**-7) == pytest.approx(12, abs=1e-12)


@given(camera_settings, stops)
def test_value_and_brightness_are_inverse(setting: Setting, stops: float) -> None:
    """Turning stops into a value and back loses nothing beyond float rounding."""
    assert brightness(setting, value_at(setting, stops)) == pytest.approx(stops, abs=1e-9)


@given(camera_settings, st.floats(1e-4, 1e6))
def test_brightness_and_value_are_inverse(setting: Setting, value: float) -> None:
    """Turning a value into stops and back loses nothing beyond float rounding."""
    assert value_at(setting, brightness(setting, value)) == pytest.approx(value, rel=1e-9)


@given(camera_settings, stops)
def test_one_stop_brighter_doubles_the_exposure(setting: Setting, stops: float) -> None:
    """One stop doubles time or speed and divides the square of the f-number by two."""
    power = -2 if setting is Setting.APERTURE else 1
    ratio = value_at(setting, stops + 1) / value_at(setting, stops)
    assert ratio**power == pytest.approx(2, rel=1e-9)


@given(st.floats(0.5, 64), st.floats(1e-5, 100), st.floats(10, 1e6))
def test_brightness_is_the_apex_sum_at_iso_100(aperture: float, shutter_s: float, iso: float) -> None:
    """The three brightnesses together are Sv - 5 - Ev, so they agree with APEX."""
    total = (
        brightness(Setting.APERTURE, aperture) + brightness(Setting.SHUTTER, shutter_s) + brightness(Setting.ISO, iso)
    )
    assert total == pytest.approx(speed_value(iso) - 5 - exposure_value(aperture, shutter_s), abs=1e-9)


@pytest.mark.parametrize("value", [0, -1, math.nan, math.inf])
@pytest.mark.parametrize("setting", CAMERA_SETTINGS)
def test_a_value_that_is_no_exposure_is_refused(setting: Setting, value: float) -> None:
    """Zero, negative and non-finite numbers have no brightness, and the message names the quantity."""
    with pytest.raises(ValueError, match="must be a positive finite number"):
        brightness(setting, value)


@pytest.mark.parametrize(("power", "stops"), [(1.0, 0), (1 / 2, -1), (1 / 16, -4), (1 / 128, -7)])
def test_the_power_of_a_light_is_a_part_of_full_power(power: float, stops: float) -> None:
    """Half power is a stop less (stops = log2 of the fraction; common practice), in both directions."""
    assert brightness(Setting.LIGHT, power) == stops
    assert value_at(Setting.LIGHT, stops) == power
