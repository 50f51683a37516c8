"""Which pixels are metered: boxes of the upright picture mapped to the stored pixels of each site."""

import math
from dataclasses import replace

from tetherwatch.frame.records import Frame, Site
from tetherwatch.meter.records import Box

_SAMPLE_PIXELS = 1 << 18
_LEAST_LINES = 64
"""A much larger area is metered on a grid of its pixels, with no fewer rows and columns of the picture than these: its
mean needs no more (10,000 pixels at SNR 40 already give it to 0.0005 stop)."""

CENTRE_RINGS = ((1 / 3, 0.5), (2 / 3, 0.3), (1.0, 0.2))
"""Centre weighting: nested boxes by their side as a part of the picture's, with the weight of the ring each adds.
That the centre counts more is common practice; these figures are ours."""


def stored_box(box: Box, orientation: int) -> Box:
    """Map a box of the upright picture to the picture as stored, for an Exif orientation code 1 to 8."""
    left, top, right, bottom = box.left, box.top, box.right, box.bottom
    if orientation in (2, 3, 6, 7):
        # Upright x runs against the stored axis it lies along.
        left, right = 1 - right, 1 - left
    if orientation in (3, 4, 7, 8):
        top, bottom = 1 - bottom, 1 - top
    if orientation >= 5:
        left, top, right, bottom = top, left, bottom, right
    return Box(left, top, right, bottom)


def centred_box(side: float) -> Box:
    """A box around the centre whose sides are `side` of the picture's."""
    return Box(0.5 - side / 2, 0.5 - side / 2, 0.5 + side / 2, 0.5 + side / 2)


def _span(start: float, stop: float, origin: int, pitch: int, count: int) -> tuple[int, int]:
    """Site indices whose pixels have their centre in [start, stop); at least one."""
    first = min(max(math.ceil((start - 0.5 - origin) / pitch), 0), count - 1)
    last = min(max(math.ceil((stop - 0.5 - origin) / pitch), first + 1), count)
    return first, last


def sample_pitch(frame: Frame, box: Box, enough: int = _SAMPLE_PIXELS) -> int:
    """Metered are every so many rows and columns of each site, to leave `enough` pixels; 1 where the area is small."""
    rows, columns = (box.bottom - box.top) * frame.height, (box.right - box.left) * frame.width
    return max(1, int(min(math.sqrt(rows * columns / enough), rows / _LEAST_LINES, columns / _LEAST_LINES)))


def sites_inside(frame: Frame, box: Box, pitch: int) -> tuple[Site, ...]:
    """Each site of a frame cut down to a stored box, and there to every `pitch`-th row and column.

    Rows and columns are those divisible by `pitch`, so that a box inside another holds a subset of its pixels.
    """
    return tuple(_inside(site, frame, box, pitch) for site in frame.sites)


def _inside(site: Site, frame: Frame, box: Box, pitch: int) -> Site:
    rows, columns = site.values.shape
    first, bottom = _span(box.top * frame.height, box.bottom * frame.height, site.top, site.pitch_y, rows)
    start, right = _span(box.left * frame.width, box.right * frame.width, site.left, site.pitch_x, columns)
    top, left = (-(-edge // pitch) * pitch for edge in (first, start))
    return replace(
        site,
        values=site.values[top:bottom:pitch, left:right:pitch],
        top=site.top + top * site.pitch_y,
        left=site.left + left * site.pitch_x,
        pitch_y=site.pitch_y * pitch,
        pitch_x=site.pitch_x * pitch,
    )
