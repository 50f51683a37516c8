"""What an aim has metered: pixels of the frame, a card, a box or a face, with their weights."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tetherwatch.frame.records import Channel, Frame
from tetherwatch.meter.area import CENTRE_RINGS, centred_box, sample_pitch, sites_inside, stored_box
from tetherwatch.meter.channel import ChannelTone, SiteTone
from tetherwatch.meter.histogram import Counts, SiteCounts, count_sites
from tetherwatch.meter.level import AreaPart
from tetherwatch.meter.nearby import nearest
from tetherwatch.meter.records import WHOLE_BOX, Aim, AreaKind, Box, Face
from tetherwatch.meter.skin import count_skin, skin_box

CARD_TRIM = 0.1
"""Share of the darkest and of the brightest pixels of a card left out: dust, edges, lettering."""

_SKIN_TRIM = 0.25
"""Same for each side of a face: eyes, brows, lips, specular spots, strands of hair, the rim of glasses."""

_Curves = Mapping[tuple[Channel, float], SiteTone]
"""By channel and black level."""

Parts = tuple[AreaPart, ...]


@dataclass(frozen=True, slots=True)
class Area:
    """What is metered: kind, box of the upright picture, its pixels, and the share of them to trim at either end.

    Of a face also `face`, None if it is where one was before; its left and right side; and the aim's box as `card`.
    """

    kind: AreaKind
    box: Box
    parts: Parts
    trim: float
    face: Face | None = None
    sides: tuple[Parts, ...] = ()
    card: Parts = ()


def metered_area(
    frame: Frame, aim: Aim, channels: tuple[ChannelTone, ...], orientation: int, faces: tuple[Face, ...]
) -> Area:
    """The area that the aim asks for, or what stands for a face where there is none."""
    curves = {(channel.channel, site.black): site for channel in channels for site in channel.sites}
    if aim.area == "face":
        area = _found_face(frame, curves, aim, orientation, faces)
        return replace(area, card=_box_parts(frame, curves, stored_box(aim.box, orientation)))
    if aim.area == "frame":
        return _whole_frame(frame, curves)
    parts = _box_parts(frame, curves, stored_box(aim.box, orientation))
    return Area(aim.area, aim.box, parts, CARD_TRIM if aim.area == "card" else 0.0)


def _found_face(frame: Frame, curves: _Curves, aim: Aim, orientation: int, faces: tuple[Face, ...]) -> Area:
    """The face to meter; where there is none, the place of the last one; without that the whole frame."""
    face = nearest(faces, aim.near)
    area = None if face is None else _skin_area(frame, curves, face, orientation)
    if area is None and aim.last is not None:
        before = _skin_area(frame, curves, aim.last.face, orientation)
        area = None if before is None else replace(before, face=None, sides=())
    return _whole_frame(frame, curves) if area is None else area


def _whole_frame(frame: Frame, curves: _Curves) -> Area:
    return Area("frame", WHOLE_BOX, _centre_weighted_parts(frame, curves), 0.0)


def _skin_area(frame: Frame, curves: _Curves, face: Face, orientation: int) -> Area | None:
    """Both sides of a face, which count alike however they are lit; None where there is too little of one."""
    skin = count_skin(frame, face, orientation)
    if skin.empty:
        return None
    left, right = (_parts(sites, curves) for sites in (skin.left, skin.right))
    size = (frame.height, frame.width) if orientation >= 5 else (frame.width, frame.height)
    return Area("face", skin_box(face, *size), left + right, _SKIN_TRIM, face, (left, right))


def _box_parts(frame: Frame, curves: _Curves, box: Box) -> Parts:
    return _parts(count_sites(sites_inside(frame, box, sample_pitch(frame, box))), curves)


def _centre_weighted_parts(frame: Frame, curves: _Curves) -> Parts:
    pitch = sample_pitch(frame, WHOLE_BOX)
    parts = []
    inner: Sequence[Counts | int] = [0] * len(frame.sites)
    for side, weight in CENTRE_RINGS:
        counted = count_sites(sites_inside(frame, centred_box(side), pitch))
        parts += [_part(site, curves, site.counts - less, weight) for site, less in zip(counted, inner, strict=False)]
        inner = [site.counts for site in counted]
    return tuple(parts)


def _parts(counted: Sequence[SiteCounts], curves: _Curves) -> Parts:
    return tuple(_part(site, curves, site.counts, weight=1.0) for site in counted)


def _part(site: SiteCounts, curves: _Curves, counts: Counts, weight: float) -> AreaPart:
    """The part without the many codes that do not occur in it."""
    curve = curves[site.channel, site.black]
    used = np.flatnonzero(counts)
    return AreaPart(site.channel, counts[used], curve.table[used], curve.range_codes, weight)
