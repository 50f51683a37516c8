"""Locking and unlocking a setting for this session, on top of the plan."""

from dataclasses import replace

from tetherwatch.advise.records import Allowed, Plan
from tetherwatch.exposure.dial import Dial
from tetherwatch.exposure.stops import BASE_ISO, Setting


def locked_at(plan: Plan, setting: Setting, value: float) -> Plan:
    """The plan with a setting held at `value` and taken out of both orders."""
    held = Allowed(setting, darkest=value, brightest=value, start=value)
    return replace(
        plan.with_allowed(held),
        brighter=tuple(lever for lever in plan.brighter if lever is not setting),
        darker=tuple(lever for lever in plan.darker if lever is not setting),
    )


def unlocked(plan: Plan, setting: Setting) -> Plan:
    """The plan with a setting free over its whole dial and last in both orders.

    ISO stays between its base and the ceiling, or where the plan held it beyond them. Under flash the shutter stays
    within sync speed, and it becomes no lever, since it does not change flash exposure.
    """
    dial = Dial(setting, plan.step)
    darkest, brightest = dial.value(dial.positions[0]), dial.value(dial.positions[-1])
    if setting is Setting.SHUTTER and plan.light != "continuous":
        darkest = plan.sync_s
    if setting is Setting.ISO:
        held = plan.iso
        darkest, brightest = min(BASE_ISO, held.darkest), max(plan.ceiling_iso, held.brightest)
    free = plan.with_allowed(Allowed(setting, darkest, brightest, plan.allowed(setting).start))
    if setting is Setting.SHUTTER and plan.light == "flash":
        return free
    return replace(free, brighter=_last(plan.brighter, setting), darker=_last(plan.darker, setting))


def _last(order: tuple[Setting, ...], setting: Setting) -> tuple[Setting, ...]:
    """Light stays behind the camera's own settings."""
    camera = [lever for lever in order if lever not in (setting, Setting.LIGHT)]
    return (*camera, setting, *(lever for lever in order if lever is Setting.LIGHT))
