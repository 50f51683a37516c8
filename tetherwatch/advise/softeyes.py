"""Soft eyes as something to tell beside the call, with what in the settings may have done it."""

from tetherwatch.advise.hazards import BLUR_CIRCLE_MM, crop_factor, hazards
from tetherwatch.advise.records import Finding, Plan
from tetherwatch.exposure.dial import label
from tetherwatch.exposure.stops import Setting
from tetherwatch.face.records import EyeState
from tetherwatch.frame.records import Metadata

KIND = "eyes"

EYE_DISTANCE_MM = 63.0
"""From pupil to pupil, mean of adults (63.4 mm; nine in ten lie within 6 mm: N. A. Dodgson 2004, from memory)."""

_MOTION_HAZARDS = ("movement", "hand-hold")
_LEVEL_DEG = 22.5


def soft_eyes(
    plan: Plan, metadata: Metadata, eyes: EyeState, distance_px: float | None = None, estimate: bool = False
) -> Finding | None:
    """The warning for soft eyes; None for any other state.

    `distance_px`: from eye to eye in pixels of the sensor, None where they are not the sensor's. `estimate`: the eyes
    were looked at in a finished picture.
    """
    if eyes.verdict != "soft" or eyes.kept_percent is None:
        return None
    percent = f"{eyes.kept_percent:.0f} ±{eyes.uncertainty_percent or 0:.0f} %"
    seen = f"soft eyes, {percent} of the best fine contrast here" + (", as far as a JPEG tells" if estimate else "")
    if eyes.cause == "motion":
        return Finding(KIND, f"{seen}, smeared {_direction(eyes.direction_deg or 0.0)}; {_motion(plan, metadata)}")
    if eyes.cause == "focus":
        depth = _depth(plan, metadata, distance_px)
        return Finding(KIND, f"{seen}, out of focus" + (f"; {depth}" if depth else ""))
    return Finding(KIND, seen)


def depth_of_field_m(focal_mm: float, aperture: float, distance_m: float, circle_mm: float) -> float:
    """From the nearest to the farthest distance that is sharp, in metres; infinite beyond the hyperfocal distance.

    H = f^2 / (N c) + f; near = s (H - f) / (H + s - 2 f), far = s (H - f) / (H - s) (thin lens, textbook optics).
    """
    focal, s = focal_mm / 1000, distance_m
    hyperfocal = focal**2 / (aperture * circle_mm / 1000) + focal
    if s >= hyperfocal:
        return float("inf")
    return s * (hyperfocal - focal) * (1 / (hyperfocal - s) - 1 / (hyperfocal + s - 2 * focal))


def distance_by_eyes_m(focal_mm: float, pixel_um: float, distance_px: float) -> float:
    """How far away a face is, seen from the front, whose eyes are so many pixels apart: s = f (1 + x / x'), thin lens.

    x is the distance between the eyes, x' that between their images.
    """
    return focal_mm / 1000 * (1 + EYE_DISTANCE_MM / (distance_px * pixel_um / 1000))


def _motion(plan: Plan, metadata: Metadata) -> str:
    """The hazard that foretold it, or the time in which something moved."""
    told = {finding.kind: finding.reason for finding in hazards(plan, metadata)}
    foretold = next((told[kind] for kind in _MOTION_HAZARDS if kind in told), None)
    time_s = metadata.settings.shutter_s
    if foretold is not None:
        return foretold
    if time_s is None or plan.light == "flash":
        return "the camera or the subject moved"
    return f"the camera or the subject moved in {label(Setting.SHUTTER, time_s, plan.step)}"


def _depth(plan: Plan, metadata: Metadata, distance_px: float | None) -> str | None:
    """What the aperture leaves at this distance: the plan's, or that which the eyes tell."""
    aperture, focal_mm, pixel_um = metadata.settings.aperture, metadata.focal_mm, metadata.pixel_um
    if aperture is None or focal_mm is None:
        return None
    stop = label(Setting.APERTURE, aperture, plan.step)
    circle_mm = BLUR_CIRCLE_MM / (crop_factor(metadata) or 1.0)
    if plan.scene.distance_m is not None:
        depth_m = depth_of_field_m(focal_mm, aperture, plan.scene.distance_m, circle_mm)
        return f"{stop} at {plan.scene.distance_m:g} m leaves {_length(depth_m)}"
    if pixel_um is None or distance_px is None:
        return None
    distance_m = distance_by_eyes_m(focal_mm, pixel_um, distance_px)
    depth_m = depth_of_field_m(focal_mm, aperture, distance_m, circle_mm)
    return f"{stop} at about {distance_m:.1f} m leaves {_length(depth_m)}"


def _length(metres: float) -> str:
    if metres >= 10:
        return "everything behind"
    return f"{metres:.1f} m" if metres >= 1 else f"{100 * metres:.{0 if metres >= 0.0995 else 1}f} cm"


def _direction(degrees: float) -> str:
    """Of a smear, clockwise from level, 0 to 180."""
    if min(degrees, 180 - degrees) < _LEVEL_DEG:
        return "sideways"
    return "up and down" if abs(degrees - 90) < _LEVEL_DEG else "slantwise"
