"""Light meter arithmetic against the ISO 2720 equations and colour-hdri."""

import math
import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.exposure.light import ev100, illuminance, light_value, luminance
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness, value_at

with warnings.catch_warnings():  # it warns about optional plotting parts that are not installed
    warnings.simplefilter("ignore")
    from colour_hdri import exposure as outside

# ISO 2720:1974 meter equations with K 12.5 and C 250, computed from the formulas: L = 0.125 * 2^EV, E = 2.5 * 2^EV.
EV_TABLE = [
    (-6, 0.00195, 0.0391), (-4, 0.00781, 0.156), (-2, 0.03125, 0.625), (0, 0.125, 2.5), (1, 0.25, 5), (2, 0.5, 10),
    (3, 1, 20), (4, 2, 40), (5, 4, 80), (6, 8, 160), (7, 16, 320), (8, 32, 640), (9, 64, 1280), (10, 128, 2560),
    (11, 256, 5120), (12, 512, 10240), (13, 1024, 20480), (14, 2048, 40960), (15, 4096, 81920), (16, 8192, 163840),
    (18, 32768, 655360), (20, 131072, 2621440),
]  # fmt: skip

apertures = st.floats(0.7, 64)
shutters = st.floats(1e-5, 120)
isos = st.floats(12, 409600)
complete = st.builds(Settings, shutters, apertures, isos)


@pytest.mark.parametrize(("ev", "cd_m2", "lux"), EV_TABLE)
def test_luminance_and_illuminance_follow_the_table(ev: int, cd_m2: float, lux: float) -> None:
    """Each whole EV100 has the luminance and the illuminance a hand meter shows (three figures)."""
    assert luminance(ev) == pytest.approx(cd_m2, rel=2e-3)
    assert illuminance(ev) == pytest.approx(lux, rel=2e-3)


@pytest.mark.parametrize(
    ("aperture", "shutter_s", "iso", "ev"),
    [(8, 1 / 250, 400, 11.9658), (16, 1 / 100, 100, 14.6439), (11, 1 / 160, 100, 14.2408), (2.8, 1 / 60, 800, 5.8777)],
)
def test_ev100_of_nominal_settings(aperture: float, shutter_s: float, iso: float, ev: float) -> None:
    """Values computed with colour-hdri 0.2.6, exposure_value_100."""
    assert ev100(aperture, shutter_s, iso) == pytest.approx(ev, abs=5e-5)


@pytest.mark.parametrize(
    ("aperture", "shutter_s", "iso", "cd_m2"),
    [(8, 1, 100, 8.0), (8, 1 / 250, 400, 500), (16, 1 / 100, 100, 3200), (5.6, 1 / 125, 100, 490)],
)
def test_reflected_reading(aperture: float, shutter_s: float, iso: float, cd_m2: float) -> None:
    """N^2/t = L S/K (ISO 2720:1974) with K 12.5; values computed with colour-hdri 0.2.6, average_luminance."""
    assert luminance(ev100(aperture, shutter_s, iso)) == pytest.approx(cd_m2, rel=1e-9)


@pytest.mark.parametrize(("aperture", "shutter_s", "lux"), [(8, 1, 160), (16, 1 / 100, 64000), (8, 1 / 125, 20000)])
def test_incident_reading(aperture: float, shutter_s: float, lux: float) -> None:
    """N^2/t = E S/C (ISO 2720:1974) with C 250; values computed with colour-hdri 0.2.6, average_illuminance."""
    assert illuminance(ev100(aperture, shutter_s, 100)) == pytest.approx(lux, rel=1e-9)


@pytest.mark.parametrize(("lux", "ev"), [(2.5, 0), (250, 6.644), (1000, 8.644), (10000, 11.966), (100000, 15.288)])
def test_illuminance_at_known_ev(lux: float, ev: float) -> None:
    """Values computed with colour-hdri 0.2.6, illuminance_to_exposure_value."""
    assert illuminance(ev) == pytest.approx(lux, rel=5e-4)


@pytest.mark.parametrize(("cd_m2", "ev"), [(0.125, 0), (4096, 15), (4000, 14.966)])
def test_luminance_at_known_ev(cd_m2: float, ev: float) -> None:
    """Values computed with colour-hdri 0.2.6, luminance_to_exposure_value."""
    assert luminance(ev) == pytest.approx(cd_m2, rel=5e-4)


def test_meter_constants_shift_the_reading_by_their_ratio() -> None:
    """K 14 against 12.5 is 0.163 stop, the K range of ISO 2720:1974 0.338, of flat C 0.737 (from the formula)."""
    assert math.log2(luminance(10, 14) / luminance(10, 12.5)) == pytest.approx(0.163, abs=5e-4)
    assert math.log2(luminance(10, 13.4) / luminance(10, 10.6)) == pytest.approx(0.338, abs=5e-4)
    assert math.log2(illuminance(10, 400) / illuminance(10, 240)) == pytest.approx(0.737, abs=5e-4)


@pytest.mark.parametrize(
    ("k", "c", "reflectance"), [(12.5, 250, 0.157), (14, 250, 0.176), (11.4, 250, 0.143), (12.5, 330, 0.119)]
)
def test_meter_constants_imply_a_reflectance(k: float, c: float, reflectance: float) -> None:
    """A matt surface of reflectance pi K / C reads the same reflected and incident (computed from the formula)."""
    assert math.pi * luminance(9, k) / illuminance(9, c) == pytest.approx(reflectance, abs=5e-4)


