"""What a setting may do to the picture beside its exposure: small rules, each with its formula and source.

A hazard is a warning beside the call, never a call. A rule speaks only where the plan and the capture tell all it
needs, and only where a photographer would act: rules of thumb are no finer than a step of the dial.

Auto ISO has no place in standard metadata: under manual time and aperture it is seen only of makers whose own entries
are known (`frame.tags`).
"""

import math
from collections.abc import Callable

from tetherwatch.advise.records import Finding, Plan
from tetherwatch.exposure.dial import Dial, Step, label
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata

Rule = Callable[[Plan, Metadata], Finding | None]

BLUR_CIRCLE_MM = 0.03
"""Blur still seen as sharp on a sensor 36 mm wide, as in the usual depth-of-field tables (common practice, no source).
Divided by the crop on a smaller one."""

GREEN_UM = 0.55
"""Wavelength to which the eye is most sensitive."""

AIRY_PIXELS = 3.0
"""Width of an Airy disc from which fine detail visibly suffers (common practice, no source)."""

MODULATION = 0.5
"""Depth of mains flicker. Lamps differ; a burst measured at 1/200 s under a lamp of 100 Hz swung by nearly a stop, as
this depth gives."""

_DIAL_STOPS = 0.05
"""How far a nominal time, f-number or speed may lie from the one it stands for."""

_THUMB_STOPS = 1 / 3 + _DIAL_STOPS
_SWING_STOPS = 1 / 6
"""A third of a stop over a rule of thumb, and a swing of half that, are what a photographer shrugs at."""

_OPEN_ENOUGH = 2.0**3.5
"""f/11: diffraction is looked at beyond it (common practice)."""

_LOWEST_ISO, _HIGHEST_ISO = 64.0, 51_200.0
"""Bodies have true speeds as low and as high as these; others are extended on most (common practice)."""


def hazards(plan: Plan, metadata: Metadata) -> tuple[Finding, ...]:
    """All warnings for a capture with these metadata under this plan, in an order that stays. Never raises."""
    found = (rule(plan, metadata) for rule in _RULES)
    return tuple(finding for finding in found if finding is not None)


def crop_factor(metadata: Metadata) -> float | None:
    """How many times narrower than 36 mm the sensor is, from the two focal lengths of a capture."""
    if metadata.focal_mm is None or metadata.focal_35mm is None:
        return None
    return metadata.focal_35mm / metadata.focal_mm


def slowest_dial_time(limit_s: float, step: Step) -> str | None:
    """The slowest time of the dial whose engraved number keeps a limit in seconds; None if none is as fast."""
    dial = Dial(Setting.SHUTTER, step)
    fast = [place for place, time_s in zip(dial.positions, dial.nominal, strict=True) if time_s <= limit_s]
    return dial.label(fast[-1]) if fast else None


def smear_mm(speed_m_s: float, distance_m: float, focal_mm: float, time_s: float) -> float:
    """Length on the sensor of a moving subject's smear: v t m with magnification m = f / (s - f).

    Speed is that across the frame, distance that from the lens. Derived from the thin-lens equation. Raises ValueError
    for a subject inside the focal length.
    """
    if distance_m * 1000 <= focal_mm:
        raise ValueError("the subject is nearer than the focal length")
    return 1000 * speed_m_s * time_s * focal_mm / (1000 * distance_m - focal_mm)


def flicker_swing(time_s: float, mains_hz: float, modulation: float) -> float:
    """Greatest difference between two frames, in stops, under light that varies at twice the mains frequency.

    log2((1 + a) / (1 - a)) with a = m |sinc(2 f t)|: derived as the mean of 1 + m sin over the time that the shutter is
    open. `modulation` m is below 1, or equal to it for a time that is not zero.
    """
    cycles = 2 * mains_hz * time_s
    part = modulation * abs(math.sin(math.pi * cycles) / (math.pi * cycles))
    return math.log2((1 + part) / (1 - part))


def steady_times(mains_hz: float, step: Step) -> tuple[str, str]:
    """The two fastest times of the dial that hardly swing, the slower first: 1/50 and 1/100 for 50 Hz in thirds."""
    dial = Dial(Setting.SHUTTER, step)
    steady = (
        place
        for place, time_s in zip(dial.positions, dial.nominal, strict=True)
        if flicker_swing(time_s, mains_hz, MODULATION) <= _SWING_STOPS
    )
    fastest, next_one = next(steady), next(steady)
    return dial.label(next_one), dial.label(fastest)


def airy_um(aperture: float) -> float:
    """Diameter of the Airy disc to its first dark ring, 2.44 lambda N, in micrometres (textbook optics)."""
    return 2.44 * GREEN_UM * aperture


def _hand_hold(plan: Plan, metadata: Metadata) -> Finding | None:
    """Reciprocal rule, t <= 1 / (focal length in mm * crop): a rule of thumb of the trade's handbooks.

    Without a crop the mildest, 1, is taken. Flash alone freezes the picture by itself.
    """
    time_s, focal_mm = metadata.settings.shutter_s, metadata.focal_35mm or metadata.focal_mm
    if plan.scene.tripod or plan.light == "flash" or time_s is None or focal_mm is None:
        return None
    if not _exceeds(time_s, 1 / focal_mm, _THUMB_STOPS):
        return None
    limit = slowest_dial_time(1 / focal_mm, plan.step)
    way_out = f"{limit} or faster, or a tripod" if limit else "use a tripod"
    return Finding("hand-hold", f"{_time(plan, time_s)} is slow to hold by hand at {_lens(metadata)}: {way_out}")


