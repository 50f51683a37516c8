"""Stops: the one unit of all exposure arithmetic, and the APEX values behind it.

Sources: Exif 2.3 (CIPA DC-008) annex "APEX units" for Av, Tv, Sv, Ev; Sv = log2(S / 3.125) as in that annex.
Throughout the package a setting is also expressed as its *brightness* in stops: larger is always brighter.

    shutter   log2(t / 1 s)         = -Tv
    aperture  -2 log2(N)            = -Av
    iso       log2(S / 100)         = Sv - 5
    light     log2(part of full power)
    compensation, which is stated in stops, as it is
"""

import math
from enum import Enum

SPEED_AT_SV_ZERO = 3.125
"""ISO arithmetic speed at Sv 0 (Exif annex)."""

BASE_ISO = 100.0
"""The speed at which light values are stated."""


class Setting(str, Enum):
    """What a call may move. `LIGHT` is the lamp itself: power, dimmer or distance; `COMPENSATION` is exposure
    compensation, for a camera that sets its exposure by itself."""

    SHUTTER = "shutter"
    APERTURE = "aperture"
    ISO = "iso"
    LIGHT = "light"
    COMPENSATION = "compensation"


CAMERA_SETTINGS = (Setting.SHUTTER, Setting.APERTURE, Setting.ISO)


def _positive(name: str, value: float) -> float:
    if not (value > 0 and math.isfinite(value)):
        raise ValueError(f"{name} must be a positive finite number, not {value!r}")
    return value


def time_value(shutter_s: float) -> float:
    """Tv = -log2(t), t in seconds. Raises ValueError unless t > 0."""
    return -math.log2(_positive("shutter_s", shutter_s))


def aperture_value(aperture: float) -> float:
    """Av = 2 log2(N), N the f-number. Raises ValueError unless N > 0."""
    return 2 * math.log2(_positive("aperture", aperture))


def speed_value(iso: float) -> float:
    """Sv = log2(S / 3.125), S the ISO arithmetic speed. Raises ValueError unless S > 0."""
    return math.log2(_positive("iso", iso) / SPEED_AT_SV_ZERO)


def exposure_value(aperture: float, shutter_s: float) -> float:
    """Ev = Av + Tv in stops: what the settings ask for, whatever the ISO."""
    return aperture_value(aperture) + time_value(shutter_s)


def brightness(setting: Setting, value: float) -> float:
    """Brightness in stops of a setting's value (seconds, f-number, ISO, or the power of a light); larger is brighter.

    A light's power is a part of its full power: 1/4 is -2 stops. Raises ValueError unless value > 0.
    """
    if setting is Setting.SHUTTER:
        return -time_value(value)
    if setting is Setting.APERTURE:
        return -aperture_value(value)
    if setting is Setting.ISO:
        return math.log2(_positive("iso", value) / BASE_ISO)
    if setting is Setting.LIGHT:
        return math.log2(_positive("power", value))
    return value


def value_at(setting: Setting, stops: float) -> float:
    """The exact value of a setting at a brightness in stops: the inverse of `brightness`."""
    if setting is Setting.SHUTTER:
        return float(2.0**stops)
    if setting is Setting.APERTURE:
        return float(2.0 ** (-stops / 2))
    if setting is Setting.ISO:
        return float(BASE_ISO * 2.0**stops)
    return float(2.0**stops) if setting is Setting.LIGHT else stops
