"""The sentences of a call, in the trade's words."""

from tetherwatch.advise.levers import EPSILON, has_room
from tetherwatch.advise.records import Plan
from tetherwatch.exposure.dial import Dial
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness
from tetherwatch.meter.records import Reading

_NAMES = {Setting.SHUTTER: "shutter", Setting.APERTURE: "aperture", Setting.ISO: "ISO", Setting.LIGHT: "light"}
_AREAS = {"face": "the face is", "card": "the card is", "box": "the metered box is", "frame": "the frame is"}


def name(setting: Setting) -> str:
    """A setting as the trade writes it inside a sentence."""
    return _NAMES[setting]


def spelled(reading: Reading) -> str:
    """The metered area as the subject of a sentence; an estimate is called one."""
    return _AREAS[reading.area] if reading.source == "raw" else f"{_AREAS[reading.area]} about"


def stops_text(stops: float) -> str:
    """An amount of stops with its unit."""
    return f"{stops:.2f} stop{'' if round(stops, 2) == 1 else 's'}"


def left_over(plan: Plan, settings: Settings, moved: Setting | None, left: float) -> str:
    """What remains to be done beyond a move (or beyond no move at all), and what would give it."""
    direction = "brighter" if left > 0 else "darker"
    sources = [*_next_levers(plan, settings, moved, left), *_lockers(plan, settings, moved, left)]
    if Setting.LIGHT not in plan.levers(left):
        sources.append("add light" if left > 0 else "take light away")
    still = "left" if moved else "needed and no lever has room"
    return f"{stops_text(abs(left))} {direction} {still}: {', or '.join(sources)}"


def _next_levers(plan: Plan, settings: Settings, moved: Setting | None, left: float) -> list[str]:
    """Levers of the plan's order that can go on after the one moved."""
    if moved is None:
        return []
    order = plan.levers(left)
    behind = order[order.index(moved) + 1 :]
    return [f"then {name(setting)}" for setting in behind if has_room(plan, settings, setting, left)][:1]


def _lockers(plan: Plan, settings: Settings, moved: Setting | None, left: float) -> list[str]:
    """Settings the plan holds that could give stops if the user unlocked them. Shutter gives none under flash."""
    order = plan.levers(left)
    held = (setting for setting in CAMERA_SETTINGS if setting is not moved and setting not in order)
    useful = (setting for setting in held if not (setting is Setting.SHUTTER and plan.light == "flash"))
    return [f"unlock {name(setting)}" for setting in useful if _dial_goes_on(plan, settings, setting, left)]


def _dial_goes_on(plan: Plan, settings: Settings, setting: Setting, left: float) -> bool:
    value = settings.get(setting)
    if value is None:
        return True
    dial = Dial(setting, plan.step)
    end = dial.positions[-1] if left > 0 else dial.positions[0]
    reach = brightness(setting, dial.value(end)) - brightness(setting, value)
    return reach * left > EPSILON
