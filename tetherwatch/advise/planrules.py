"""What must hold between the parts of a plan: ranges that exist, levers with room, flash within sync speed."""

from dataclasses import dataclass

from msgspec.structs import asdict

from tetherwatch.advise.planmodel import AimModel, PlanModel, PowerModel, RangeModel
from tetherwatch.advise.power import parse_power, power_label
from tetherwatch.advise.records import DEFAULT_CEILING_ISO, Allowed, Plan, Scene
from tetherwatch.exposure.dial import Dial, Step, label, parse_value, snap
from tetherwatch.exposure.stops import Setting, brightness
from tetherwatch.face.package import NOT_INSTALLED, is_installed
from tetherwatch.meter.records import CENTRE_BOX, Aim, Box
from tetherwatch.tables import Mistakes

_ENDS = {
    Setting.SHUTTER: "the slowest time first, then the fastest",
    Setting.APERTURE: "the widest aperture first, then the narrowest",
    Setting.ISO: "the lowest ISO first, then the highest",
}

CEILING_HINT = "measure it with 'tetherwatch ladder', or give --ceiling"


@dataclass(frozen=True, slots=True)
class Given:
    """What "ceiling" stands for: an ISO, None if nobody said; and the body profile it is of, None for a user's word."""

    iso: float | None
    body: str | None


