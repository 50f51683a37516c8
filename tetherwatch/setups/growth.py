"""A setup grows by a frame: where its light stands, the settings that were right, and what later frames look like."""

from dataclasses import dataclass, replace
from statistics import median

from tetherwatch.advise.records import Estimate, LightKind, Plan
from tetherwatch.exposure.stops import Setting, brightness
from tetherwatch.setups.drift import drift_of
from tetherwatch.setups.kinship import same_view, strangeness
from tetherwatch.setups.look import look_of
from tetherwatch.setups.records import Judged, LightPoint, Sample, Setup
from tetherwatch.setups.stretches import FITS

_SAMPLES = 4
"""Views of a setup that later frames are compared with."""

_POINTS = 60
"""Frames that drift is worked out from."""

_LAST_POINTS = 9
"""Frames whose median is the setup's light value."""

_MAD_TO_SIGMA = 1.4826
_MEDIAN_TO_MEAN = 1.2533
"""Standard error of a median of normal values against that of their mean."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A frame with its sample. `fits`: it looks like the others of its setup."""

    frame: Judged
    sample: Sample
    fits: bool = True


def sample_of(frame: Judged) -> Sample:
    """A frame as others are compared with it."""
    shot = frame.shot
    look = look_of(frame.thumbnail, shot.reading)
    return Sample(shot.metadata.settings, shot.reading.level_stops, shot.reading.area, shot.reading.metered, look)


def begun(number: int, frame: Judged, name: str | None = None) -> Setup:
    """A setup that begins with a frame, which has yet to be joined to it."""
    return Setup(number, frame.number, frame.number, 0, name)


def joined(setup: Setup, entry: Entry, asked_stops: float, plan: Plan) -> Setup:
    """The setup with one more frame, the newest in time; one that does not fit only counts.

    `asked_stops`: light that was asked for since the last one that did.
    """
    frame, sample = entry.frame, entry.sample
    grown = replace(
        setup,
        first_frame=min(setup.first_frame, frame.number),
        last_frame=max(setup.last_frame, frame.number),
        frame_count=setup.frame_count + 1,
    )
    if not entry.fits:
        return grown
    asked = max(asked_stops, frame.asked_stops, key=abs)
    turned = bool(asked and setup.samples) and strangeness(plan.light, setup.samples[-1], sample) > FITS
    points = _pointed(setup, frame, sample, plan.light)
    settings = frame.shot.metadata.settings
    return replace(
        grown,
        light_value=_light_value(points, frame),
        settings=settings if frame.right or not setup.proven else setup.settings,
        proven=setup.proven or frame.right,
        drift=drift_of(points, frame.shot.reading.offset_stops, plan.aim.tolerance_stops),
        samples=_sampled(() if turned else setup.samples, sample),
        points=points,
    )


def pending_after(entry: Entry, asked_stops: float) -> float:
    """Light that was asked for since the last frame that fits, once `entry` is joined."""
    return 0.0 if entry.fits else max(asked_stops, entry.frame.asked_stops, key=abs)


def united(setup: Setup, other: Setup) -> Setup:
    """One setup of two; light and settings are those of the one that holds the newer frame."""
    newer = max(setup, other, key=lambda each: each.last_frame)
    return replace(
        newer,
        number=setup.number,
        name=setup.name or other.name,
        first_frame=min(setup.first_frame, other.first_frame),
        frame_count=setup.frame_count + other.frame_count,
        samples=(*setup.samples, *other.samples)[-_SAMPLES:],
    )


def _sampled(samples: tuple[Sample, ...], sample: Sample) -> tuple[Sample, ...]:
    """One sample of each of the last views, the newest last."""
    others = [each for each in samples if not same_view(each, sample)]
    return (*others, sample)[-_SAMPLES:]


def _pointed(setup: Setup, frame: Judged, sample: Sample, light: LightKind) -> tuple[LightPoint, ...]:
    value = _steady_light(frame, light)
    if value is None:
        return setup.points
    view = 0
    if setup.points and setup.samples:
        view = setup.points[-1].view + (not same_view(setup.samples[-1], sample))
    return (*setup.points, LightPoint(frame.shot.time_s, value, view))[-_POINTS:]


def _steady_light(frame: Judged, light: LightKind) -> float | None:
    """Light of the metered area that no setting moves: a light value, and under flash that of the flash alone."""
    value, shutter_s = frame.shot.reading.light_value, frame.shot.metadata.settings.shutter_s
    if value is None or shutter_s is None:
        return None
    return value + brightness(Setting.SHUTTER, shutter_s) if light == "flash" else value


def _light_value(points: tuple[LightPoint, ...], frame: Judged) -> Estimate | None:
    """Median of the last frames of the newest view, as a light value at the settings of the newest frame."""
    value = frame.shot.reading.light_value
    if value is None or not points:
        return None
    last = [point.light_value for point in points[-_LAST_POINTS:] if point.view == points[-1].view]
    middle = median(last)
    scatter = _MAD_TO_SIGMA * median(abs(each - middle) for each in last)
    repeated = _MEDIAN_TO_MEAN * scatter / len(last) ** 0.5
    return Estimate(value + middle - last[-1], (repeated**2 + frame.shot.reading.uncertainty_stops**2) ** 0.5)
