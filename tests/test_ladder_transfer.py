"""Photon transfer finds the gain and the read noise that a simulated sensor was given."""

import math
import warnings
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ladder_frames import BLACK, GREY_SHARE, TO_LIGHT, Sensor, group, ladder, look, scene, site
from numpy.typing import NDArray

from tetherwatch.ladder.ceiling import find_ceiling
from tetherwatch.ladder.checks import Seen, check_rung
from tetherwatch.ladder.figures import raw_rungs
from tetherwatch.ladder.grouping import Refusal
from tetherwatch.ladder.look import Look
from tetherwatch.ladder.records import Ceiling, Options, Output
from tetherwatch.ladder.tiles import Tiles, pair_tiles, single_tiles
from tetherwatch.ladder.transfer import ROUNDING, Points, Transfer, fit_transfer, joined

ISOS = (100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0, 6400.0)


def points_of(tiles: Tiles, keep: slice = slice(None)) -> Points:
    """All tiles of a site as points."""
    signal, variance = tiles.signal.ravel()[keep], tiles.variance.ravel()[keep]
    return Points(signal, variance, np.full(signal.size, tiles.pixels), np.zeros(signal.size))


def drawn(gain: float, read_dn: float, seed: int, tiles: int = 400, pixels: int = 575) -> Points:
    """Sample variances of flat tiles, as the model has them."""
    rng = np.random.default_rng(seed)
    signal = 2.0 ** rng.uniform(2, 13, tiles)
    variance = (gain * signal + read_dn**2 + ROUNDING) * rng.chisquare(pixels, tiles) / pixels
    return Points(signal, variance, np.full(tiles, float(pixels)), np.zeros(tiles))


def line(gain: float, dark: float, error: float) -> Transfer:
    """A fitted line whose dark end is known to `error`."""
    return Transfer(gain, dark, np.diag([(1e-3 * gain) ** 2, error**2]))


def test_pairs_of_the_worked_example_give_its_gain_and_read_noise() -> None:
    """K 0.25, read 4 e, fixed pattern of 1 %, 400 x 400 pixels at 100 to 30,000 e: 0.250 and 1.0 DN, not 38 % more."""
    rng, sensor = np.random.default_rng(3), Sensor(gain=0.25, early_e=4.0, late_dn=0.0, prnu=0.01)
    parts = []
    for electrons in (100, 1000, 10000, 30000):
        light = np.full((384, 384), electrons * 0.25 / 15871)
        frames = [site(sensor.codes(light, 100, rng)) for _ in range(2)]
        parts.append(pair_tiles(*frames, TO_LIGHT, 1.0))
        theory = electrons / 16 + 1 + ROUNDING
        assert parts[-1].variance.mean() == pytest.approx(theory, rel=0.02)
        fixed = (0.01 * electrons / 4) ** 2
        assert single_tiles(frames[0], TO_LIGHT).variance.mean() == pytest.approx(theory + fixed, rel=0.05)
    points = [points_of(tiles) for tiles in parts]
    found = fit_transfer(Points(*(np.concatenate([getattr(p, n) for p in points]) for n in Points.__slots__)))
    assert found.gain == pytest.approx(0.25, rel=0.01)
    assert math.sqrt(found.dark - ROUNDING) == pytest.approx(1.0, rel=0.03)


@given(gain=st.floats(0.05, 40), read_e=st.floats(1, 12), seed=st.integers(0, 10**6))
@settings(max_examples=40)
def test_the_fit_is_right_within_its_own_uncertainty(gain: float, read_e: float, seed: int) -> None:
    """Gain and dark variance lie within 5.5 of their standard uncertainties."""
    found = fit_transfer(drawn(gain, read_e * gain, seed))
    assert abs(found.gain - gain) < 5.5 * math.sqrt(found.covariance[0, 0])
    assert abs(found.dark - (read_e * gain) ** 2 - ROUNDING) < 5.5 * math.sqrt(found.covariance[1, 1])


def test_the_stated_uncertainty_is_the_scatter() -> None:
    """Over many seeds the standard deviation of the gain is what the fit says, and its mean is the truth."""
    found = [fit_transfer(drawn(0.5, 2.0, seed)) for seed in range(200)]
    gains = np.array([one.gain for one in found])
    stated = math.sqrt(found[0].covariance[0, 0])
    assert gains.std() == pytest.approx(stated, rel=0.2)
    assert gains.mean() == pytest.approx(0.5, abs=4 * stated / math.sqrt(200))


