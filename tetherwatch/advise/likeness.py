"""How much two frames differ: in the light that the settings do not explain, and in how the picture looks."""

from collections.abc import Mapping

from tetherwatch.advise.records import LightKind, Plan, Shot
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness
from tetherwatch.meter.records import Reading

PAUSE_S = 45.0
"""Seconds between frames after which a new setup is assumed: moving lights takes minutes (common practice)."""

ALIKE_STOPS = 0.3
"""Frames no further apart show the same light: three times what a flash repeats to (makers claim 0.05 to 0.1 stop)."""

_ALIKE_CONTRAST_STOPS = 1.0

_BRIGHTS_PERCENT = 90.0
_CONTRAST_PERCENT = (10.0, 90.0)

_CRUSHED_PERCENT = 75.0
_BLACK_STOPS = 4.5
"""Without light, noise puts 84 % of the pixels at or below black plus one sigma, and even at ISO 12800 all but one in
a hundred stay this far below saturation."""


def paused(before: Shot, after: Shot) -> bool:
    """Whether so much time lies between two frames that another setup is assumed."""
    return abs(after.time_s - before.time_s) > PAUSE_S


def moves(before: Shot, after: Shot) -> dict[Setting, float] | None:
    """How far each camera setting that both frames know has moved, in stops; None where only one of them knows it."""
    return setting_moves(before.metadata.settings, after.metadata.settings)


def setting_moves(one: Settings, other: Settings) -> dict[Setting, float] | None:
    """The same between two sets of settings."""
    if any((one.get(setting) is None) != (other.get(setting) is None) for setting in CAMERA_SETTINGS):
        return None
    return {setting: _stops(other, setting) - _stops(one, setting) for setting in CAMERA_SETTINGS}


def _stops(settings: Settings, setting: Setting) -> float:
    value = settings.get(setting)
    return 0.0 if value is None else brightness(setting, value)


def light_change(plan: Plan, before: Shot, after: Shot) -> float | None:
    """Light in the metered area that came (negative: went) without the settings explaining it, in stops.

    A setting that neither frame knows is taken to stand still: an old lens. None where frames cannot be compared.
    """
    moved, one, other = moves(before, after), before.reading, after.reading
    if moved is None or not same_area(one, other):
        return None
    if one.light_value is None or other.light_value is None:
        return unexplained(plan.light, moved, other.level_stops - one.level_stops)
    return unexplained(plan.light, moved, other.light_value - one.light_value + sum(moved.values()))


def same_area(one: Reading, other: Reading) -> bool:
    """Whether two frames were metered in the same place: of the picture, or of the subject."""
    return one.area == other.area and (one.area == "face" or one.metered == other.metered)


def brights_change(plan: Plan, before: Shot, after: Shot) -> float | None:
    """The same for the bright parts of the whole picture."""
    moved = moves(before, after)
    if moved is None:
        return None
    one, other = (_tone(shot.reading, _BRIGHTS_PERCENT) for shot in (before, after))
    return unexplained(plan.light, moved, one - other)


def unexplained(light: LightKind, moved: Mapping[Setting, float], change_stops: float) -> float:
    """What is left of a change of level after the settings' part; under flash the shutter may do anything up to all."""
    most = sum(moved.values())
    least = most if light == "continuous" else most - moved[Setting.SHUTTER]
    return change_stops - min(max(change_stops, min(least, most)), max(least, most))


def alike(plan: Plan, one: Shot, other: Shot) -> bool:
    """Whether two frames show the same light and about the same kind of picture."""
    change = light_change(plan, one, other)
    contrasts = contrast(one.reading) - contrast(other.reading)
    return change is not None and abs(change) <= ALIKE_STOPS and abs(contrasts) <= _ALIKE_CONTRAST_STOPS


def contrast(reading: Reading) -> float:
    """Stops between the dark and the bright parts of the whole picture (10th and 90th percentile)."""
    dark, bright = (_tone(reading, percent) for percent in _CONTRAST_PERCENT)
    return dark - bright


def is_black(reading: Reading) -> bool:
    """Whether no light at all reached the sensor."""
    brightest = min(tones.percentile(99.0) for tones in reading.tones)
    return reading.crushed_percent >= _CRUSHED_PERCENT and brightest >= _BLACK_STOPS


def _tone(reading: Reading, percent: float) -> float:
    """A percentile of the green or only channel of the whole picture, in stops below saturation."""
    green = [tones for tones in reading.tones if tones.channel in ("g", "y")] or reading.tones
    return green[0].percentile(percent)
