"""Levers: how far a setting may go, and the dial position that comes closest to what is needed."""

from dataclasses import dataclass

from tetherwatch.advise.records import Allowed, Plan
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting, brightness

EPSILON = 1e-6
"""Stops below which two brightnesses are the same."""

LIGHT_STEP = 0.1
"""Stops: what the power controls and hand meters of the trade resolve (common practice)."""


@dataclass(frozen=True, slots=True)
class Room:
    """Stops a setting may still move each way inside its range; negative when it stands outside it."""

    darker: float
    brighter: float

    @property
    def outside(self) -> bool:
        """Whether the setting stands outside its allowed range."""
        return min(self.darker, self.brighter) < -EPSILON


@dataclass(frozen=True, slots=True)
class Move:
    """A possible move: the new value (None for light, or where the present one is unknown) and its stops."""

    setting: Setting
    value: float | None
    stops: float


def room(allowed: Allowed, value: float) -> Room:
    """Room left on a setting that stands at `value` (seconds, f-number or ISO)."""
    here = brightness(allowed.setting, value)
    return Room(
        darker=here - brightness(allowed.setting, allowed.darkest),
        brighter=brightness(allowed.setting, allowed.brightest) - here,
    )


def has_room(plan: Plan, settings: Settings, setting: Setting, needed: float) -> bool:
    """Whether a setting can still move towards `needed` stops; yes for light, and where its value is not known."""
    value = None if setting is Setting.LIGHT else settings.get(setting)
    if value is None:
        return True
    left = room(plan.allowed(setting), value)
    return (left.brighter if needed > 0 else left.darker) > EPSILON


def best_move(allowed: Allowed, value: float, step: Step, needed: float) -> Move | None:
    """The dial position inside the range that comes closest to `needed` stops from `value`, if any comes closer.

    Ties go to the smaller move.
    """
    here = brightness(allowed.setting, value)
    left = room(allowed, value)
    dial = Dial(allowed.setting, step)
    stops = [brightness(allowed.setting, dial.value(position)) - here for position in dial.positions]
    choices = [move for move in stops if -left.darker - EPSILON <= move <= left.brighter + EPSILON]
    best = min(choices, key=lambda move: (round(abs(needed - move), 9), abs(move)), default=0.0)
    if abs(needed - best) >= abs(needed) - EPSILON:
        return None
    return Move(allowed.setting, dial.value(dial.nearest(here + best)), best)


def rounded_move(setting: Setting, step: float, needed: float) -> Move | None:
    """A move in whole steps of a lever whose present value is not known: light, or a setting the capture hides."""
    stops = round(needed / step) * step
    return Move(setting, None, stops) if abs(stops) > EPSILON else None
