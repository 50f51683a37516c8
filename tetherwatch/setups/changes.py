"""What changed from one frame to the next, in words: settings, light, or both."""

from tetherwatch.advise import words
from tetherwatch.advise.likeness import light_change, moves
from tetherwatch.advise.records import Plan, Shot
from tetherwatch.exposure.stops import Setting

_STILL_STOPS = 0.1
"""A change of light that flashes and small movements bring about by themselves."""


def changes(plan: Plan, before: Shot, after: Shot) -> str:
    """What changed, as one clause: "ISO 400 to 800; light +0.7 stops"."""
    moved, light = moves(before, after), light_change(plan, before, after)
    if moved is None:
        return "settings unknown"
    settings = [_setting(plan, before, after, setting) for setting, stops in moved.items() if abs(stops) > 1e-6]
    return f"{', '.join(settings) or 'settings as before'}; {_light(light)}"


def _setting(plan: Plan, before: Shot, after: Shot, setting: Setting) -> str:
    here, there = (shot.metadata.settings.get(setting) for shot in (before, after))
    if here is None or there is None:
        return words.name(setting)
    labels = (words.setting_label(setting, value, plan.step) for value in (here, there))
    return f"{words.name(setting)} {' to '.join(labels)}"


def _light(change: float | None) -> str:
    if change is None:
        return "light not comparable"
    return "light as before" if abs(change) < _STILL_STOPS else f"light {change:+.1f} stops"
