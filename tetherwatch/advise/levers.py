"""Levers: how far a setting may go, and the position that comes closest to what is needed."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from tetherwatch.advise.effects import steered_by
from tetherwatch.advise.locks import unlocked
from tetherwatch.advise.power import LIGHT_STEP
from tetherwatch.advise.records import NOTHING_KNOWN, Allowed, Knowledge, Plan
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness, value_at

EPSILON = 1e-6
"""Stops below which two brightnesses are the same."""

MOST_COMPENSATION = 3.0
"""Stops of exposure compensation that any camera offers (common practice; some offer 5)."""


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
    """A possible move: the new value (None where the present one is unknown), its stops, and where it starts.

    `reckoned` is the change of level it was chosen by: less than `stops` where the lever acts on a part of the light.
    """

    setting: Setting
    value: float | None
    stops: float
    reckoned: float

    def applied(self, settings: Settings, knowledge: Knowledge) -> tuple[Settings, Knowledge]:
        """Settings and light once the move is made; an unknown value stays unknown."""
        if self.value is None:
            return settings, knowledge
        if self.setting in CAMERA_SETTINGS:
            return settings.with_value(self.setting, self.value), knowledge
        return settings, knowledge.after(self.setting, self.value)


def room(allowed: Allowed, value: float) -> Room:
    """Room left on a setting that stands at `value` (seconds, f-number, ISO, or part of full power)."""
    here = brightness(allowed.setting, value)
    return Room(
        darker=here - brightness(allowed.setting, allowed.darkest),
        brighter=brightness(allowed.setting, allowed.brightest) - here,
    )


def present_value(settings: Settings, knowledge: Knowledge, setting: Setting) -> float | None:
    """Where a setting stands; None if that is not known."""
    if setting is Setting.LIGHT:
        return knowledge.power
    return knowledge.bias_stops if setting is Setting.COMPENSATION else settings.get(setting)


def order(plan: Plan, knowledge: Knowledge, needed: float) -> tuple[Setting, ...]:
    """The levers to spend, first to last. A camera that sets its exposure by itself obeys compensation only."""
    return (Setting.COMPENSATION,) if knowledge.automatic else plan.levers(needed)


def first_move(plan: Plan, settings: Settings, needed: float, knowledge: Knowledge = NOTHING_KNOWN) -> Move | None:
    """The move of the first lever in the order that comes closer to `needed` stops; None if none does."""
    moves = (_lever_move(plan, settings, setting, needed, knowledge) for setting in order(plan, knowledge, needed))
    return next((move for move in moves if move is not None), None)


def has_room(plan: Plan, settings: Settings, needed: float, knowledge: Knowledge = NOTHING_KNOWN) -> bool:
    """Whether any lever can still move towards `needed` stops; levers whose place is not known always can."""
    return any(
        _lever_has_room(plan, settings, setting, needed, knowledge) for setting in order(plan, knowledge, needed)
    )


def worth_unlocking(plan: Plan, settings: Settings, needed: float) -> tuple[Setting, ...]:
    """The locked settings that would have room towards `needed` stops if they were unlocked."""
    locked = (setting for setting in CAMERA_SETTINGS if plan.allowed(setting).locked)
    freed = ((setting, unlocked(plan, setting)) for setting in locked)
    return tuple(
        setting
        for setting, free in freed
        if setting in free.levers(needed) and _lever_has_room(free, settings, setting, needed, NOTHING_KNOWN)
    )


def best_move(
    plan: Plan, allowed: Allowed, value: float, needed: float, knowledge: Knowledge = NOTHING_KNOWN
) -> Move | None:
    """The position inside the range whose effect comes closest to `needed` stops from `value`, if any comes closer.

    Ties go to the smaller move.
    """
    moves = [
        Move(allowed.setting, there, stops, steered_by(plan, allowed.setting, stops, knowledge))
        for there, stops in _positions(allowed, value, plan.step)
    ]
    best = min(moves, key=lambda move: (round(abs(needed - move.reckoned), 9), abs(move.stops)), default=None)
    return best if best is not None and abs(needed - best.reckoned) < abs(needed) - EPSILON else None


def rounded_move(plan: Plan, setting: Setting, needed: float, knowledge: Knowledge = NOTHING_KNOWN) -> Move | None:
    """A move in whole steps of a lever whose present value is not known: light, or a setting the capture hides.

    Ties go to the smaller move.
    """
    step = LIGHT_STEP if setting is Setting.LIGHT else plan.step.stops
    steps = math.ceil(abs(needed) / step - 0.5 - EPSILON)
    if steps <= 0:
        return None
    stops = math.copysign(steps * step, needed)
    return Move(setting, None, stops, steered_by(plan, setting, stops, knowledge))


def _range(plan: Plan, setting: Setting) -> Allowed | None:
    if setting is Setting.LIGHT:
        return plan.power
    if setting is Setting.COMPENSATION:
        return Allowed(setting, darkest=-MOST_COMPENSATION, brightest=MOST_COMPENSATION, start=0.0)
    return plan.allowed(setting)


def _lever_has_room(plan: Plan, settings: Settings, setting: Setting, needed: float, knowledge: Knowledge) -> bool:
    value, allowed = present_value(settings, knowledge, setting), _range(plan, setting)
    if value is None or allowed is None:
        return True
    return any(stops * math.copysign(1.0, needed) > EPSILON for _, stops in _positions(allowed, value, plan.step))


def _lever_move(plan: Plan, settings: Settings, setting: Setting, needed: float, knowledge: Knowledge) -> Move | None:
    value, allowed = present_value(settings, knowledge, setting), _range(plan, setting)
    if value is None or allowed is None:
        return rounded_move(plan, setting, needed, knowledge)
    return best_move(plan, allowed, value, needed, knowledge)


def _positions(allowed: Allowed, value: float, step: Step) -> Iterator[tuple[float, float]]:
    """The values inside the range, each with its stops from `value`."""
    here, left = brightness(allowed.setting, value), room(allowed, value)
    for there in _values(allowed, step):
        stops = brightness(allowed.setting, there) - here
        if -left.darker - EPSILON <= stops <= left.brighter + EPSILON:
            yield there, stops


def _values(allowed: Allowed, step: Step) -> Iterator[float]:
    """Everywhere a lever can stand: the dial of a camera setting, steps of a light or of compensation."""
    if allowed.setting in CAMERA_SETTINGS:
        dial = Dial(allowed.setting, step)
        yield from map(dial.value, dial.positions)
        return
    fine = LIGHT_STEP if allowed.setting is Setting.LIGHT else step.stops
    low, high = brightness(allowed.setting, allowed.darkest), brightness(allowed.setting, allowed.brightest)
    for position in range(math.ceil(low / fine - EPSILON), math.floor(high / fine + EPSILON) + 1):
        yield value_at(allowed.setting, position * fine)
