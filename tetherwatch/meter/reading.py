"""A frame becomes a reading."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tetherwatch.body.records import Calibration
from tetherwatch.exposure.light import RAW_GREY, light_value
from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.records import Channel, Frame
from tetherwatch.meter.area import CENTRE_RINGS, centred_box, sample_pitch, sites_inside, stored_box
from tetherwatch.meter.channel import NOT_MEASURED, ChannelTone, SiteTone, channel_tones
from tetherwatch.meter.histogram import Counts, SiteCounts, count_sites
from tetherwatch.meter.level import AreaPart, Level, channel_stops, picture_level, raw_level
from tetherwatch.meter.records import WHOLE_BOX, Aim, AreaKind, Box, Face, Reading, Sides, ToneHistogram
from tetherwatch.meter.skin import count_skin, nearest, skin_box
from tetherwatch.meter.tone import merged, tone_histogram

_CARD_TRIM = 0.1
"""Share of the darkest and of the brightest pixels of a card left out: dust, edges, lettering."""

_SKIN_TRIM = 0.2
"""Same for the skin of a face: specular spots, strands of hair, the rim of glasses."""

_SIDE_UNCERTAINTY = 0.05
"""Stops: how evenly the skin of both sides reflects (judgement)."""

_CLIPPED_UNCERTAINTY = 2.0
"""Stops of uncertainty added per clipped share of the area: clipped light is at least this bright, no more is known."""

_NOTE_CLIPPED_PERCENT = 2.0

_Curves = Mapping[tuple[Channel, float], SiteTone]
"""By channel and black level."""


@dataclass(frozen=True, slots=True)
class _Area:
    """What is metered: kind, box of the upright picture, and its pixels."""

    kind: AreaKind
    box: Box
    parts: tuple[AreaPart, ...]
    trim: float


def meter_frame(
    frame: Frame, aim: Aim, settings: Settings, orientation: int, calibration: Calibration | None = None
) -> Reading:
    """Meter a frame against an aim.

    `settings` in exact dial values give the light value; `orientation` is the Exif code that turns the stored picture
    upright, because boxes are given in the upright picture. `calibration`: what was measured of the body; it bears on
    raws only.
    """
    known = calibration if frame.curve == "linear" else None
    channels = channel_tones(count_sites(frame.sites), frame, known.saturation_dn if known else NOT_MEASURED)
    area = _area(frame, aim, channels, orientation)
    level = _level(frame, area, known)
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
        notes=_notes(aim, level, area_clipped),
        metered=area.box,
        channel_stops=channel_stops(area.parts, area.trim),
        body=known.body if known else None,
    )


def _level(frame: Frame, area: _Area, calibration: Calibration | None) -> Level:
    if frame.curve == "sRGB":
        return picture_level(area.parts, area.trim)
    return raw_level(area.parts, area.trim, calibration.grey_share if calibration else RAW_GREY)


def _area(frame: Frame, aim: Aim, channels: tuple[ChannelTone, ...], orientation: int) -> _Area:
    curves = {(channel.channel, site.black): site for channel in channels for site in channel.sites}
    if aim.area in ("card", "box"):
        parts = _box_parts(frame, curves, stored_box(aim.box, orientation))
        return _Area(aim.area, aim.box, parts, _CARD_TRIM if aim.area == "card" else 0.0)
    return _Area("frame", WHOLE_BOX, _centre_weighted_parts(frame, curves), 0.0)


def _curves(channels: tuple[ChannelTone, ...]) -> _Curves:
    return {(channel.channel, site.black): site for channel in channels for site in channel.sites}


def _skin_area(frame: Frame, curves: _Curves, face: Face, orientation: int) -> _Area | None:
    """The skin of a face; None where there is too little of it."""
    skin = count_skin(frame, face, orientation)
    if skin.empty:
        return None
    whole, left, right = (
        tuple(_part(site, curves, site.counts, weight=1.0) for site in sites)
        for sites in (skin.whole, skin.left, skin.right)
    )
    size = (frame.height, frame.width) if orientation >= 5 else (frame.width, frame.height)
    return _Area("face", skin_box(face, *size), whole, _SKIN_TRIM, face, (left, right))


def _sides(area: _Area, measure: _Measure) -> Sides | None:
    """The light on both sides of a face that was found."""
    if area.face is None or area.sides is None:
        return None
    left, right = (measure(parts, area.trim) for parts in area.sides)
    return Sides(left.stops, right.stops, math.hypot(_SIDE_UNCERTAINTY, ...))


def _card_stops(
    frame: Frame, aim: Aim, channels: tuple[ChannelTone, ...], orientation: int, measure: _Measure
) -> float | None:
    """The level of the aim's box, beside a face."""
    if aim.area != "face":
        return None
    return measure(_box_parts(frame, _curves(channels), stored_box(aim.box, orientation)), _CARD_TRIM).stops


def _box_parts(frame: Frame, curves: _Curves, box: Box) -> tuple[AreaPart, ...]:
    counted = count_sites(sites_inside(frame, box, sample_pitch(frame, box)))
    return tuple(_part(site, curves, site.counts, weight=1.0) for site in counted)


def _centre_weighted_parts(frame: Frame, curves: _Curves) -> tuple[AreaPart, ...]:
    pitch = sample_pitch(frame, WHOLE_BOX)
    parts = []
    inner: Sequence[Counts | int] = [0] * len(frame.sites)
    for side, weight in CENTRE_RINGS:
        counted = count_sites(sites_inside(frame, centred_box(side), pitch))
        parts += [_part(site, curves, site.counts - less, weight) for site, less in zip(counted, inner, strict=False)]
        inner = [site.counts for site in counted]
    return tuple(parts)


def _part(site: SiteCounts, curves: _Curves, counts: Counts, weight: float) -> AreaPart:
    """The part without the many codes that do not occur in it."""
    curve = curves[site.channel, site.black]
    used = np.flatnonzero(counts)
    return AreaPart(site.channel, counts[used], curve.table[used], curve.range_codes, weight)


def _area_tones(parts: tuple[AreaPart, ...]) -> tuple[ToneHistogram, ...]:
    by_channel: dict[Channel, list[ToneHistogram]] = {}
    for part in parts:
        by_channel.setdefault(part.channel, []).append(tone_histogram(part.channel, part.counts, part.light))
    return tuple(map(merged, by_channel.values()))


def _crushed_percent(channels: tuple[ChannelTone, ...]) -> float:
    return 100.0 * sum(channel.crushed for channel in channels) / sum(channel.tones.total for channel in channels)


def _notes(aim: Aim, level: Level, area_clipped: float) -> tuple[str, ...]:
    notes = []
    if aim.area == "face":
        notes.append("finding faces is not built in yet: the centre-weighted frame was metered instead")
    if level.floor:
        notes.append("the metered area is black: it is at most this bright")
    if area_clipped > _NOTE_CLIPPED_PERCENT:
        notes.append(f"{area_clipped:.0f} % of the metered area is clipped: it is at least this bright")
    return tuple(notes)
