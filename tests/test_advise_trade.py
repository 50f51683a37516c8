"""Worked examples of the trade, each with its source, against our arithmetic and calls."""

import math

import pytest
from advise_records import reading

from tetherwatch.advise.call import make_call
from tetherwatch.advise.library import load_plan
from tetherwatch.advise.power import distance_factor
from tetherwatch.exposure.light import ev100
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting, brightness

GUIDE_NUMBER = 58.0
"""Metres at ISO 100 and full power: an example in common use."""


def aperture_stops(one: float, other: float) -> float:
    """Stops between two f-numbers: brighter is positive."""
    return brightness(Setting.APERTURE, other) - brightness(Setting.APERTURE, one)


def test_sunny_16() -> None:
    """f/16 at 1/ISO second is EV 14.64 at any ISO (computed), a third below the tables' 15 for sun (ANSI PH2.7)."""
    assert ev100(16, 1 / 100, 100) == pytest.approx(14.6439, abs=1e-4)
    assert ev100(16, 1 / 800, 800) == pytest.approx(ev100(16, 1 / 100, 100))
    assert ev100(16, 1 / 128, 100) == pytest.approx(15.0)


def test_sunny_16_on_a_landscape_plan_moves_the_time_only() -> None:
    """Sun at f/8 and ISO 100 wants 1/500 (f/16 1/125 is f/8 1/500; common practice); from 1/125 that is two stops."""
    call = make_call(load_plan("landscape"), Settings(2.0**-7, 8.0, 100.0), reading(2.0))
    assert (call.kind, call.setting, call.from_label, call.to_label) == ("darker", Setting.SHUTTER, "1/125", "1/500")


@pytest.mark.parametrize(("distance_m", "aperture"), [(10.36, 5.6), (2.0, 29.0)])
def test_guide_number_gives_the_aperture(distance_m: float, aperture: float) -> None:
    """N = GN / d: f/5.6 at 10.36 m, f/29 at 2 m; the same stops as the inverse square law (guide-number arithmetic)."""
    assert pytest.approx(aperture, rel=1e-3) == GUIDE_NUMBER / distance_m
    nearer = aperture_stops(GUIDE_NUMBER / distance_m, GUIDE_NUMBER / (2 * distance_m))
    assert nearer == pytest.approx(2.0)
    assert distance_factor(-nearer) == pytest.approx(2.0)


@pytest.mark.parametrize(("iso", "number"), [(200.0, 82.02), (400.0, 116.0)])
def test_a_guide_number_grows_with_the_root_of_iso(iso: float, number: float) -> None:
    """GN_S = GN sqrt(S / 100): 82.02 at ISO 200, 116 at ISO 400; in stops what ISO gives (guide-number arithmetic)."""
    assert aperture_stops(number, GUIDE_NUMBER) == pytest.approx(brightness(Setting.ISO, iso), abs=1e-3)


@pytest.mark.parametrize(("power", "number"), [(1 / 2, 41.01), (1 / 16, 14.5)])
def test_a_guide_number_shrinks_with_the_root_of_power(power: float, number: float) -> None:
    """GN_p = GN sqrt(power): 41.01 at half, 14.5 at 1/16; in stops, what power takes (guide-number arithmetic)."""
    assert aperture_stops(number, GUIDE_NUMBER) == pytest.approx(brightness(Setting.LIGHT, power), abs=1e-3)


def test_joules_are_stops_of_power() -> None:
    """400 to 500 J is 0.322 stop (computed)."""
    assert math.log2(500 / 400) == pytest.approx(brightness(Setting.LIGHT, 1.0) - brightness(Setting.LIGHT, 400 / 500))


@pytest.mark.parametrize(("plan", "base"), [("window-portrait", 100.0), ("window-card", 100.0)])
def test_in_a_portrait_time_and_aperture_are_held_and_iso_follows(plan: str, base: float) -> None:
    """1/250 and f/2.8 stay while ISO has room; at base ISO and too bright the time goes shorter, never longer."""
    held = Settings(2.0**-8, 2.0**1.5, 400.0)
    for offset in (-2.0, -0.5, 0.5, 2.0):
        assert make_call(load_plan(plan), held, reading(offset)).setting is Setting.ISO
    bright = make_call(load_plan(plan), held.with_value(Setting.ISO, base), reading(1.0))
    assert (bright.setting, bright.from_label, bright.to_label) == (Setting.SHUTTER, "1/250", "1/500")
    dark = make_call(load_plan(plan), held.with_value(Setting.ISO, 3200.0), reading(-1.0))
    assert (dark.kind, dark.setting) == ("blocked", None)