def test_sunny_16_is_below_ev_15() -> None:
    """f/16 at 1/100 s and ISO 100 is EV100 14.644; EV 15 needs 1/128 s (computed from the formula)."""
    assert ev100(16, 1 / 100, 100) == pytest.approx(14.644, abs=5e-4)
    assert ev100(16, 1 / 128, 100) == pytest.approx(15, abs=1e-12)


@given(apertures, shutters, isos)
def test_ev100_agrees_with_colour_hdri(aperture: float, shutter_s: float, iso: float) -> None:
    """An independent implementation gives the same EV100."""
    assert ev100(aperture, shutter_s, iso) == pytest.approx(
        float(outside.exposure_value_100(aperture, shutter_s, iso)), abs=1e-9
    )


@given(apertures, shutters, isos, st.floats(10.6, 13.4), st.floats(240, 400))
def test_readings_agree_with_colour_hdri(aperture: float, shutter_s: float, iso: float, k: float, c: float) -> None:
    """An independent implementation gives the same luminance and illuminance over the constants of ISO 2720:1974."""
    ev = ev100(aperture, shutter_s, iso)
    assert luminance(ev, k) == pytest.approx(float(outside.average_luminance(aperture, shutter_s, iso, k)), rel=1e-9)
    assert illuminance(ev, c) == pytest.approx(
        float(outside.average_illuminance(aperture, shutter_s, iso, c)), rel=1e-9
    )


@given(st.floats(-8, 22))
def test_readings_turn_back_into_ev_with_colour_hdri(ev: float) -> None:
    """The inverse functions of the independent implementation return the EV100 that went in."""
    assert float(outside.luminance_to_exposure_value(luminance(ev), 100)) == pytest.approx(ev, abs=1e-9)
    assert float(outside.illuminance_to_exposure_value(illuminance(ev), 100)) == pytest.approx(ev, abs=1e-9)


@given(st.sampled_from(CAMERA_SETTINGS), st.floats(-8, 8), st.floats(-6, 6))
def test_a_move_is_the_gain_colour_hdri_applies(setting: Setting, start: float, move: float) -> None:
    """Moving a setting by some stops multiplies linear values as adjust_exposure does."""
    moved = brightness(setting, value_at(setting, start + move)) - brightness(setting, value_at(setting, start))
    assert 0.18 * 2**moved == pytest.approx(float(outside.adjust_exposure(0.18, move)), rel=1e-9)


@given(complete)
def test_light_value_of_a_grey_frame_is_its_ev100(settings: Settings) -> None:
    """When the area sits on mid-grey, the light value is what the settings ask for."""
    assert settings.aperture and settings.shutter_s and settings.iso
    expected = ev100(settings.aperture, settings.shutter_s, settings.iso)
    assert light_value(settings, 0.0) == pytest.approx(expected, abs=1e-9)


@given(complete, st.sampled_from(CAMERA_SETTINGS), st.sampled_from(CAMERA_SETTINGS), st.floats(-3, 3), st.floats(-4, 4))
def test_light_value_ignores_equal_and_opposite_moves(
    settings: Settings, first: Setting, second: Setting, move: float, level: float
) -> None:
    """Brighter on one setting and darker on another by as much is the same light at the same level."""
    moved = _moved(_moved(settings, first, move), second, -move)
    assert light_value(moved, level) == pytest.approx(light_value(settings, level), abs=1e-9)


@given(complete, st.sampled_from(CAMERA_SETTINGS), st.floats(-3, 3), st.floats(-4, 4))
def test_light_value_ignores_a_move_the_level_follows(
    settings: Settings, setting: Setting, move: float, level: float
) -> None:
    """A setting moved brighter raises the level by the same stops: the light has not changed."""
    moved = _moved(settings, setting, move)
    assert light_value(moved, level + move) == pytest.approx(light_value(settings, level), abs=1e-9)


@given(complete, st.floats(-4, 4), st.floats(-4, 4))
def test_light_value_follows_the_light(settings: Settings, level: float, brighter: float) -> None:
    """With untouched settings, a level some stops higher is light as many stops brighter."""
    before, after = light_value(settings, level), light_value(settings, level + brighter)
    assert before is not None and after is not None
    assert after - before == pytest.approx(brighter, abs=1e-9)


@pytest.mark.parametrize("setting", CAMERA_SETTINGS)
def test_light_value_is_unknown_without_a_setting(setting: Setting) -> None:
    """With any of the three settings missing, the light is unknown and not guessed."""
    known = {"shutter_s": 1 / 125, "aperture": 8.0, "iso": 100.0}
    field = {Setting.SHUTTER: "shutter_s", Setting.APERTURE: "aperture", Setting.ISO: "iso"}[setting]
    assert light_value(Settings(**known), 0.0) is not None
    assert light_value(Settings(**{**known, field: None}), 0.0) is None


def _moved(settings: Settings, setting: Setting, move: float) -> Settings:
    value = settings.get(setting)
    assert value is not None
    return settings.with_value(setting, value_at(setting, brightness(setting, value) + move))