def test_tiles_in_which_something_moved_are_left_out() -> None:
    """A tenth of the tiles with ten times the noise moves the gain by less than its uncertainty allows."""
    points = drawn(0.25, 1.0, 8)
    points.variance[::10] *= 10
    found = fit_transfer(points)
    assert found.gain == pytest.approx(0.25, rel=0.01)
    assert found.left_out == pytest.approx(0.1, abs=0.01)


def test_rungs_that_agree_share_what_they_know_of_read_noise() -> None:
    """Read noise in two parts is found from all rungs: a rung that knows little alone comes to the common line."""
    gains = (0.25, 0.5, 1.0, 2.0, 4.0)
    own = [line(gain, 4 * gain**2 + 1 + ROUNDING, 0.01) for gain in gains]
    own[0] = line(0.25, 1.25 + ROUNDING + 0.8, 0.5)
    together = joined(own)
    assert together is not None
    assert together[0].dark - ROUNDING == pytest.approx(1.25, abs=0.02)
    assert together[0].covariance[1, 1] < own[0].covariance[1, 1] / 100


def test_a_sensor_that_switches_its_circuits_keeps_each_rungs_own_read_noise() -> None:
    """Read noise that falls from one rung to the next is on no common line; neither are two rungs one."""
    switching = [line(gain, (4 if gain < 1 else 1) * gain**2 + ROUNDING, 0.01) for gain in (0.25, 0.5, 1.0, 2.0)]
    assert joined(switching) is None
    assert joined(switching[:2]) is None


def test_a_ladder_of_pairs_is_measured_to_the_proofs_limits() -> None:
    """Gain within 1 %, read noise within 3 % and SNR within 2 % at every rung, the fixed pattern notwithstanding."""
    sensor = Sensor(prnu=0.01)
    for rung in raw_rungs(ladder(sensor, ISOS), Options()):
        gain = sensor.gain * rung.iso / 100
        assert rung.gain_dn_per_e and rung.read_noise_dn and rung.read_noise_e and rung.snr_grey and rung.snr_shadow
        assert rung.gain_dn_per_e.value == pytest.approx(gain, rel=0.01)
        read = sensor.read_dn(rung.iso)
        assert rung.read_noise_dn.value == pytest.approx(read, rel=0.03, abs=3 * rung.read_noise_dn.uncertainty)
        assert rung.read_noise_e.value == pytest.approx(read / gain, rel=0.03, abs=3 * rung.read_noise_e.uncertainty)
        grey = 15871 * GREY_SHARE
        assert rung.snr_grey.value == pytest.approx(sensor.snr(grey, rung.iso), rel=0.02)
        assert rung.snr_shadow.value == pytest.approx(sensor.snr(grey / 8, rung.iso), rel=0.02)


def test_single_frames_are_measured_in_spite_of_texture_and_fixed_pattern() -> None:
    """One frame a rung, half the picture texture, a fixed pattern of 1 %: gain and SNR within 5 %, and less certain."""
    sensor = Sensor(prnu=0.01)
    pairs = raw_rungs(ladder(sensor, ISOS), Options())
    for single, pair in zip(raw_rungs(ladder(sensor, ISOS, frames=1), Options()), pairs, strict=True):
        assert single.method == "single" and pair.method == "pair"
        assert single.gain_dn_per_e and pair.gain_dn_per_e and single.snr_grey
        assert single.gain_dn_per_e.value == pytest.approx(sensor.gain * single.iso / 100, rel=0.05)
        assert single.gain_dn_per_e.uncertainty > pair.gain_dn_per_e.uncertainty
        assert single.snr_grey.value == pytest.approx(sensor.snr(15871 * GREY_SHARE, single.iso), rel=0.05)
        assert single.row_noise_dn is None


def made(lights: list[NDArray[np.float64]], frames: int) -> list[Seen]:
    """A ladder from ISO 100 up with a scene for each rung."""
    looks: list[Look] = []
    for light, iso in zip(lights, ISOS, strict=False):
        looks.append(look(Sensor(), light, iso, 1, looks[0] if looks else None, (1.0,) * frames))
    checked = [check_rung(group(iso), one, group(100), looks[0]) for one, iso in zip(looks, ISOS, strict=False)]
    return [Seen(group(iso), *pair) for iso, pair in zip(ISOS, zip(looks, checked, strict=True), strict=False)]


