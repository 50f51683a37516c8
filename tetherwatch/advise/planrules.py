"""What must hold between the parts of a plan: ranges that exist, levers with room, flash within sync speed."""

from tetherwatch.advise.planmodel import AimModel, PlanModel, RangeModel
from tetherwatch.advise.records import Allowed, Plan
from tetherwatch.exposure.dial import Dial, Step, label, parse_value, snap
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness
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


def resolve_plan(model: PlanModel, source: str, ceiling_iso: float | None) -> tuple[Plan | None, Mistakes]:
    """Turn a checked model into a plan in exact dial values; None with all mistakes if it does not hold together."""
    mistakes: Mistakes = []
    step = Step.parse(model.step)
    ceiling = ceiling_iso or DEFAULT_CEILING_ISO
    tables = {setting: getattr(model, setting.value) for setting in CAMERA_SETTINGS}
    ranges = {setting: _allowed(setting, table, step, ceiling, mistakes) for setting, table in tables.items()}
    sync_s = _value(Setting.SHUTTER, model.sync, step, "sync", mistakes)
    orders = {name: _order(name, getattr(model.order, name), mistakes) for name in ("brighter", "darker")}
    aim = _aim(model.aim, mistakes)
    _check_levers(model.light, ranges, orders, mistakes)
    if model.light != "continuous":
        _check_sync(ranges[Setting.SHUTTER], sync_s, mistakes)
    shutter, aperture, iso = (ranges[setting] for setting in CAMERA_SETTINGS)
    if mistakes or shutter is None or aperture is None or iso is None or sync_s is None:
        return None, mistakes
    return Plan(
        name=model.name,
        source=source,
        light=model.light,
        step=step,
        aim=aim,
        shutter=shutter,
        aperture=aperture,
        iso=iso,
        brighter=orders["brighter"],
        darker=orders["darker"],
        sync_s=sync_s,
        notes=_notes(model, ceiling_iso),
    ), mistakes


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


def _allowed(setting: Setting, table: RangeModel, step: Step, ceiling: float, mistakes: Mistakes) -> Allowed | None:
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


def _order(name: str, levers: list[str], mistakes: Mistakes) -> tuple[Setting, ...]:
    for lever in sorted({lever for lever in levers if levers.count(lever) > 1}):
        mistakes.append((f"order.{name}", f"{lever} is named twice"))
    return tuple(Setting(lever) for lever in levers)


def _aim(model: AimModel, mistakes: Mistakes) -> Aim:
    box = CENTRE_BOX if model.box is None else Box(*model.box)
    if box.left >= box.right or box.top >= box.bottom:
        mistakes.append(("aim.box", "the box has no area: give left, top, right, bottom between 0 and 1"))
    if model.box is not None and model.area not in ("box", "card"):
        mistakes.append(("aim.box", f'a box has no effect with area = "{model.area}"'))
    return Aim(model.area, model.from_grey_stops, model.tolerance_stops, model.clip_limit_percent, box)


def _check_levers(
    light: str,
    ranges: dict[Setting, Allowed | None],
    orders: dict[str, tuple[Setting, ...]],
    mistakes: Mistakes,
) -> None:
    for name, levers in orders.items():
        for lever in levers:
            allowed = ranges.get(lever)
            if lever is Setting.SHUTTER and light == "flash":
                mistakes.append((f"order.{name}", "shutter does not change flash exposure: use iso, aperture or light"))
            elif allowed is not None and allowed.locked:
                mistakes.append((f"order.{name}", f"{lever.value} is locked (its ends are equal), so it has no room"))


def _check_sync(shutter: Allowed | None, sync_s: float | None, mistakes: Mistakes) -> None:
    if shutter is None or sync_s is None or shutter.darkest >= sync_s:
        return
    fastest, sync = label(Setting.SHUTTER, shutter.darkest), label(Setting.SHUTTER, sync_s)
    mistakes.append(("shutter.allow", f"{fastest} is faster than the sync speed {sync}: part of the frame stays dark"))


def _notes(model: PlanModel, ceiling_iso: float | None) -> tuple[str, ...]:
    notes = []
    if ceiling_iso is None and "ceiling" in model.iso.allow:
        notes.append(
            f"no noise ceiling given: ISO {DEFAULT_CEILING_ISO:.0f} is assumed; name the body's own with --ceiling"
        )
    if model.aim.area == "face":
        notes.append("finding faces is not built in yet: the centre-weighted frame is metered instead")
    return tuple(notes)
