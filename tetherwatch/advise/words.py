"""The sentences of a call, in the trade's words."""

from tetherwatch.advise.levers import worth_unlocking
from tetherwatch.advise.records import Plan
from tetherwatch.exposure.dial import label
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.meter.records import Reading

_NAMES = {Setting.SHUTTER: "shutter", Setting.APERTURE: "aperture", Setting.ISO: "ISO", Setting.LIGHT: "light"}
_AREAS = {"face": "the face", "card": "the card", "box": "the metered box", "frame": "the frame"}


def name(setting: Setting) -> str:
    """A setting as the trade writes it inside a sentence."""
    return _NAMES[setting]


def sentence(*clauses: str | None) -> str:
    """The clauses there are as one sentence."""
    text = "; ".join(clause for clause in clauses if clause)
    return f"{text[0].upper()}{text[1:]}."


def stops_text(stops: float) -> str:
    """An amount of stops with its unit."""
    return f"{stops:.2f} stop{'' if round(stops, 2) == 1 else 's'}"


def judged(reading: Reading) -> str:
    """How far the metered area is from right; an estimate is called one."""
    about = "" if reading.source == "raw" else "about "
    off = reading.offset_stops
    return f"{_AREAS[reading.area]} is {about}{stops_text(abs(off))} too {'dark' if off < 0 else 'bright'}"


def right(plan: Plan, reading: Reading) -> str:
    """That the metered area is where the plan wants it."""
    return f"{_AREAS[reading.area]} is right to within {stops_text(plan.aim.tolerance_stops)}"


def stray(plan: Plan, setting: Setting, value: float, limit: float) -> str:
    """A setting that stands outside the plan."""
    locked = plan.allowed(setting).locked
    held, way_out = ("holds", "unlock it") if locked else ("goes no further than", "lock it there")
    here, there = label(setting, value, plan.step), label(setting, limit, plan.step)
    return f"{name(setting)} is at {here}, the plan {held} {there}: set it back, or {way_out}"


def unsaid(plan: Plan, setting: Setting, needed: float) -> str:
    """That the present value is unknown, and the limit that could therefore not be minded."""
    allowed = plan.allowed(setting)
    limit = label(setting, allowed.brightest if needed > 0 else allowed.darkest, plan.step)
    return f"the capture does not say where the {name(setting)} stands: go no further than {limit}"


def clipping(plan: Plan, percent: float, will: bool) -> str | None:
    """What is or will be clipped, where that is more than the plan's limit."""
    limit = plan.aim.clip_limit_percent
    if percent <= limit:
        return None
    return f"{percent:.1f} % of the metered area {'will clip' if will else 'is clipped'} (limit {limit:g} %)"


def remaining(plan: Plan, settings: Settings, left: float, then: Setting | None) -> str:
    """What is left to do after a move, and what would give it."""
    what = f"{name(then)} is next" if then else ", or ".join(givers(plan, settings, left))
    return f"the move leaves it {stops_text(abs(left))} too {'dark' if left > 0 else 'bright'}: {what}"


def givers(plan: Plan, settings: Settings, left: float) -> list[str]:
    """What could give stops that the plan's levers cannot."""
    light = "add light" if left > 0 else "take light away"
    return [*(f"unlock {name(setting)}" for setting in worth_unlocking(plan, settings, left)), light]
