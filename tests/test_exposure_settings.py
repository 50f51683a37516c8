"""The three settings of a capture: unknowns stay unknown, nominal numbers become exact."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.exposure.dial import Dial, Step, snap
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness

maybe = st.none() | st.floats(1e-4, 1e5)
any_settings = st.builds(Settings, maybe, maybe, maybe)
steps = st.sampled_from(Step)


@given(any_settings, steps)
def test_snapping_handles_each_setting_alone(settings: Settings, step: Step) -> None:
    """Each known value is snapped on its own dial; an unknown one stays unknown."""
    snapped = settings.snapped(step)
    for setting in CAMERA_SETTINGS:
        value = settings.get(setting)
        assert snapped.get(setting) == (None if value is None else snap(setting, value, step))


@given(any_settings, steps)
def test_snapping_settings_twice_changes_nothing(settings: Settings, step: Step) -> None:
    """Exact dial values stand for themselves."""
    once = settings.snapped(step)
    twice = once.snapped(step)
    for setting in CAMERA_SETTINGS:
        value = once.get(setting)
        assert twice.get(setting) == (None if value is None else pytest.approx(value, rel=1e-12))


def test_snapping_a_camera_reading() -> None:
    """1/250, f/2.8 and ISO 12800 are 2^-8 s, 2^1.5 and 100 * 2^7."""
    snapped = Settings(1 / 250, 2.8, 12800).snapped(Step.THIRD)
    assert snapped == Settings(2.0**-8, pytest.approx(2**1.5), pytest.approx(100 * 2.0**7))


@given(st.data(), steps)
def test_brightness_is_the_sum_of_the_dials(data: st.DataObject, step: Step) -> None:
    """The brightness of exact settings is the number of dial steps times the step."""
    positions = {setting: data.draw(st.sampled_from(Dial(setting, step).positions)) for setting in CAMERA_SETTINGS}
    settings = Settings()
    for setting, position in positions.items():
        settings = settings.with_value(setting, Dial(setting, step).value(position))
    assert settings.brightness_stops == pytest.approx(sum(positions.values()) * step.stops, abs=1e-9)


@given(any_settings)
def test_brightness_is_unknown_unless_all_three_are_known(settings: Settings) -> None:
    """One unknown setting makes the sum unknown, never zero."""
    unknown = any(settings.get(setting) is None for setting in CAMERA_SETTINGS)
    assert (settings.brightness_stops is None) == unknown


@given(any_settings, st.sampled_from(CAMERA_SETTINGS), st.floats(1e-4, 1e5))
def test_replacing_one_setting_leaves_the_others(settings: Settings, setting: Setting, value: float) -> None:
    """A copy with one value replaced differs from the original in that value only."""
    replaced = settings.with_value(setting, value)
    assert replaced.get(setting) == value
    assert all(replaced.get(other) == settings.get(other) for other in CAMERA_SETTINGS if other is not setting)


def test_settings_in_the_trade_order_sum_to_the_known_total() -> None:
    """1/125 s, f/8, ISO 400 in exact values is -7 - 6 + 2 stops."""
    settings = Settings(1 / 125, 8, 400).snapped(Step.THIRD)
    assert settings.brightness_stops == pytest.approx(-11, abs=1e-12)
    assert brightness(Setting.ISO, settings.iso or 0) == pytest.approx(2)


def test_the_lamp_is_not_a_camera_setting() -> None:
    """Asking a capture for the lamp's setting is a mistake of the caller."""
    with pytest.raises(KeyError):
        Settings().get(Setting.LIGHT)
