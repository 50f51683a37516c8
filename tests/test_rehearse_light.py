"""Flash, continuous and mixed light on the simulated card."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.exposure.settings import Settings
from tetherwatch.rehearse.light import FLASH_REFERENCE_S, STEADY_SHARE, Light

KINDS = st.sampled_from(list(STEADY_SHARE))
SETTINGS = st.builds(
    Settings,
    shutter_s=st.floats(-10, 3).map(lambda stops: 2.0**stops),
    aperture=st.floats(0, 10).map(lambda stops: 2.0 ** (stops / 2)),
    iso=st.floats(-1, 10).map(lambda stops: 100 * 2.0**stops),
)


@given(kind=KINDS, settings=SETTINGS)
def test_light_that_answers_the_settings_gives_mid_grey(kind: str, settings: Settings) -> None:
    """At the reference shutter, any light of minus the settings' brightness puts the card at offset 0."""
    settings = replace(settings, shutter_s=FLASH_REFERENCE_S)
    assert settings.brightness_stops is not None
    light = Light(kind, -settings.brightness_stops)  # type: ignore[arg-type]
    assert light.offset_stops(settings) == pytest.approx(0.0, abs=1e-9)


@given(settings=SETTINGS, level=st.floats(-10, 20))
def test_continuous_light_counts_every_setting(settings: Settings, level: float) -> None:
    """Under continuous light the offset is light plus brightness at any shutter."""
    assert settings.brightness_stops is not None
    assert Light("continuous", level).offset_stops(settings) == pytest.approx(
        level + settings.brightness_stops, abs=1e-9
    )


@given(kind=KINDS, settings=SETTINGS, move=st.floats(-5, 5), pop=st.floats(0, 1))
def test_lamp_aperture_and_iso_move_every_light_alike(kind: str, settings: Settings, move: float, pop: float) -> None:
    """A stop of light, aperture or ISO is a stop in the picture, with and without flash."""
    light = Light(kind, 5.0)  # type: ignore[arg-type]
    before = light.offset_stops(settings, pop)
    assert settings.aperture and settings.iso
    moved = [
        light.moved(move).offset_stops(settings, pop),
        light.offset_stops(replace(settings, iso=settings.iso * 2**move), pop),
        light.offset_stops(replace(settings, aperture=settings.aperture / 2 ** (move / 2)), pop),
    ]
    assert moved == pytest.approx([before + move] * 3, abs=1e-9)


def test_shutter_hardly_touches_flash() -> None:
    """Below sync speed a stop of shutter adds only the room's lamps to a flash picture: about a hundredth of a stop."""
    settings = Settings(FLASH_REFERENCE_S, 8.0, 100.0)
    slower = replace(settings, shutter_s=2 * FLASH_REFERENCE_S)
    light = Light("flash", 10.0)
    assert 0 < light.offset_stops(slower) - light.offset_stops(settings) < 0.015


def test_mixed_light_adds_linearly() -> None:
    """A stop of shutter under mixed light doubles the steady quarter: log2(0.75 + 2 x 0.25) = 0.322 stop."""
    settings = Settings(FLASH_REFERENCE_S, 8.0, 100.0)
    slower = replace(settings, shutter_s=2 * FLASH_REFERENCE_S)
    light = Light("mixed", 10.0)
    assert light.offset_stops(slower) - light.offset_stops(settings) == pytest.approx(math.log2(1.25))


@pytest.mark.parametrize(("kind", "loss"), [("flash", -7.0), ("mixed", -2.0)])
def test_misfire_leaves_the_steady_part(kind: str, loss: float) -> None:
    """Without the flash only the steady share of the light remains."""
    settings = Settings(FLASH_REFERENCE_S, 8.0, 100.0)
    light = Light(kind, 10.0)  # type: ignore[arg-type]
    assert light.offset_stops(settings, pop=0.0) - light.offset_stops(settings) == pytest.approx(loss)


@given(settings=SETTINGS, pop=st.floats(0, 1))
def test_continuous_light_has_no_flash_to_lose(settings: Settings, pop: float) -> None:
    """Lamps that burn all the time do not depend on what a flash gives."""
    light = Light("continuous", 5.0)
    assert light.offset_stops(settings, pop) == light.offset_stops(settings)


@pytest.mark.parametrize(("kind", "loss"), [("flash", 0.99), ("mixed", 0.68)])
def test_half_a_pop_loses_less_than_a_stop(kind: str, loss: float) -> None:
    """What burns all the time is not halved: log2(0.5 x 0.75 + 0.25) = -0.678 stop under mixed light."""
    settings = Settings(FLASH_REFERENCE_S, 8.0, 100.0)
    light = Light(kind, 10.0)  # type: ignore[arg-type]
    assert light.offset_stops(settings) - light.offset_stops(settings, pop=0.5) == pytest.approx(loss, abs=0.005)


def test_unknown_setting_is_refused() -> None:
    """Light cannot be worked out from incomplete settings."""
    with pytest.raises(ValueError, match="three settings"):
        Light("flash", 1.0).offset_stops(Settings(aperture=8.0, iso=100.0))
