"""Whether two frames show the same light, whatever clothes and framing do to the picture.

A close view of a subject shows the same materials as a wide one, at the same light value and colour, though in other
places; new clothes leave skin and backdrop as they were. When the light changes, all materials shift. So each cell of
the newer picture is looked for anywhere in the older one, as it is and shifted by an amount that is the same for all.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from statistics import median

import numpy as np
from numpy.typing import NDArray

from tetherwatch.advise.likeness import ALIKE_STOPS, setting_moves
from tetherwatch.advise.records import LightKind
from tetherwatch.exposure.stops import Setting
from tetherwatch.setups.look import BRIGHT_STOPS, DARK_STOPS, STOPS
from tetherwatch.setups.records import Look, Sample

STRANGE = 8.0
"""Cost, in nats, of a frame that shows another light: no frame costs more."""

_CELL_STOPS, _COLOUR_STOPS = 0.2, 0.15
"""How far light value and colour of a material may scatter."""

_SAME_PART, _OTHER_PART = 0.5, 0.2
"""Parts of a picture that are found again: of simulated frames under one light 99 % show more than the first, of
frames under two lights 99 % show less than the second."""

_BETTER_PART = 0.25
"""A shift that explains so much more of the picture is one of the light."""

_STAINED_STOPS = 0.25
"""How far a colour lies from the picture's middle to be told from its greys: skin does, and few clothes."""

_STAINED_FOUND, _STAINED_BETTER, _STAINED_CELLS, _STAINED_COST = 0.1, 0.45, 6, 6.0

_AREA_SIGMA_STOPS = 0.13
"""Scatter of the metered area's light from frame to frame: flash, shutter and iris together, and small movements."""

_LEAST_CELLS = 80
_VIEW_STOPS, _VIEW_PART = 0.3, 0.8
"""Of two frames of one view, this part of the cells differs by no more than that from what all do."""

_REACH_STOPS = 5.0
_BINS = round(2 * _REACH_STOPS / STOPS) + 1
_UNMOVED = _BINS // 2

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Kinship:
    """How two pictures agree.

    `same`: the part of either picture that the other explains, the smaller of the two; `shifted`: the same if all light
    had shifted by `shift_stops` (positive: the newer has more), the shift that explains most. `stained` and
    `stained_shifted`: the same two of coloured materials that both show; 1 where there are too few.
    """

    same: float
    shifted: float
    shift_stops: float
    stained: float
    stained_shifted: float


def is_blind(sample: Sample) -> bool:
    """Whether a frame is so bright or dark that its picture tells too little of the light."""
    return bool(sample.look.layout) and sum(each.cells for each in sample.look.materials) < _LEAST_CELLS


def strangeness(light: LightKind, known: Sample, new: Sample, asked_stops: float = 0.0) -> float:
    """Cost in nats, 0 to `STRANGE`, of taking `new` for a frame under the light of `known`.

    `asked_stops`: light that was asked for between them.
    """
    moved = setting_moves(known.settings, new.settings)
    if moved is None:
        return 0.0
    explained = _explained(light, moved, asked_stops)
    area = None
    if known.area == new.area and (known.area == "face" or known.metered == new.metered):
        change = new.level_stops - known.level_stops
        area = change - min(max(change, explained[0]), explained[1])
    kin = kinship(known.look, new.look, explained)
    if kin is None:
        return 0.0 if area is None or is_blind(known) or is_blind(new) else _of_area(area)
    of_subject = _of_area(area) if area is not None and new.area == "face" else 0.0
    return min(_of_look(kin) + of_subject, STRANGE)


def _of_area(change: float) -> float:
    return min((change / _AREA_SIGMA_STOPS) ** 2 / 2, STRANGE)


def _of_look(kin: Kinship) -> float:
    if abs(kin.shift_stops) > ALIKE_STOPS and kin.shifted - kin.same > _BETTER_PART:
        return STRANGE
    stained = kin.stained < _STAINED_FOUND and kin.stained_shifted - kin.stained > _STAINED_BETTER
    doubt = min(max((_SAME_PART - kin.same) / (_SAME_PART - _OTHER_PART), 0.0), 1.0)
    return max(STRANGE * doubt, _STAINED_COST if stained else 0.0)


def _explained(light: LightKind, moved: Mapping[Setting, float], asked: float) -> tuple[float, float]:
    """The least and the most that settings, and light that was asked for, may have changed the level by."""
    most = sum(moved.values())
    least = most if light == "continuous" else most - moved[Setting.SHUTTER]
    return min(least, most) + min(asked, 0.0), max(least, most) + max(asked, 0.0)


