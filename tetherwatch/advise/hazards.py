"""What a setting may do to the picture beside its exposure: small rules, each with its formula and source.

A hazard is a warning beside the call, never a call. Formulas are stated for the subject and camera the plan and the
capture tell of; where one of them is not known, the rule is silent.
"""

import math
from collections.abc import Callable

from tetherwatch.advise.records import Finding, Plan
from tetherwatch.exposure.dial import label
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata

Rule = Callable[[Plan, Metadata], Finding | None]

BLUR_CIRCLE_MM = 0.03
"""Blur that is still seen as sharp on a 36 mm wide sensor; the circle of the usual depth-of-field tables
(common practice). Divide by the crop for a smaller sensor."""

_WAVELENGTH_UM = 0.55
"""Green light, where the eye is most sensitive."""

_DIFFRACTION_FROM = 11.0
_AIRY_PIXELS = 3.0
"""Apertures from f/11 on are looked at; an Airy disc this many pixels wide costs visible detail (common practice)."""

MODULATION = 0.5
"""How deep mains light flickers; lamps differ (a measured burst under a 100 Hz lamp at 1/200 s swung by nearly a stop,
which is about this)."""

_SWING_STOPS = 0.1
"""Frame-to-frame swing that is worth a word: the repeatability of studio light."""

_LOW_ISO, _HIGH_ISO = 100.0, 51200.0
"""Speeds outside these are often extended ones (common practice; the camera's manual says)."""


def hazards(plan: Plan, metadata: Metadata) -> tuple[Finding, ...]:
    """All warnings for a capture taken with these settings under this plan."""
    found = (rule(plan, metadata) for rule in RULES)
    return tuple(finding for finding in found if finding is not None)


def crop_factor(metadata: Metadata) -> float | None:
    """How many times narrower than 36 mm the sensor is, from the two focal lengths a capture states."""
    if metadata.focal_mm is None or metadata.focal_35mm is None:
        return None
    return metadata.focal_35mm / metadata.focal_mm


def hand_hold(plan: Plan, metadata: Metadata) -> Finding | None:
    """Reciprocal rule: hand-held, t <= 1 / (focal length in mm * crop) (common practice)."""
    time_s, focal = metadata.settings.shutter_s, metadata.focal_35mm or metadata.focal_mm
    if plan.scene.tripod or plan.light == "flash" or time_s is None or focal is None:
        return None
    if time_s * focal <= 1 + 1e-6:
        return None
    limit = label(Setting.SHUTTER, 1 / focal)
    return Finding(
        "hand-hold",
        f"{label(Setting.SHUTTER, time_s)} at {focal:.0f} mm may shake: {limit} or faster by hand, or a tripod",
    )


def smear_px(speed_m_s: float, distance_m: float, focal_mm: float, time_s: float, pixel_um: float) -> float:
    """Length of a moving subject's smear in pixels: v t m / p with magnification m = f / (s - f).

    Speed is that across the frame. Derived from the thin-lens equation. ValueError inside the focal length.
    """
    focal_m = focal_mm / 1000
    if distance_m <= focal_m:
        raise ValueError("the subject is nearer than the focal length")
    return speed_m_s * time_s * focal_m / (distance_m - focal_m) / (pixel_um * 1e-6)


def subject_movement(plan: Plan, metadata: Metadata) -> Finding | None:
    """Smear of the plan's subject against the blur that is still seen as sharp. Silent under flash, which stops it."""
    scene, time_s, crop = plan.scene, metadata.settings.shutter_s, crop_factor(metadata)
    if plan.light == "flash" or scene.speed_m_s is None or scene.distance_m is None:
        return None
    if time_s is None or metadata.focal_mm is None or scene.distance_m * 1000 <= metadata.focal_mm:
        return None
    pixel_um = metadata.pixel_um or BLUR_CIRCLE_MM * 1000
    smear = smear_px(scene.speed_m_s, scene.distance_m, metadata.focal_mm, time_s, pixel_um)
    if smear * pixel_um <= BLUR_CIRCLE_MM * 1000 / (crop or 1.0):
        return None
    length = f"{smear:.0f} pixels" if metadata.pixel_um else f"{smear * pixel_um / 1000:.2f} mm on the sensor"
    return Finding("movement", f"at {scene.speed_m_s:g} m/s the subject smears over {length} in {_time(time_s)}")


