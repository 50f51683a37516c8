"""Signal to noise, dynamic range, colour noise and the viewing condition against worked values."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.frame.records import Channel
from tetherwatch.ladder.noise import colour_snr, dynamic_range, electrons_for, snr, viewing_scale, weighted_noise
from tetherwatch.ladder.records import Output
from tetherwatch.ladder.transfer import Transfer

KNOWN = np.diag([1e-6, 1e-4])


def sensor(read_e: float, gain: float = 0.25) -> Transfer:
    """A line without rounding noise."""
    return Transfer(gain, (read_e * gain) ** 2, KNOWN)


@pytest.mark.parametrize(("electrons", "value"), [(100, 9.28), (1000, 31.37), (10000, 99.92), (30000, 173.16)])
def test_signal_to_noise_is_that_of_the_worked_values(electrons: float, value: float) -> None:
    """Read noise 4 e: EMVA 1288's SNR at 100 to 30,000 electrons."""
    assert snr(sensor(4.0), electrons / 4).value == pytest.approx(value, abs=0.006)


@pytest.mark.parametrize(
    ("wanted", "read_e", "electrons"),
    [
        (10, 0, 100),
        (10, 3, 108.3),
        (10, 10, 161.8),
        (40, 0, 1600),
        (40, 3, 1608.9),
        (40, 10, 1694.4),
        (100, 3, 10009),
        (100, 10, 10099),
        (40, 5, 1624.6),
        (10, 5, 120.7),
    ],
)
def test_electrons_for_a_wanted_signal_to_noise(wanted: float, read_e: float, electrons: float) -> None:
    """The worked values, and that so many electrons do give that signal to noise."""
    found = electrons_for(wanted, read_e)
    assert found == pytest.approx(electrons, rel=5e-4)
    assert snr(sensor(read_e), found / 4).value == pytest.approx(wanted)


def test_dynamic_range_reaches_from_saturation_down_to_signal_equal_to_noise() -> None:
    """A floor of 1 / 5000 of saturation is 12.29 stops."""
    transfer = sensor(4.0)
    floor_dn = electrons_for(1.0, 4.0) * 0.25
    assert dynamic_range(transfer, 5000 * floor_dn).value == pytest.approx(12.29, abs=0.005)
    assert snr(transfer, floor_dn).value == pytest.approx(1.0)


@given(gain=st.floats(0.05, 30), read_e=st.floats(0.5, 20), change=st.sampled_from((-1, 1)), at=st.sampled_from((0, 1)))
def test_uncertainties_are_those_of_a_small_change(gain: float, read_e: float, change: int, at: int) -> None:
    """Moving gain or dark variance by its standard uncertainty moves each figure by no more than it states."""
    covariance = np.diag([(1e-4 * gain) ** 2, (1e-4 * (read_e * gain) ** 2) ** 2])
    one = Transfer(gain, (read_e * gain) ** 2, covariance)
    step = change * math.sqrt(covariance[at, at])
    other = Transfer(one.gain + step * (at == 0), one.dark + step * (at == 1), covariance)
    for figure in (lambda t: snr(t, 100.0), lambda t: dynamic_range(t, 15871.0)):
        moved = abs(figure(one).value - figure(other).value)
        assert moved <= 1.01 * figure(one).uncertainty + 1e-12


@pytest.mark.parametrize(("weights", "value"), [((0.279, 0.088), 1.4070), ((0.64, 0.16), 1.7550)])
def test_luma_and_chroma_noise_is_weighted(weights: tuple[float, float], value: float) -> None:
    """Deviations of Y, R-Y and B-Y of 1, 1.5 and 2 with the weights of both editions."""
    assert weighted_noise(1.0, 1.5, 2.0, weights) == pytest.approx(value, abs=1e-4)


def test_colour_noise_is_that_of_simulated_pixels() -> None:
    """sigma(D) from the lines equals that of drawn, white-balanced r, g, b."""
    neutral: dict[Channel, float] = {"r": 2.0, "g": 1.0, "b": 1.5}
    transfers: dict[Channel, Transfer] = {"r": sensor(4.0), "g": sensor(3.0, 0.3), "b": sensor(5.0)}
    rng, grey = np.random.default_rng(1), 1000.0
    r, g, b = (
        neutral[c] * rng.normal(grey / neutral[c], math.sqrt(transfers[c].variance(grey / neutral[c])), 400_000)
        for c in transfers
    )
    luma = 0.2125 * r + 0.7154 * g + 0.0721 * b
    expected = weighted_noise(luma.std(), (r - luma).std(), (b - luma).std(), (0.279, 0.088))
    found = colour_snr(transfers, neutral, grey, (0.279, 0.088))
    assert found is not None and found.value == pytest.approx(grey / expected, rel=0.005)
    assert colour_snr({"y": sensor(4.0)}, {"y": 1.0}, grey, (0.279, 0.088)) is None


@pytest.mark.parametrize(
    ("output", "pixels", "scale"),
    [
        (Output("print", 60.0), 4200, 1.0),
        (Output("print", 30.0), 4200, 2.0),
        (Output("print", 120.0), 4200, 0.5),
        (Output("web", 2000.0), 6000, 3.0),
    ],
)
def test_a_smaller_output_averages_noise(output: Output, pixels: int, scale: float) -> None:
    """70 pixels a centimetre is the standard's view; 140 halve what is asked for, 35 double it."""
    assert viewing_scale(output, pixels) == pytest.approx(scale)
