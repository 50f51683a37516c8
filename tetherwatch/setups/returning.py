"""Back in an earlier setup: its last good settings, as one call where one setting makes it right again.

There is one instruction on the screen, the call. So the way back takes its place where it leads to the aim; where
it does not, what differs is told beside the call as a fact.
"""

from dataclasses import dataclass, replace

from tetherwatch.advise import words
from tetherwatch.advise.call import predict
from tetherwatch.advise.effects import effect
from tetherwatch.advise.levers import EPSILON
from tetherwatch.advise.likeness import setting_moves
from tetherwatch.advise.records import Call, Finding, Knowledge, Plan
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.meter.records import Reading
from tetherwatch.setups.records import Setup

OFFERED_FRAMES = 3
"""Frames of a return in which the settings are offered: after them the photographer has chosen."""


@dataclass(frozen=True, slots=True)
class Difference:
    """A setting that stands elsewhere than when the setup was right, and the stops back."""

    setting: Setting
    here: float
    there: float
    stops: float


def differences(settings: Settings, setup: Setup) -> tuple[Difference, ...]:
    """What differs from a setup's last good settings; nothing where these are not known, or a setting is not."""
    moved = setting_moves(settings, setup.settings) if setup.proven else None
    return tuple(
        Difference(setting, here, there, stops)
        for setting, stops in (moved or {}).items()
        if abs(stops) > EPSILON
        and (here := settings.get(setting)) is not None
        and (there := setup.settings.get(setting)) is not None
    )


def return_call(plan: Plan, settings: Settings, reading: Reading, setup: Setup, knowledge: Knowledge) -> Call | None:
    """The move back to a setup's last good settings: the only one, or the first of several.

    None where the frame is right, no setting differs that the plan lets move, or the first to move would lead away from
    the aim or past it.
    """
    if abs(reading.offset_stops) <= plan.aim.tolerance_stops + EPSILON or knowledge.automatic:
        return None
    apart = differences(settings, setup)
    ways = _in_order(plan, apart, reading)
    first = next((way for way in ways if _leads_back(plan, reading, way, knowledge)), None)
    return None if first is None else _call(plan, reading, setup, first, apart, knowledge)


def return_finding(plan: Plan, settings: Settings, setup: Setup, call: Call) -> Finding | None:
    """That a setup was returned to, and what differs from when it was right; None where the call says it all."""
    rest = [_was(plan, way) for way in differences(settings, setup) if way.setting is not call.setting]
    return Finding("return", f"back in {setup.label}, which was right with {', '.join(rest)}") if rest else None


def _was(plan: Plan, way: Difference) -> str:
    there, here = (words.setting_label(way.setting, value, plan.step) for value in (way.there, way.here))
    return f"{words.name(way.setting)} {there} instead of {here}"


def _in_order(plan: Plan, ways: tuple[Difference, ...], reading: Reading) -> list[Difference]:
    """Those that may move, in the plan's order for this need."""
    order = (*plan.levers(-reading.offset_stops), *CAMERA_SETTINGS)
    return sorted((way for way in ways if _may_move(plan, way)), key=lambda way: order.index(way.setting))


def _may_move(plan: Plan, way: Difference) -> bool:
    allowed = plan.allowed(way.setting)
    low, high = sorted((allowed.darkest, allowed.brightest))
    return not allowed.locked and low * (1 - EPSILON) <= way.there <= high * (1 + EPSILON)


def _leads_back(plan: Plan, reading: Reading, way: Difference, knowledge: Knowledge) -> bool:
    """Whether a move comes closer to the aim without going past it."""
    before = reading.offset_stops
    after = before + effect(plan, way.setting, way.stops, knowledge).value
    return abs(after) < abs(before) - EPSILON and (abs(after) <= plan.aim.tolerance_stops or after * before > 0)


def _call(
    plan: Plan, reading: Reading, setup: Setup, way: Difference, ways: tuple[Difference, ...], knowledge: Knowledge
) -> Call:
    gives = effect(plan, way.setting, way.stops, knowledge)
    left = -(reading.offset_stops + gives.value)
    later = ", ".join(words.name(each.setting) for each in ways if each is not way)
    clauses = (
        words.judged(reading),
        f"back in {setup.label}, where this {words.name(way.setting)} was right",
        f"{later} differ{'' if ',' in later else 's'} too" if later else None,
        words.conflict(plan, reading, gives.value),
    )
    return Call(
        "brighter" if way.stops > 0 else "darker",
        words.sentence(*clauses),
        setting=way.setting,
        from_label=words.setting_label(way.setting, way.here, plan.step),
        to_label=words.setting_label(way.setting, way.there, plan.step),
        move_stops=way.stops,
        left_stops=0.0 if abs(left) <= plan.aim.tolerance_stops + EPSILON else left,
        predicted=replace(predict(reading, gives.value), uncertainty_stops=gives.uncertainty),
    )
