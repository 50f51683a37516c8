"""The sentences of a call, in the trade's words."""

from tetherwatch.advise.levers import Move, worth_unlocking
from tetherwatch.advise.power import distance_factor, power_label
from tetherwatch.advise.records import Estimate, Knowledge, Plan
from tetherwatch.exposure.dial import Step, label
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.meter.records import BINS_PER_STOP, Reading

_NAMES = {
    Setting.SHUTTER: "shutter",
    Setting.APERTURE: "aperture",
    Setting.ISO: "ISO",
    Setting.LIGHT: "light",
    Setting.COMPENSATION: "compensation",
}
_AREAS = {"face": "the face", "card": "the card", "box": "the metered box", "frame": "the frame"}


def name(setting: Setting) -> str:
    """A setting as the trade writes it inside a sentence."""
    return _NAMES[setting]


def setting_label(setting: Setting, value: float, step: Step) -> str:
    """A value as the trade writes it: on its dial, as a part of full power, or as compensation in stops."""
    if setting is Setting.LIGHT:
        return power_label(value)
    return f"{round(value, 1) + 0.0:+.1f}" if setting is Setting.COMPENSATION else label(setting, value, step)


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


def automatic(knowledge: Knowledge) -> str | None:
    """That the camera is not in manual, so that the call is one for its compensation."""
    if not knowledge.automatic:
        return None
    return f"the camera is on {knowledge.program}, so this is exposure compensation"


def partly(plan: Plan, setting: Setting, gives: Estimate, stops: float, knowledge: Knowledge) -> str | None:
    """How much of a move mixed light lets through."""
    if plan.light != "mixed" or setting not in (Setting.SHUTTER, Setting.LIGHT):
        return None
    if knowledge.ambient is None:
        other = "flash" if setting is Setting.SHUTTER else "room light"
        return f"with unknown {other} at most {abs(stops):.1f} stops show"
    return f"in this mixed light the picture moves by {abs(gives.value):.2f} ±{gives.uncertainty:.2f} stops"


def by_distance(plan: Plan, move: Move) -> str | None:
    """How a lamp without a dial gives the stops: by its distance (inverse square law)."""
    if move.setting is not Setting.LIGHT or plan.light == "flash" or plan.power is not None:
        return None
    return f"dim it, or move a small lamp to {distance_factor(move.stops):.2f} times its distance"


def unsaid(plan: Plan, setting: Setting, needed: float) -> str | None:
    """That the present value is unknown, and the limit that could therefore not be minded."""
    if setting not in CAMERA_SETTINGS:
        return None
    allowed = plan.allowed(setting)
    limit = label(setting, allowed.brightest if needed > 0 else allowed.darkest, plan.step)
    return f"the {name(setting)} is unknown: go no further than {limit}"


def clipping(plan: Plan, percent: float) -> str | None:
    """What is clipped, where that is more than the plan's limit."""
    limit = plan.aim.clip_limit_percent
    if percent <= limit:
        return None
    return f"{percent:.1f} % of the metered area is clipped (limit {limit:g} %)"


def conflict(plan: Plan, reading: Reading, change_stops: float) -> str | None:
    """That the aim asks for more than the highlights of the metered area allow: by how much, and the choices."""
    limit, percent = plan.aim.clip_limit_percent, reading.area_clipped_percent_after(change_stops)
    if change_stops <= 0 or percent <= limit:
        return None
    fits = _stops_below_limit(reading, limit, change_stops)
    return (
        f"{percent:.1f} % of the metered area will clip (limit {limit:g} %), {fits:.1f} of {change_stops:.1f} stops "
        "fit: accept, add fill, or lift later"
    )


def _stops_below_limit(reading: Reading, limit: float, most: float) -> float:
    """The greatest change that keeps the area's clipping within the limit, to a bin of the histogram."""
    changes = (step / BINS_PER_STOP for step in range(int(most * BINS_PER_STOP), 0, -1))
    return next((stops for stops in changes if reading.area_clipped_percent_after(stops) <= limit), 0.0)


def remaining(plan: Plan, settings: Settings, left: float, then: Setting | None) -> str:
    """What is left to do after a move, and what would give it."""
    what = f"{name(then)} is next" if then else givers(plan, settings, left)
    return f"this leaves it {stops_text(abs(left))} too {'dark' if left > 0 else 'bright'}: {what}"


def givers(plan: Plan, settings: Settings, left: float) -> str:
    """What could give stops that the plan's levers cannot."""
    light = "add light" if left > 0 else "take light away"
    names = [name(setting) for setting in worth_unlocking(plan, settings, left)]
    if not names:
        return light
    return f"unlock {' or '.join(names)}, or {light}"
