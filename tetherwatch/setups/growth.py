"""A setup grows by a frame: where its light stands, the settings that were right, and what later frames look like."""

from dataclasses import dataclass, replace
from statistics import mean, median

from tetherwatch.advise.records import Estimate, LightKind, Plan
from tetherwatch.exposure.stops import Setting, brightness
from tetherwatch.setups.kinship import same_view, seen_part
from tetherwatch.setups.look import look_of
from tetherwatch.setups.records import Judged, LightPoint, Look, Sample, Setup

_SAMPLES = 6
"""Views of a setup that later frames are compared with."""

_SAME_PART = 0.9
"""Part of the cells in which a view that is kept already agrees with a new one: with less it shows other clothes."""

_POINTS = 100
"""Frames that drift is worked out from."""

_LAST_POINTS = 9
"""Frames whose median is the setup's light value."""

_SEEN_PART = 0.8
"""Part of a picture that must be neither clipped nor black for its overall level to be told."""

LEAST_PART = 0.1
"""Part of a picture that is neither clipped nor black in a frame that tells much of the light."""

CLEAR_PART = 0.5
"""The same of a frame that others are best compared with: one that is brighter or darker agrees with many lights."""

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


def clear_samples(setup: Setup) -> tuple[Sample, ...]:
    """Those that later frames are best compared with; none where all are too bright or dark."""
    return tuple(sample for sample in setup.samples if seen_part(sample) >= CLEAR_PART)


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
    view = _view(setup, sample, bool(asked))
    points = _pointed(setup, frame, sample, plan.light, view)
    settings = frame.shot.metadata.settings
    return replace(
        grown,
        light_value=_light_value(points, frame),
        settings=settings if frame.right or not setup.proven else setup.settings,
        proven=setup.proven or frame.right,
        samples=_sampled(setup.samples, sample),
        points=points,
        view=view,
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
    """One sample of each of the last views, the newest last; of the others only clear ones, where there are any."""
    others = [each for each in samples if not same_view(each, sample, _SAME_PART)]
    clear = [each for each in samples if seen_part(each) >= CLEAR_PART]
    if clear:
        others = [each for each in others if each in clear] or ([] if seen_part(sample) >= CLEAR_PART else clear)
    return (*others, sample)[-_SAMPLES:]


def _view(setup: Setup, sample: Sample, turned: bool) -> int:
    """The view of the setup that a frame shows, which is a new one where the light may have been `turned`."""
    if not setup.samples:
        return setup.view
    return setup.view + (turned or not _at_one_height(setup.samples[-1], sample))


def _at_one_height(known: Sample, new: Sample) -> bool:
    """Whether the levels of two frames tell of the same things. A face is the same whatever the view."""
    if known.area == new.area == "face":
        return True
    return same_view(known, new) and (_overall(known.look) is None) == (_overall(new.look) is None)


def _pointed(setup: Setup, frame: Judged, sample: Sample, light: LightKind, view: int) -> tuple[LightPoint, ...]:
    """The points with one of this frame: of its face, else of its picture, in which small movements even out; of its
    metered area where too little of the picture is seen."""
    moved = _settings_stops(frame, light)
    if moved is None or seen_part(sample) < LEAST_PART:
        return setup.points
    level = sample.level_stops if sample.area == "face" else _overall(sample.look)
    value = (sample.level_stops if level is None else level) - moved
    return (*setup.points, LightPoint(frame.shot.time_s, value, view))[-_POINTS:]


def _overall(look: Look) -> float | None:
    """The mean of the middle half of a picture's levels; None where too much of it is clipped or black."""
    seen = sorted(level for level in look.layout if level is not None)
    if not seen or len(seen) < _SEEN_PART * len(look.layout):
        return None
    quarter = len(seen) // 4
    return mean(seen[quarter : len(seen) - quarter])


def _settings_stops(frame: Judged, light: LightKind) -> float | None:
    """What the settings did to the level; the shutter does nothing to flash."""
    settings = frame.shot.metadata.settings
    if settings.brightness_stops is None or settings.shutter_s is None:
        return None
    shutter = brightness(Setting.SHUTTER, settings.shutter_s)
    return settings.brightness_stops - (shutter if light == "flash" else 0.0)


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