@pytest.mark.parametrize("frames", [1, 2])
@pytest.mark.parametrize("level", [0.15, 0.0005])
def test_a_scene_of_one_tone_gives_no_line(frames: int, level: float) -> None:
    """A wall says nothing of how noise grows with light: refused, not guessed."""
    with pytest.raises(Refusal, match="too few tones"):
        raw_rungs(made([np.full((480, 720), level)] * 4, frames), Options())


def test_a_rung_that_cannot_be_measured_does_not_cost_the_others() -> None:
    """One rung of one tone has no figures, and says so; the others have theirs."""
    lights = [scene(), scene(), np.full((480, 720), 0.15), scene()]
    small = Options(output=Output("web", 300.0))
    rungs = raw_rungs(made(lights, 2), small)
    assert [rung.gain_dn_per_e is None for rung in rungs] == [False, False, True, False]
    assert "range" in {finding.kind for finding in rungs[2].warnings}
    ceiling = find_ceiling(rungs, small)
    assert isinstance(ceiling, Ceiling) and ceiling.iso == 800.0


@pytest.mark.parametrize("frames", [1, 2])
def test_noise_too_low_for_the_iso_is_doubted(frames: int) -> None:
    """A rung with half the noise power of its ISO looks like one smoothed; the others are not blamed."""
    seen = ladder(Sensor(), ISOS[:5], frames=frames)
    quiet = look(Sensor(gain=0.125, early_e=3.5), scene(), 800, 3, seen[0].look, (1.0,) * frames)
    seen[3] = replace(seen[3], look=quiet)
    doubted = [rung.iso for rung in raw_rungs(seen, Options()) if rung.warnings]
    assert doubted == [800.0]


def strips(sensor: Sensor) -> tuple[list[int], list[list[NDArray[np.uint16]]]]:
    """Pairs of even frames at rising light, the first dark, with the electrons of each."""
    rng = np.random.default_rng(11)
    electrons = [0, *range(500, 20001, 1500)]
    light = [np.full((192, 192), count * sensor.gain / 15871) for count in electrons]
    return electrons, [[sensor.codes(part, 100, rng) for _ in range(2)] for part in light]


def test_the_reference_implementation_of_emva_1288_agrees(monkeypatch: pytest.MonkeyPatch) -> None:
    """Gain and read noise of the same frames by the package emva1288: within 1 % and 3 %."""
    pytest.importorskip("emva1288", reason="the reference implementation is not installed")
    if not hasattr(np, "asfarray"):  # numpy 2 dropped what the package calls
        monkeypatch.setattr(np, "asfarray", lambda values: np.asarray(values, float), raising=False)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        reference = _emva_results(Sensor(early_e=6.0))
    electrons, pairs = strips(Sensor(early_e=6.0))
    tiles = [pair_tiles(site(a), site(b), TO_LIGHT, 1.0) for a, b in pairs]
    points = [points_of(part) for part in tiles]
    ours = fit_transfer(Points(*(np.concatenate([getattr(p, n) for p in points]) for n in Points.__slots__)))
    assert ours.gain == pytest.approx(reference.gain, rel=0.01)
    assert math.sqrt(ours.dark - ROUNDING) / ours.gain == pytest.approx(reference.read_e, rel=0.03)
    assert len(electrons) == len(pairs) and min(pairs[0][0].flat) > BLACK - 20


def _emva_results(sensor: Sensor) -> SimpleNamespace:
    from emva1288.process.data import Data1288
    from emva1288.process.results import Results1288
    from emva1288.process.routines import get_int_imgs

    electrons, pairs = strips(sensor)
    temporal = {}
    for count, pair in zip(electrons, pairs, strict=True):
        summed = get_int_imgs(pair)
        temporal[float(count)] = {
            "sum": float(summed["sum"].sum()),
            "pvar": float(summed["pvar"].sum()),
            "dmean": float(summed["dmean"]),
        }
    spatial = {float(electrons[i]): get_int_imgs(pairs[i]) for i in (0, len(pairs) // 2)}
    height, width = pairs[0][0].shape
    data = {"width": width, "height": height, "temporal": {1.0: temporal}, "spatial": {1.0: spatial}}
    results = Results1288(Data1288(data).data, index_u_ysat=len(pairs) - 2)
    dark = float(results.temporal["s2_ydark"][0])
    return SimpleNamespace(gain=float(results.K), read_e=math.sqrt(dark - 1 / 12) / float(results.K))
