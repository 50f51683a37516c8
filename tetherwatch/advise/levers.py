"""Levers: how far a setting may go, and the dial position that comes closest to what is needed."""

import math
from dataclasses import dataclass

from tetherwatch.advise.locks import unlocked
from tetherwatch.advise.records import Allowed, Plan
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness

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

    def applied(self, settings: Settings) -> Settings:
        """The camera's settings once the move is made; an unknown one stays unknown."""
        return settings if self.value is None else settings.with_value(self.setting, self.value)


def room(allowed: Allowed, value: float) -> Room:
    """Room left on a setting that stands at `value` (seconds, f-number or ISO)."""
    here = brightness(allowed.setting, value)
    return Room(
        darker=here - brightness(allowed.setting, allowed.darkest),
        brighter=brightness(allowed.setting, allowed.brightest) - here,
    )


def first_move(plan: Plan, settings: Settings, needed: float) -> Move | None:
    """The move of the first lever in the plan's order that comes closer to `needed` stops; None if none does."""
    moves = (_lever_move(plan, settings, setting, needed) for setting in plan.levers(needed))
    return next((move for move in moves if move is not None), None)


def has_room(plan: Plan, settings: Settings, needed: float) -> bool:
    """Whether any lever can still move towards `needed` stops; light and settings that are not known always can."""
    return any(_lever_has_room(plan, settings, setting, needed) for setting in plan.levers(needed))


def worth_unlocking(plan: Plan, settings: Settings, needed: float) -> tuple[Setting, ...]:
    """The locked settings that would have room towards `needed` stops if they were unlocked."""
    locked = (setting for setting in CAMERA_SETTINGS if plan.allowed(setting).locked)
    freed = ((setting, unlocked(plan, setting)) for setting in locked)
    return tuple(
        setting
        for setting, free in freed
        if setting in free.levers(needed) and _lever_has_room(free, settings, setting, needed)
    )


def _lever_has_room(plan: Plan, settings: Settings, setting: Setting, needed: float) -> bool:
    value = None if setting is Setting.LIGHT else settings.get(setting)
    if value is None:
        return True
    moves = _dial_moves(plan.allowed(setting), value, plan.step)
    return any(move * math.copysign(1.0, needed) > EPSILON for _, move in moves)


def _lever_move(plan: Plan, settings: Settings, setting: Setting, needed: float) -> Move | None:
    if setting is Setting.LIGHT:
        return rounded_move(setting, LIGHT_STEP, needed)
    value = settings.get(setting)
    if value is None:
        return rounded_move(setting, plan.step.stops, needed)
    return best_move(plan.allowed(setting), value, plan.step, needed)


def best_move(allowed: Allowed, value: float, step: Step, needed: float) -> Move | None:
    """The dial position inside the range that comes closest to `needed` stops from `value`, if any comes closer.

    Ties go to the smaller move.
    """
    moves = _dial_moves(allowed, value, step)
    best = min(moves, key=lambda move: (round(abs(needed - move[1]), 9), abs(move[1])), default=(value, 0.0))
    return Move(allowed.setting, *best) if abs(needed - best[1]) < abs(needed) - EPSILON else None


def rounded_move(setting: Setting, step: float, needed: float) -> Move | None:
    """A move in whole steps of a lever whose present value is not known: light, or a setting the capture hides.

    Ties go to the smaller move.
    """
    steps = math.ceil(abs(needed) / step - 0.5 - EPSILON)
    return Move(setting, None, math.copysign(steps * step, needed)) if steps > 0 else None


def _dial_moves(allowed: Allowed, value: float, step: Step) -> list[tuple[float, float]]:
    """The dial's values inside the range, each with its stops from `value`."""
    here, left, dial = brightness(allowed.setting, value), room(allowed, value), Dial(allowed.setting, step)
    values = map(dial.value, dial.positions)
    moves = [(there, brightness(allowed.setting, there) - here) for there in values]
    return [(there, move) for there, move in moves if -left.darker - EPSILON <= move <= left.brighter + EPSILON]