def resolve_plan(model: PlanModel, source: str, given: Given, mistakes: Mistakes) -> Plan | None:
    """Turn a checked file into a plan in exact dial values.

    Adds to `mistakes` what does not hold between them, as far as the keys that are right allow; None if there are any.
    """
    step = Step.parse(model.step or "1/3")
    ceiling = _ceiling(given.iso, step, mistakes)
    shutter = _allowed(Setting.SHUTTER, model.shutter, step, ceiling, mistakes)
    aperture = _allowed(Setting.APERTURE, model.aperture, step, ceiling, mistakes)
    iso = _allowed(Setting.ISO, model.iso, step, ceiling, mistakes)
    sync_s = None if model.sync is None else _value(Setting.SHUTTER, model.sync, step, "sync", mistakes)
    power = _power(model.power, mistakes)
    _check_box(model.aim, mistakes)
    _check_levers(model, (shutter, aperture, iso), mistakes)
    if model.light in ("flash", "mixed"):
        _check_sync(shutter, sync_s, step, mistakes)
    if mistakes:
        return None
    assert model.name and model.light and model.order.brighter and model.order.darker
    assert ceiling and shutter and aperture and iso and sync_s
    return Plan(
        name=model.name,
        source=source,
        light=model.light,
        step=step,
        aim=_aim(model.aim),
        shutter=shutter,
        aperture=aperture,
        iso=iso,
        brighter=tuple(map(Setting, model.order.brighter)),
        darker=tuple(map(Setting, model.order.darker)),
        sync_s=sync_s,
        notes=_notes(model, given, label(Setting.ISO, ceiling, step)),
        ceiling_iso=ceiling,
        ceiling_assumed=given.iso is None,
        power=power,
        scene=Scene(**asdict(model.scene)),
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


def _ceiling(ceiling_iso: float | None, step: Step, mistakes: Mistakes) -> float | None:
    """The highest ISO on the dial that is not above the ceiling: it is a limit, not a setting."""
    wanted = DEFAULT_CEILING_ISO if ceiling_iso is None else ceiling_iso
    dial = Dial(Setting.ISO, step)
    exact = map(dial.value, dial.positions)
    below = [iso for iso, nominal in zip(exact, dial.nominal, strict=True) if min(iso, nominal) <= wanted]
    if not below:
        mistakes.append(("iso.allow", f"the ceiling, ISO {wanted:g}, lies below every dial"))
        return None
    return below[-1]


def _allowed(
    setting: Setting, table: RangeModel, step: Step, ceiling: float | None, mistakes: Mistakes
) -> Allowed | None:
    key = setting.value
    first, second = (_end(setting, text, step, ceiling, mistakes) for text in table.allow or (None, None))
    start = None if table.start is None else _value(setting, table.start, step, f"{key}.start", mistakes)
    if first is None or second is None:
        return None
    brightest, darkest = (second, first) if setting is Setting.ISO else (first, second)
    low, high = brightness(setting, darkest), brightness(setting, brightest)
    if low > high:
        if "ceiling" in (table.allow or ()):
            what = f"the ceiling, ISO {label(setting, brightest, step)}, lies below {label(setting, darkest, step)}"
        else:
            what = f"the range is the wrong way round: {_ENDS[setting]}"
        mistakes.append((f"{key}.allow", what))
    elif start is not None and not low <= brightness(setting, start) <= high:
        mistakes.append((f"{key}.start", f"{label(setting, start, step)} lies outside allow"))
    return Allowed(setting, darkest=darkest, brightest=brightest, start=darkest if start is None else start)


def _end(
    setting: Setting, text: str | float | None, step: Step, ceiling: float | None, mistakes: Mistakes
) -> float | None:
    if setting is Setting.ISO and text == "ceiling":
        return ceiling
    return None if text is None else _value(setting, text, step, f"{setting.value}.allow", mistakes)


def _power(table: PowerModel, mistakes: Mistakes) -> Allowed | None:
    """The range of the light's own power; None where the plan has none."""
    lowest, highest = (_fraction(text, "power.allow", mistakes) for text in table.allow or (None, None))
    start = _fraction(table.start, "power.start", mistakes)
    if lowest is None or highest is None or start is None:
        return None
    if lowest > highest:
        mistakes.append(("power.allow", "the range is the wrong way round: the lowest power first, then the highest"))
    elif not lowest <= start <= highest:
        mistakes.append(("power.start", f"{power_label(start)} lies outside allow"))
    return Allowed(Setting.LIGHT, darkest=lowest, brightest=highest, start=start)


def _fraction(text: str | None, key: str, mistakes: Mistakes) -> float | None:
    try:
        return None if text is None else parse_power(text)
    except ValueError as error:
        mistakes.append((key, str(error)))
        return None


def _check_box(aim: AimModel, mistakes: Mistakes) -> None:
    if aim.box is None:
        return
    left, top, right, bottom = aim.box
    if left >= right or top >= bottom:
        mistakes.append(("aim.box", "the box has no area: give left, top, right, bottom between 0 and 1"))
    if aim.area == "frame":
        mistakes.append(("aim.box", 'a box has no effect with area = "frame"'))


def _aim(model: AimModel) -> Aim:
    box = CENTRE_BOX if model.box is None else Box(*model.box)
    return Aim(**{**asdict(model), "box": box})


def _check_levers(model: PlanModel, ranges: tuple[Allowed | None, ...], mistakes: Mistakes) -> None:
    locked = {allowed.setting.value for allowed in ranges if allowed is not None and allowed.locked}
    order = model.order
    for key, levers in (("order.brighter", order.brighter or []), ("order.darker", order.darker or [])):
        for lever in dict.fromkeys(levers):
            if levers.count(lever) > 1:
                mistakes.append((key, f"{lever} is named twice"))
            if lever == "shutter" and model.light == "flash":
                mistakes.append((key, "shutter does not change flash exposure: use iso, aperture or light"))
            elif lever in locked:
                mistakes.append((key, f"{lever} is locked (its ends are equal), so it has no room"))


def _check_sync(shutter: Allowed | None, sync_s: float | None, step: Step, mistakes: Mistakes) -> None:
    if shutter is None or sync_s is None or shutter.darkest >= sync_s:
        return
    fastest, sync = label(Setting.SHUTTER, shutter.darkest, step), label(Setting.SHUTTER, sync_s, step)
    mistakes.append(("shutter.allow", f"{fastest} is faster than the sync speed {sync}: part of the frame stays dark"))


def _notes(model: PlanModel, given: Given, ceiling: str) -> tuple[str, ...]:
    notes = []
    if "ceiling" in (model.iso.allow or ()):
        if given.iso is None:
            notes.append(f"no noise ceiling known: ISO {ceiling} is assumed; {CEILING_HINT}")
        elif given.body is not None:
            notes.append(f"the noise ceiling, ISO {ceiling}, is that of body profile {given.body}")
    if model.aim.area == "face" and not is_installed():
        notes.append(f"{NOT_INSTALLED}: the centre-weighted frame is metered instead")
    return tuple(notes)
