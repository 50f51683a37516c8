"""The part of a face that is metered, laid out from its eyes.

`across` runs from one eye to the other and `down` square to it towards the chin, both in distances between the eyes, 0
halfway between them. The part is large and its darkest and brightest pixels are left out when it is metered (eyes,
brows, lips, specular spots), which moves less with small errors of where the eyes are than a small patch of cheek does:
of the layouts tried on portraits this one moved least.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Frame, Site
from tetherwatch.meter.area import sample_pitch, sites_inside, stored_box
from tetherwatch.meter.histogram import Counts, SiteCounts, code_count, count_codes
from tetherwatch.meter.records import Box, Face

_ACROSS = 0.75
_DOWN = (-0.3, 1.3)
_MIDDLE = 0.12
"""Nearer to the middle than this lies the ridge of the nose, which belongs to neither side."""

_ENOUGH_PIXELS = 1 << 16
"""Of a face that is larger some rows and columns are left out: where each pixel lies on it takes time to work out."""

_LEAST_SQUARE = 1e-6
"""Of the distance between the eyes in pixels: eyes at one place measure nothing instead of dividing by nothing."""

Pair = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Skin:
    """Code counts of each site in the left and in the right side of a face as seen in the picture."""

    left: tuple[SiteCounts, ...]
    right: tuple[SiteCounts, ...]

    @property
    def empty(self) -> bool:
        """Whether some channel has no pixel on one of the sides: the face lies beyond the edge, or is too small."""
        return any(not site.counts.any() for site in (*self.left, *self.right))


def count_skin(frame: Frame, face: Face, orientation: int) -> Skin:
    """Count the codes of a face of the upright picture."""
    axes = _Axes.of(frame, face, orientation)
    sites = sites_inside(frame, axes.box, sample_pitch(frame, axes.box, _ENOUGH_PIXELS))
    placed = [(site, *axes.places(site)) for site in sites]
    inside = [(site, across, _between(down, *_DOWN) & (np.abs(across) <= _ACROSS)) for site, across, down in placed]
    return Skin(
        left=tuple(_counted(site, mask & (across < -_MIDDLE)) for site, across, mask in inside),
        right=tuple(_counted(site, mask & (across > _MIDDLE)) for site, across, mask in inside),
    )


def skin_box(face: Face, upright_width: int, upright_height: int) -> Box:
    """The rectangle around the metered part of a face in an upright picture of this size in pixels."""
    size = np.array([upright_width, upright_height])
    middle, across = _eyes(face, size)
    down = np.array([-across[1], across[0]])
    corners = [middle + a * across + d * down for a in (-_ACROSS, _ACROSS) for d in _DOWN]
    least, most = np.min(corners, axis=0) / size, np.max(corners, axis=0) / size
    return Box(*(float(edge) for edge in np.clip([*least, *most], 0.0, 1.0)))


@dataclass(frozen=True, slots=True)
class _Axes:
    """The face's axes in pixels of the picture as stored: its middle, and the steps `across` and `down` (x, y).

    `box` is the stored rectangle around the metered part.
    """

    box: Box
    middle: Pair
    across: Pair
    down: Pair

    @classmethod
    def of(cls, frame: Frame, face: Face, orientation: int) -> "_Axes":
        stored = np.array([frame.width, frame.height])
        upright = stored[::-1] if orientation >= 5 else stored
        middle, across = _eyes(face, upright)
        down = np.array([-across[1], across[0]])
        places = [_stored(place / upright, orientation) * stored for place in (middle, middle + across, middle + down)]
        box = skin_box(face, int(upright[0]), int(upright[1]))
        return cls(stored_box(box, orientation), places[0], places[1] - places[0], places[2] - places[0])

    def places(self, site: Site) -> tuple[Pair, Pair]:
        """How far across and down each pixel of a site lies."""
        rows, columns = site.values.shape
        x = site.left + np.arange(columns) * site.pitch_x + 0.5 - self.middle[0]
        y = (site.top + np.arange(rows) * site.pitch_y + 0.5 - self.middle[1])[:, np.newaxis]
        square = max(float(self.across @ self.across), _LEAST_SQUARE)
        across: Pair = (x * self.across[0] + y * self.across[1]) / square
        down: Pair = (x * self.down[0] + y * self.down[1]) / square
        return across, down


def _eyes(face: Face, size: NDArray[np.int_]) -> tuple[Pair, Pair]:
    """Halfway between the eyes, and from the left one to the right one, in pixels of an upright picture."""
    left, right = (np.array([eye.x, eye.y]) * size.astype(np.float64) for eye in (face.left_eye, face.right_eye))
    return (left + right) / 2, right - left


def _stored(place: Pair, orientation: int) -> Pair:
    x, y = (float(value) for value in place)
    box = stored_box(Box(x, y, x, y), orientation)
    return np.array([box.left, box.top])


def _between(values: Pair, least: float, most: float) -> NDArray[np.bool_]:
    return (values >= least) & (values <= most)


def _counted(site: Site, mask: NDArray[np.bool_]) -> SiteCounts:
    counts: Counts = np.zeros(code_count(site.values), np.int64)
    count_codes(site.values[mask], counts)
    return SiteCounts(site.channel, site.black, site.white, counts)