def kinship(known: Look, new: Look, explained: tuple[float, float]) -> Kinship | None:
    """How the pictures agree; None where there are none, or too little of them can be told.

    `explained`: the least and the most that anything but a change of light did to the level, in stops.
    """
    (older, older_cells), (newer, cells) = _palette(known), _palette(new)
    if min(older_cells.sum(), cells.sum()) < _LEAST_CELLS:
        return None
    red, blue = (np.abs(newer[k][:, None] - older[k]) <= _COLOUR_STOPS for k in (1, 2))
    alike = red & blue
    apart = newer[0][:, None] - older[0]
    found, found_back = _found(apart, alike, explained), _found(apart.T, alike.T, explained)
    shares = cells @ found / cells.sum()
    for hidden, among in _hidden(newer[0], known, explained):
        shares += np.minimum(cells @ (hidden & ~found) / cells.sum(), among)
    back = older_cells @ found_back / older_cells.sum()
    for hidden, among in _hidden(older[0], new, (-explained[1], -explained[0])):
        back += np.minimum(older_cells @ (hidden[:, ::-1] & ~found_back) / older_cells.sum(), among)
    shares = np.minimum(shares, back)
    best = int(np.argmax(shares))
    stained = min(_stained(newer, cells, alike, found), _stained(older, older_cells, alike.T, found_back))
    return Kinship(float(shares[_UNMOVED]), float(shares[best]), (best - _UNMOVED) * STOPS, *stained)


def _hidden(levels: Floats, known: Look, explained: tuple[float, float]) -> Iterator[tuple[NDArray[np.bool_], float]]:
    """Which materials may be among the clipped or black cells of the older picture, materials x changes, with the
    part of that picture that these are."""
    shifts = (np.arange(_BINS) - _UNMOVED) * STOPS
    total = known.bright + known.dark + sum(each.cells for each in known.materials)
    yield levels[:, None] - explained[0] - shifts >= BRIGHT_STOPS, known.bright / total
    yield levels[:, None] - explained[1] - shifts <= DARK_STOPS, known.dark / total


def _stained(newer: Floats, counts: Floats, alike: NDArray[np.bool_], found: NDArray[np.bool_]) -> tuple[float, float]:
    """How much of the coloured materials that both pictures show is found unmoved, and with the best shift."""
    middle = [_weighted_median(colours, counts) for colours in newer[1:]]
    coloured = (np.abs(newer[1] - middle[0]) > _STAINED_STOPS) | (np.abs(newer[2] - middle[1]) > _STAINED_STOPS)
    shared = coloured & alike.any(axis=1)
    total = counts[shared].sum()
    if total < _STAINED_CELLS:
        return 1.0, 1.0
    shares = counts[shared] @ found[shared] / total
    return float(shares[_UNMOVED]), float(shares.max())


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    sums = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(sums, sums[-1] / 2)])


@lru_cache(maxsize=512)
def _palette(look: Look) -> tuple[Floats, Floats]:
    """The materials of a picture in stops, (level, red, blue) x materials, and how many cells show each."""
    table = np.array([(each.level, each.red, each.blue, each.cells) for each in look.materials], float).reshape(-1, 4)
    return table[:, :3].T * STOPS, table[:, 3]


def _found(apart: Floats, alike: NDArray[np.bool_], explained: tuple[float, float]) -> NDArray[np.bool_]:
    """Which changes of light explain each material: materials x changes, `_UNMOVED` being none."""
    pairs = np.flatnonzero(alike)
    rows, levels = pairs // alike.shape[1], apart.ravel()[pairs]
    places = np.rint((levels - np.clip(levels, *explained)) / STOPS).astype(np.intp) + _UNMOVED
    inside = (places >= 0) & (places < _BINS)
    reach = round(_CELL_STOPS / STOPS)
    found = np.zeros((apart.shape[0], _BINS + 2 * reach), dtype=bool)
    for offset in range(2 * reach + 1):
        found[rows[inside], places[inside] + offset] = True
    return found[:, reach : reach + _BINS]


def same_view(known: Sample, new: Sample) -> bool:
    """Whether two frames show about the same picture, whatever its light and settings do to all of it."""
    if known.area != new.area:
        return False
    pairs = zip(known.look.layout, new.look.layout, strict=False)
    apart = [newer - older for older, newer in pairs if older is not None and newer is not None]
    if not known.look.layout:
        return True
    if len(apart) < len(known.look.layout) / 2:
        return False
    middle = median(apart)
    return sum(abs(each - middle) <= _VIEW_STOPS for each in apart) >= _VIEW_PART * len(apart)
