"""A frame becomes a reading."""

import math
from collections.abc import Mapping, Sequence

from tetherwatch.body.records import Calibration
from tetherwatch.exposure.light import RAW_GREY, light_value
from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.records import Channel, Frame
from tetherwatch.meter.areas import CARD_TRIM, Area, metered_area
from tetherwatch.meter.channel import NOT_MEASURED, ChannelTone, channel_tones
from tetherwatch.meter.histogram import count_clipped, count_sites, tone_pitch
from tetherwatch.meter.level import AreaPart, Level, channel_stops, picture_level, raw_level
from tetherwatch.meter.records import Aim, Face, Reading, Sides, ToneHistogram
from tetherwatch.meter.tone import merged, tone_histogram

_CLIPPED_UNCERTAINTY = 2.0
"""Stops of uncertainty added per clipped share of the area: clipped light is at least this bright, no more is known."""

_NOTE_CLIPPED_PERCENT = 2.0


def meter_frame(
    frame: Frame,
    aim: Aim,
    settings: Settings,
    orientation: int,
    calibration: Calibration | None = None,
    faces: tuple[Face, ...] | None = None,
) -> Reading:
    """Meter a frame against an aim.

    `settings` in exact dial values give the light value; `orientation` is the Exif code that turns the stored picture
    upright, because boxes and `faces`, largest first (None: not looked for), are given in the upright picture.
    `calibration`: what was measured of the body; it bears on raws only.
    """
    known = calibration if frame.curve == "linear" else None
    channels = _channels(frame, known.saturation_dn if known else NOT_MEASURED)
    area = metered_area(frame, aim, channels, orientation, faces or ())
    level = _level(frame, area.parts, area.trim, known)
    tones = tuple(channel.tones for channel in channels)
    area_tones = tones if area.kind == "frame" else _area_tones(area.parts)
    area_clipped = max(tone.clipped_percent_after(0.0) for tone in area_tones)
    return Reading(
        source=frame.source,
        area=area.kind,
        level_stops=level.stops,
        offset_stops=level.stops - aim.from_grey_stops,
        uncertainty_stops=level.uncertainty + _CLIPPED_UNCERTAINTY * area_clipped / 100,
        clipped_percent={channel.channel: channel.clipped_percent for channel in channels},
        crushed_percent=_crushed_percent(channels),
        area_clipped_percent=area_clipped,
        headroom_stops=min(tone.percentile(99.9) for tone in tones),
        light_value=light_value(settings, level.stops),
        saturation={channel.channel: channel.saturation.code for channel in channels},
        pile_up=tuple(channel.channel for channel in channels if channel.saturation.pile_up),
        tones=tones,
        area_tones=area_tones,
        notes=(*_face_notes(aim, area, faces), *_notes(level, area_clipped)),
        metered=area.box,
        faces=faces or (),
        face=area.face,
        sides=_sides(frame, area, known),
        card_stops=_card_stops(frame, area, known),
        channel_stops=channel_stops(area.parts, area.trim),
        body=known.body if known else None,
    )


def _channels(frame: Frame, measured_dn: Mapping[str, float]) -> tuple[ChannelTone, ...]:
    """The tones of every channel, of large pictures from a part of the rows; clipped pixels are all counted."""
    pitch = tone_pitch(frame.sites)
    channels = channel_tones(count_sites(frame.sites, pitch), frame, measured_dn)
    if pitch == 1:
        return channels
    clipped = count_clipped(frame, {channel.channel: channel.saturation.code for channel in channels})
    return tuple(channel.with_clipped(clipped[channel.channel]) for channel in channels)


def _level(frame: Frame, parts: Sequence[AreaPart], trim: float, calibration: Calibration | None) -> Level:
    if frame.curve == "sRGB":
        return picture_level(parts, trim)
    return raw_level(parts, trim, calibration.grey_share if calibration else RAW_GREY)


def _sides(frame: Frame, area: Area, calibration: Calibration | None) -> Sides | None:
    """The light on both sides of a face that was found."""
    if area.face is None:
        return None
    left, right = (_level(frame, parts, area.trim, calibration) for parts in area.sides)
    return Sides(left.stops, right.stops, math.hypot(left.uncertainty, right.uncertainty))


def _card_stops(frame: Frame, area: Area, calibration: Calibration | None) -> float | None:
    """The level of the box in which a grey card may be held beside a face; None where it is clipped or black."""
    if not area.card:
        return None
    level = _level(frame, area.card, CARD_TRIM, calibration)
    clipped = max(tones.clipped_percent_after(0.0) for tones in _area_tones(area.card))
    return None if level.floor or clipped > _NOTE_CLIPPED_PERCENT else level.stops


def _area_tones(parts: tuple[AreaPart, ...]) -> tuple[ToneHistogram, ...]:
    by_channel: dict[Channel, list[ToneHistogram]] = {}
    for part in parts:
        by_channel.setdefault(part.channel, []).append(tone_histogram(part.channel, part.counts, part.light))
    return tuple(map(merged, by_channel.values()))


def _crushed_percent(channels: tuple[ChannelTone, ...]) -> float:
    return 100.0 * sum(channel.crushed for channel in channels) / sum(channel.tones.total for channel in channels)


def _face_notes(aim: Aim, area: Area, faces: tuple[Face, ...] | None) -> tuple[str, ...]:
    """What was metered instead of a face that was looked for."""
    if aim.area != "face" or faces is None or area.face is not None:
        return ()
    if area.kind == "frame" or aim.last is None:
        return ("no face was found: the centre-weighted frame was metered instead",)
    return (f"no face was found: metered where it was {aim.last.ago} frame{'s' if aim.last.ago > 1 else ''} ago",)


def _notes(level: Level, area_clipped: float) -> tuple[str, ...]:
    notes = []
    if level.floor:
        notes.append("the metered area is black: it is at most this bright")
    if area_clipped > _NOTE_CLIPPED_PERCENT:
        notes.append(f"{area_clipped:.0f} % of the metered area is clipped: it is at least this bright")
    return tuple(notes)
