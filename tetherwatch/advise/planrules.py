"""What must hold between the parts of a plan: ranges that exist, levers with room, flash within sync speed."""

from dataclasses import dataclass

from tetherwatch.advise.planmodel import AimModel, HeadModel, OrderModel, RangeModel
from tetherwatch.advise.records import Allowed, Plan
from tetherwatch.exposure.dial import Dial, Step, label, parse_value, snap
from tetherwatch.exposure.stops import Setting, brightness
from tetherwatch.meter.records import CENTRE_BOX, Aim, Box

DEFAULT_CEILING_ISO = 3200.0
"""Highest ISO while the body's noise has not been measured: cautious for any body of recent years (common practice)."""

_ENDS = {
    Setting.SHUTTER: "the slowest time first, then the fastest",
    Setting.APERTURE: "the widest aperture first, then the narrowest",
    Setting.ISO: "the lowest ISO first, then the highest",
}

Mistakes = list[tuple[str, str]]
"""(dotted key, what is wrong) pairs."""


@dataclass(frozen=True, slots=True)
class Tables:
    """The parts of a plan file, each of the right types, or None where it is not."""

    head: HeadModel | None
    aim: AimModel | None
    shutter: RangeModel | None
    aperture: RangeModel | None
    iso: RangeModel | None
    order: OrderModel | None


def resolve_plan(tables: Tables, source: str, ceiling_iso: float | None, mistakes: Mistakes) -> Plan | None:
    """Turn checked tables into a plan in exact dial values.

    Adds to `mistakes` what does not hold between them, as far as the tables that are there allow; None if any is not.
    """
    head = tables.head
    step = Step.parse(head.step) if head else Step.THIRD
    ceiling = ceiling_iso or DEFAULT_CEILING_ISO
    shutter = _allowed(Setting.SHUTTER, tables.shutter, step, ceiling, mistakes)
    aperture = _allowed(Setting.APERTURE, tables.aperture, step, ceiling, mistakes)
    iso = _allowed(Setting.ISO, tables.iso, step, ceiling, mistakes)
    sync_s = _value(Setting.SHUTTER, head.sync, step, "sync", mistakes) if head else None
    aim = _aim(tables.aim, mistakes)
    _check_levers(head, (shutter, aperture, iso), tables.order, mistakes)
    if head and head.light != "continuous":
        _check_sync(shutter, sync_s, mistakes)
    if None in (head, tables.order, shutter, aperture, iso, sync_s, aim):
        return None
    assert head and tables.order and shutter and aperture and iso and sync_s and aim
    return Plan(
        name=head.name,
        source=source,
        light=head.light,
        step=step,
        aim=aim,
        shutter=shutter,
        aperture=aperture,
        iso=iso,
        brighter=tuple(map(Setting, tables.order.brighter)),
        darker=tuple(map(Setting, tables.order.darker)),
        sync_s=sync_s,
        notes=_notes(aim, tables.iso, ceiling_iso),
    )


def _value(setting: Setting, text: str | float, step: Step, key: str, mistakes: Mistakes) -> float | None:
    """An exact dial value, or None with the mistake noted."""
    try:
        value = parse_value(setting, text)
    except ValueError as error:
        mistakes.append((key, str(error)))
        return None
    exact = snap(setting, value, step)
    if all(Dial(setting, candidate).position(exact) is None for candidate in Step):
        mistakes.append((key, f"{text!r} is on no {setting.value} dial"))
        return None
    return exact


def _allowed(
    setting: Setting, table: RangeModel | None, step: Step, ceiling: float, mistakes: Mistakes
) -> Allowed | None:
    if table is None:
        return None
    key = setting.value
    ends = [ceiling if setting is Setting.ISO and text == "ceiling" else text for text in table.allow]
    first, second = (_value(setting, text, step, f"{key}.allow", mistakes) for text in ends)
    start = _value(setting, table.start, step, f"{key}.start", mistakes)
    if first is None or second is None or start is None:
        return None
    brightest, darkest = (second, first) if setting is Setting.ISO else (first, second)
    low, here, high = (brightness(setting, value) for value in (darkest, start, brightest))
    if low > high:
        mistakes.append((f"{key}.allow", f"the range is the wrong way round: {_ENDS[setting]}"))
    elif not low <= here <= high:
        mistakes.append((f"{key}.start", f"{label(setting, start, step)} lies outside allow"))
    return Allowed(setting, darkest=darkest, brightest=brightest, start=start)


def _aim(model: AimModel | None, mistakes: Mistakes) -> Aim | None:
    if model is None:
        return None
    box = CENTRE_BOX if model.box is None else Box(*model.box)
    if box.left >= box.right or box.top >= box.bottom:
        mistakes.append(("aim.box", "the box has no area: give left, top, right, bottom between 0 and 1"))
    if model.box is not None and model.area not in ("box", "card"):
        mistakes.append(("aim.box", f'a box has no effect with area = "{model.area}"'))
    return Aim(model.area, model.from_grey_stops, model.tolerance_stops, model.clip_limit_percent, box)


def _check_levers(
    head: HeadModel | None, ranges: tuple[Allowed | None, ...], order: OrderModel | None, mistakes: Mistakes
) -> None:
    locked = {allowed.setting.value for allowed in ranges if allowed is not None and allowed.locked}
    flash = head is not None and head.light == "flash"
    for direction in ("brighter", "darker"):
        levers: list[str] = getattr(order, direction, [])
        for lever in dict.fromkeys(levers):
            if levers.count(lever) > 1:
                mistakes.append((f"order.{direction}", f"{lever} is named twice"))
            if lever == "shutter" and flash:
                what = "shutter does not change flash exposure: use iso, aperture or light"
                mistakes.append((f"order.{direction}", what))
            elif lever in locked:
                mistakes.append((f"order.{direction}", f"{lever} is locked (its ends are equal), so it has no room"))


def _check_sync(shutter: Allowed | None, sync_s: float | None, mistakes: Mistakes) -> None:
    if shutter is None or sync_s is None or shutter.darkest >= sync_s:
        return
    fastest, sync = label(Setting.SHUTTER, shutter.darkest), label(Setting.SHUTTER, sync_s)
    mistakes.append(("shutter.allow", f"{fastest} is faster than the sync speed {sync}: part of the frame stays dark"))


def _notes(aim: Aim, iso: RangeModel | None, ceiling_iso: float | None) -> tuple[str, ...]:
    notes = []
    if ceiling_iso is None and iso is not None and "ceiling" in iso.allow:
        notes.append(
            f"no noise ceiling given: ISO {DEFAULT_CEILING_ISO:.0f} is assumed; name the body's own with --ceiling"
        )
    if aim.area == "face":
        notes.append("finding faces is not built in yet: the centre-weighted frame is metered instead")
    return tuple(notes)
