"""What moving a lever does to the picture, by the kind of light.

Flash: the shutter does nothing, every other lever acts in full. Continuous light: all levers act in full. Mixed light:
the shutter acts on the continuous part only, the light's own power on the flash part only (exposures of two lights add
linearly); aperture and ISO act on both.
"""

import math

from tetherwatch.advise.mixture import level_after
from tetherwatch.advise.records import Estimate, Knowledge, Plan
from tetherwatch.exposure.stops import Setting

SURE = 2.0
"""Standard uncertainties that a lever's part of the light may lie above its estimate."""


def steered_by(plan: Plan, setting: Setting, stops: float, knowledge: Knowledge) -> float:
    """The change of level to reckon with when choosing a move: the most the lever can give, as far as its part of the
    light is known, so that a move never overshoots."""
    part = _part(setting, knowledge) if plan.light == "mixed" else None
    if plan.light == "flash" and setting is Setting.SHUTTER:
        return 0.0
    return stops if part is None else level_after(min(part.value + SURE * part.uncertainty, 1.0), stops)


def effect(plan: Plan, setting: Setting, stops: float, knowledge: Knowledge) -> Estimate:
    """The change of level a move will give, in stops, with one standard uncertainty."""
    if plan.light == "mixed" and setting in (Setting.SHUTTER, Setting.LIGHT):
        return _mixed_effect(_part(setting, knowledge), stops)
    return Estimate(steered_by(plan, setting, stops, knowledge), 0.0)


def _mixed_effect(part: Estimate | None, stops: float) -> Estimate:
    """Anything between nothing and all while the part is unknown: the middle, and the spread of an even chance."""
    if part is None:
        return Estimate(stops / 2, abs(stops) / math.sqrt(12))
    change = level_after(part.value, stops)
    slope = (2.0**stops - 1) / (math.log(2) * 2.0**change)
    return Estimate(change, abs(slope) * part.uncertainty)


def _part(setting: Setting, knowledge: Knowledge) -> Estimate | None:
    """The part of mixed light that a lever acts on; None where that is not known."""
    ambient = knowledge.ambient
    if setting is Setting.SHUTTER:
        return ambient
    if setting is Setting.LIGHT:
        return None if ambient is None else Estimate(1 - ambient.value, ambient.uncertainty)
    return Estimate(1.0, 0.0)