def sync_speed(plan: Plan, metadata: Metadata) -> Finding | None:
    """Faster than sync speed a focal-plane shutter never opens fully, so part of the frame misses the flash."""
    time_s = metadata.settings.shutter_s
    if plan.light == "continuous" or time_s is None or time_s >= plan.sync_s * (1 - 1e-6):
        return None
    return Finding(
        "sync",
        f"{_time(time_s)} is faster than the sync speed {_time(plan.sync_s)}: part of the frame misses the flash",
    )


def flicker_swing(time_s: float, mains_hz: float, modulation: float) -> float:
    """Greatest difference between two frames in stops under light that varies at twice the mains frequency.

    log2((1 + a) / (1 - a)) with a = m |sinc(2 f t)|: the mean of 1 + m sin over the time the shutter is open.
    """
    cycles = 2 * mains_hz * time_s
    part = modulation * abs(math.sin(math.pi * cycles) / (math.pi * cycles))
    return math.log2((1 + part) / (1 - part))


def flicker(plan: Plan, metadata: Metadata) -> Finding | None:
    """Mains light at a time that is no whole number of its half waves."""
    hertz, time_s = plan.scene.mains_hz, metadata.settings.shutter_s
    if hertz is None or time_s is None or plan.light == "flash":
        return None
    swing = flicker_swing(time_s, hertz, MODULATION)
    if swing < _SWING_STOPS:
        return None
    safe = f"1/{hertz} and 1/{2 * hertz} are safe"
    return Finding(
        "flicker", f"{hertz} Hz lamps may swing by {swing:.1f} stops from frame to frame at {_time(time_s)}: {safe}"
    )


def airy_um(aperture: float) -> float:
    """Diameter of the Airy disc in micrometres: 2.44 lambda N, for green light."""
    return 2.44 * _WAVELENGTH_UM * aperture


def diffraction(_: Plan, metadata: Metadata) -> Finding | None:
    """Small apertures soften: the Airy disc against the pixel pitch, from f/11 on (common practice)."""
    aperture, pixel_um = metadata.settings.aperture, metadata.pixel_um
    if aperture is None or pixel_um is None or aperture < _DIFFRACTION_FROM * 0.99:
        return None
    pixels = airy_um(aperture) / pixel_um
    if pixels < _AIRY_PIXELS:
        return None
    return Finding("diffraction", f"{label(Setting.APERTURE, aperture)} softens: a point is {pixels:.1f} pixels wide")


def above_ceiling(plan: Plan, metadata: Metadata) -> Finding | None:
    """Noisier than the user accepts."""
    iso = metadata.settings.iso
    if plan.ceiling_iso is None or iso is None or iso <= plan.ceiling_iso * (1 + 1e-6):
        return None
    return Finding(
        "ceiling", f"ISO {label(Setting.ISO, iso)} is above the ceiling {label(Setting.ISO, plan.ceiling_iso)}"
    )


def extended_iso(_: Plan, metadata: Metadata) -> Finding | None:
    """Speeds that cameras often make by calculation (common practice)."""
    iso = metadata.settings.iso
    if iso is None or _LOW_ISO * 0.99 <= iso <= _HIGH_ISO * 1.01:
        return None
    cost = "highlights clip earlier" if iso < _LOW_ISO else "it adds noise, not light"
    return Finding(
        "extended", f"ISO {label(Setting.ISO, iso)} is often an extended speed, where {cost}: see the manual"
    )


def not_manual(_: Plan, metadata: Metadata) -> Finding | None:
    """The camera sets something by itself, so the next frame may differ from what a call predicts."""
    if metadata.program in (None, "manual"):
        return None
    return Finding("program", f"the camera is on {metadata.program}, not manual: it may undo a call by itself")


def _time(time_s: float) -> str:
    return label(Setting.SHUTTER, time_s)


RULES: tuple[Rule, ...] = (
    hand_hold,
    subject_movement,
    sync_speed,
    flicker,
    diffraction,
    above_ceiling,
    extended_iso,
    not_manual,
)
