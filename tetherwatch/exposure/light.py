"""Light: exposure values at ISO 100 and what a hand meter would show.

Sources: ISO 2720:1974 meter equations (N^2/t = L S / K reflected, N^2/t = E S / C incident); K and C are the
constants in common use, both inside the ranges that standard allows (K 10.6 to 13.4, C 240 to 400 flat receptor).
"""

import math

from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import BASE_ISO, exposure_value

REFLECTED_K = 12.5
"""Reflected-light meter constant, cd/m2 s ISO."""

RAW_GREY = 10 / 78
"""Mid-grey as a part of raw saturation (ISO 12232: S_sat = 78 / H_sat, metered exposure 10 / S)."""

INCIDENT_C = 250.0
"""Incident-light meter constant for a flat receptor, lx s ISO."""


def ev100(aperture: float, shutter_s: float, iso: float) -> float:
    """EV100 = log2(N^2 / t) - log2(S / 100), in stops."""
    return exposure_value(aperture, shutter_s) - math.log2(iso / BASE_ISO)


def luminance(ev: float, k: float = REFLECTED_K) -> float:
    """Average scene luminance in cd/m2 that a reflected-light meter reads as `ev` (EV100)."""
    return float(2.0**ev * k / BASE_ISO)


def illuminance(ev: float, c: float = INCIDENT_C) -> float:
    """Illuminance in lx that an incident-light meter reads as `ev` (EV100)."""
    return float(2.0**ev * c / BASE_ISO)


def light_value(settings: Settings, level_stops: float) -> float | None:
    """Scene light at ISO 100 in stops: the same light gives the same value whatever the settings.

    `level_stops` is the metered level against mid-grey (negative: darker). None if a setting is unknown.
    """
    stops = settings.brightness_stops
    return None if stops is None else level_stops - stops
