"""What a profile says of an ISO: measured, between two measured ones, or nothing at all."""

import math
from dataclasses import replace
from datetime import date

import pytest
from body_records import BODY
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.body.records import Calibration, Grey, Noise


@pytest.mark.parametrize(("signal_e", "snr"), [(100, 9.28), (1000, 31.37), (10_000, 99.92), (30_000, 173.16)])
def test_signal_to_noise_follows_the_linear_model(signal_e: float, snr: float) -> None:
    """Worked values of the EMVA 1288 model at 4 electrons of read noise and a gain at which rounding does not count."""
    assert Noise(100.0, 1000.0, 4.0).snr(signal_e) == pytest.approx(snr, abs=0.006)


def test_rounding_to_codes_is_noise_of_a_small_gain() -> None:
    """At a quarter code an electron rounding adds 1.33 electrons squared: 100 electrons give 100 / sqrt(117.33)."""
    assert Noise(100.0, 0.25, 4.0).snr(100.0) == pytest.approx(100 / math.sqrt(100 + 16 + 4 / 3))


@given(st.floats(100.0, 25_600.0))
def test_between_rungs_every_figure_lies_between_theirs(iso: float) -> None:
    """No figure of an ISO leaves the range of the rungs around it."""
    noise = BODY.noise_at(iso)
    assert noise is not None
    low = max((rung for rung in BODY.noise if rung.iso <= iso * (1 + 1e-6)), key=lambda rung: rung.iso)
    high = min((rung for rung in BODY.noise if rung.iso >= iso * (1 - 1e-6)), key=lambda rung: rung.iso)
    assert low.gain_dn_per_e * (1 - 1e-9) <= noise.gain_dn_per_e <= high.gain_dn_per_e * (1 + 1e-9)
    assert high.read_noise_e - 1e-9 <= noise.read_noise_e <= low.read_noise_e + 1e-9


def test_half_way_between_two_rungs_gain_doubles_with_iso() -> None:
    """Two stops above ISO 100 and two below 1600 the gain is 4 times that of ISO 100, the rest half-way."""
    noise = BODY.noise_at(400.0)
    assert noise is not None
    assert noise.gain_dn_per_e == pytest.approx(1.0)
    assert noise.read_noise_e == pytest.approx(3.75)
    assert noise.saturation_dn == {"g": pytest.approx(15_400.0)}


@pytest.mark.parametrize("iso", [50.0, 99.0, 25_700.0, 102_400.0])
def test_nothing_is_said_beyond_the_measured_speeds(iso: float) -> None:
    """Noise is never carried on past the lowest or the highest rung."""
    assert BODY.noise_at(iso) is None
    assert BODY.grey_snr(iso) is None
    assert BODY.calibration(iso) == Calibration("harrow-q24", {}, 10 / 78)


def test_grey_at_base_is_as_noisy_as_its_electrons() -> None:
    """At ISO 100 mid-grey holds 10/78 of the 60,000 electrons that fill the range."""
    grey_e = 60_000 * 10 / 78
    assert BODY.grey_snr(100.0) == pytest.approx(grey_e / math.sqrt(grey_e + 25 + (1 / 12) / 0.0625))


def test_a_grey_of_its_own_moves_signal_and_calibration() -> None:
    """A card that lands half a stop lower is stated as -0.5 stops, and its noise is that of the smaller signal."""
    body = replace(BODY, grey=Grey(10 / 78 * 2**-0.5, date(2026, 11, 21)))
    assert body.grey is not None and body.grey.stops == pytest.approx(-0.5)
    assert body.calibration(100.0).grey_share == body.grey.share
    assert (body.grey_snr(100.0) or 0) < (BODY.grey_snr(100.0) or 0)


def test_what_was_not_measured_is_not_known() -> None:
    """Without saturation there are no electrons of grey; without an ISO there is no saturation."""
    assert BODY.grey_snr(25_600.0) is None
    assert BODY.calibration(None).saturation_dn == {}