def _movement(plan: Plan, metadata: Metadata) -> Finding | None:
    """Smear of the plan's subject against the blur still seen as sharp. Flash alone stops it."""
    scene, time_s, focal_mm = plan.scene, metadata.settings.shutter_s, metadata.focal_mm
    if plan.light == "flash" or scene.speed_m_s is None or scene.distance_m is None:
        return None
    if time_s is None or focal_mm is None or scene.distance_m * 1000 <= focal_mm:
        return None
    length_mm = smear_mm(scene.speed_m_s, scene.distance_m, focal_mm, time_s)
    sharp_mm = BLUR_CIRCLE_MM / (crop_factor(metadata) or 1.0)
    if not _exceeds(length_mm, sharp_mm, _THUMB_STOPS):
        return None
    pixel_um = metadata.pixel_um
    length = f"{1000 * length_mm / pixel_um:.0f} pixels" if pixel_um else f"{length_mm:.2f} mm of the sensor"
    limit = slowest_dial_time(time_s * sharp_mm / length_mm, plan.step)
    return Finding(
        "movement",
        f"at {scene.speed_m_s:g} m/s the subject smears over {length} in {_time(plan, time_s)}"
        + (f": {limit} or faster keeps it sharp" if limit else ""),
    )


def _sync_speed(plan: Plan, metadata: Metadata) -> Finding | None:
    """Faster than sync speed a focal-plane shutter is never fully open, so a band of the frame gets no flash."""
    time_s = metadata.settings.shutter_s
    if plan.light == "continuous" or time_s is None or not _exceeds(plan.sync_s, time_s, _DIAL_STOPS):
        return None
    return Finding(
        "sync",
        f"{_time(plan, time_s)} is faster than sync speed {_time(plan, plan.sync_s)}: part of the frame gets no flash",
    )


def _flicker(plan: Plan, metadata: Metadata) -> Finding | None:
    """A time that is no whole number of the half waves of mains light; in mixed light the lamps' part swings so."""
    hertz, time_s = plan.scene.mains_hz, metadata.settings.shutter_s
    if hertz is None or time_s is None or plan.light == "flash":
        return None
    swing = flicker_swing(time_s, hertz, MODULATION)
    if swing <= _SWING_STOPS:
        return None
    slower, faster = steady_times(hertz, plan.step)
    return Finding(
        "flicker",
        f"lamps on {hertz} Hz may swing {swing:.1f} stops between frames at {_time(plan, time_s)}: "
        f"{slower} or {faster} is steady",
    )


def _diffraction(plan: Plan, metadata: Metadata) -> Finding | None:
    """Airy disc against pixel pitch beyond f/11: where between f/11 and f/16 it begins depends on the sensor."""
    aperture, pixel_um = metadata.settings.aperture, metadata.pixel_um
    if aperture is None or pixel_um is None or not _exceeds(aperture, _OPEN_ENOUGH, _DIAL_STOPS / 2):
        return None
    pixels = airy_um(aperture) / pixel_um
    if pixels <= AIRY_PIXELS:
        return None
    stop = label(Setting.APERTURE, aperture, plan.step)
    return Finding("diffraction", f"{stop} softens fine detail: diffraction spreads a point over {pixels:.1f} pixels")


def _above_ceiling(plan: Plan, metadata: Metadata) -> Finding | None:
    """Noisier than the user accepts. A ceiling that was only assumed gives way to what the plan allows."""
    iso, ceiling = metadata.settings.iso, plan.ceiling_iso
    if plan.ceiling_assumed:
        ceiling = max(ceiling, plan.iso.brightest)
    if iso is None or not _exceeds(iso, ceiling, _DIAL_STOPS):
        return None
    return Finding(
        "ceiling", f"ISO {_iso(plan, iso)} is above the noise ceiling, ISO {_iso(plan, ceiling)}: it will be noisier"
    )


def _extended_iso(plan: Plan, metadata: Metadata) -> Finding | None:
    """Speeds that a body makes from its lowest or highest true one by calculation (common practice)."""
    iso = metadata.settings.iso
    if iso is None:
        return None
    if _exceeds(_LOWEST_ISO, iso, _DIAL_STOPS):
        cost = "highlights clip sooner"
    elif _exceeds(iso, _HIGHEST_ISO, _DIAL_STOPS):
        cost = "brighter, but no more detail"
    else:
        return None
    return Finding("extended", f"ISO {_iso(plan, iso)} is an extended speed on most bodies: {cost}")


def _not_manual(_: Plan, metadata: Metadata) -> Finding | None:
    """The camera sets something by itself, so that the next frame may differ from what a call predicts."""
    program = metadata.program
    if program in (None, "manual"):
        return None
    mode = "another program" if program == "other" else program
    return Finding("program", f"the camera is on {mode}, not manual: it may undo a call by itself")


def _exceeds(value: float, limit: float, stops: float) -> bool:
    """Whether a value is more than so many doublings above a limit."""
    return value > limit * float(2.0**stops)


def _lens(metadata: Metadata) -> str:
    """The focal length, with the crop where it is one; "85 mm", "85 mm x 1.5"."""
    crop, focal_mm = crop_factor(metadata) or 1.0, metadata.focal_mm or metadata.focal_35mm
    return f"{focal_mm:.0f} mm" + ("" if 0.95 < crop < 1.05 else f" x {crop:.2g}")


def _time(plan: Plan, time_s: float) -> str:
    return label(Setting.SHUTTER, time_s, plan.step)


def _iso(plan: Plan, iso: float) -> str:
    return label(Setting.ISO, iso, plan.step)


_RULES: tuple[Rule, ...] = (
    _sync_speed,
    _not_manual,
    _hand_hold,
    _movement,
    _flicker,
    _above_ceiling,
    _extended_iso,
    _diffraction,
)
