"""How far two pictures agree that they show the same light, whatever clothes and framing do to them.

A close view of a subject shows the same materials as a wide one, at the same light value and colour, though in other
places; new clothes leave skin and backdrop as they were. When the light changes, all materials shift. So each cell of
the newer picture is looked for anywhere in the older one, as it is and shifted by an amount that is the same for all.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import median

import numpy as np
from numpy.typing import NDArray

from tetherwatch.setups.look import BRIGHTEST_STOPS, DARKEST_STOPS, STOPS
from tetherwatch.setups.records import Look, Sample

_CELL_STOPS, _COLOUR_STOPS = 0.1, 0.15
"""How far light value and colour of a material may scatter."""

_HIDDEN_STOPS = 0.3
"""The same of what may be clipped or black: a cell also is where one of its samples is."""

_WARM_STOPS = 0.15
"""How much redder, and less blue, a colour is than the picture's middle to be told from its greys: skin is, few clothes
are. Colours that are colder are not told: grey clothes are colder than a warm wall."""

_WARM_CELLS = 10
"""Cells of a colour that both pictures must have."""

_LEAST_CELLS = 80
_VIEW_STOPS, _VIEW_PART = 0.3, 0.8
"""Of two frames of one view, in whatever clothes, this part of the cells differs from their middle by no more."""

_REACH_STOPS = 5.0
_BINS = round(2 * _REACH_STOPS / STOPS) + 1
_UNMOVED = _BINS // 2
_NEAR = slice(_UNMOVED - 1, _UNMOVED + 2)
"""Changes that flash, shutter and iris bring about by themselves."""

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Kinship:
    """How two pictures agree.

    `same`: the part of either picture that the other explains, the smaller of the two; `seen`: the same of what is
    neither clipped nor black. `shifted`: `same` if all light had shifted by `shift_stops` (positive: the newer has
    more), the shift that explains most. `warm` and `warm_shifted`: the same two of warm materials that both show;
    1 where there are too few.
    """

    same: float
    seen: float
    shifted: float
    shift_stops: float
    warm: float
    warm_shifted: float


def seen_part(sample: Sample) -> float:
    """The part of a picture that is neither clipped nor black; 1 where there is no picture."""
    look = sample.look
    seen = sum(each.cells for each in look.materials)
    return seen / (seen + look.bright + look.dark) if look.layout else 1.0


def kinship(known: Look, new: Look, explained: tuple[float, float]) -> Kinship | None:
    """How the pictures agree; None where there are none.

    `explained`: the least and the most that anything but a change of light did to the level, in stops.
    """
    (older, older_cells), (newer, cells) = _palette(known), _palette(new)
    if not (known.layout and new.layout):
        return None
    red, blue = (np.abs(newer[k][:, None] - older[k]) <= _COLOUR_STOPS for k in (1, 2))
    alike = red & blue
    apart = newer[0][:, None] - older[0]
    found, found_back = _found(apart, alike, explained), _found(apart.T, alike.T, explained)
    hidden = _hidden(newer, known.balance or new.balance, explained)
    back = _hidden(older, new.balance or known.balance, (-explained[1], -explained[0]))
    hidden_back = [each[:, ::-1] for each in back]
    after = _Side(cells, found, hidden, (new.bright, new.dark))
    before = _Side(older_cells, found_back, hidden_back, (known.bright, known.dark))
    shares = np.minimum(_shares(after, before), _shares(before, after))
    best, near = int(np.argmax(shares)), _NEAR.start + int(np.argmax(shares[_NEAR]))
    seen = min(_seen(after, before, near), _seen(before, after, near))
    warm = min(_warm(newer, after, alike @ older_cells), _warm(older, before, cells @ alike))
    return Kinship(float(shares[near]), seen, float(shares[best]), (best - _UNMOVED) * STOPS, *warm)


@dataclass(frozen=True, slots=True)
class _Side:
    """One of two pictures. `cells` of each material, and for each change of light: which materials are `found` in the
    other picture, and which would be clipped and which black there (`hidden`). `lost`: its own cells that are so."""

    cells: Floats
    found: Bools
    hidden: Sequence[Bools]
    lost: tuple[int, int]


def _shares(side: _Side, other: _Side) -> Floats:
    """The part of a picture that the other explains, for each change.

    What is clipped or black here may be so there too, or be a material that would be so here.
    """
    explained = side.cells @ side.found
    for among, among_back, here, there in zip(side.hidden, other.hidden, side.lost, other.lost, strict=True):
        turned = other.cells @ among_back
        explained += np.minimum(turned + there, here)
        explained += np.minimum(side.cells @ (among & ~side.found), there - np.clip(here - turned, 0, there))
    shares: Floats = explained / (side.cells.sum() + sum(side.lost))
    return shares


def _seen(side: _Side, other: _Side, change: int) -> float:
    """The part of what is neither clipped nor black that the other picture explains by a change of light; all of it
    where that is too little to tell."""
    if side.cells.sum() < _LEAST_CELLS:
        return 1.0
    explained = float(side.cells @ side.found[:, change])
    for among, there in zip(side.hidden, other.lost, strict=True):
        explained += min(float(side.cells @ (among & ~side.found)[:, change]), there)
    return explained / float(side.cells.sum())


def _hidden(materials: Floats, balance: tuple[float, float] | None, explained: tuple[float, float]) -> list[Bools]:
    """Which materials may be among the bright, and which among the dark cells of another picture of this white balance,
    materials x changes."""
    shifts = (np.arange(_BINS) - _UNMOVED) * STOPS
    red, blue = balance or (0.0, 0.0)
    shown = materials[0] + np.array([np.zeros_like(materials[0]), materials[1] + red, materials[2] + blue])
    brightest, darkest = shown.max(axis=0)[:, None] - shifts, shown.min(axis=0)[:, None] - shifts
    return [
        brightest - explained[0] >= BRIGHTEST_STOPS - _HIDDEN_STOPS,
        darkest - explained[1] <= DARKEST_STOPS + _HIDDEN_STOPS,
    ]


def _warm(materials: Floats, side: _Side, alike: Floats) -> tuple[float, float]:
    """How much of the warm materials that both pictures show is found unmoved, and with the best shift.

    `alike`: how many cells of the other picture have the colour of each material; a few are only the edges of others.
    """
    if side.cells.sum() < _LEAST_CELLS:
        return 1.0, 1.0
    middle = [_weighted_median(colours, side.cells) for colours in materials[1:]]
    warmer = (materials[1] - middle[0] > _WARM_STOPS) & (materials[2] - middle[1] < -_WARM_STOPS)
    shared = warmer & (alike >= _WARM_CELLS)
    counts = side.cells[shared]
    if counts.sum() < _WARM_CELLS:
        return 1.0, 1.0
    shares = counts @ np.logical_or.reduce([side.found, *side.hidden])[shared] / counts.sum()
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


def _found(apart: Floats, alike: Bools, explained: tuple[float, float]) -> Bools:
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


def same_view(known: Sample, new: Sample, least_part: float = _VIEW_PART) -> bool:
    """Whether two frames show about the same picture, whatever its light and settings do to all of it.

    What is lost in both, clipped or black, is taken for the same.
    """
    if known.area != new.area:
        return False
    if not known.look.layout:
        return True
    pairs = [*zip(known.look.layout, new.look.layout, strict=False)]
    apart = [newer - older for older, newer in pairs if older is not None and newer is not None]
    lost = sum(older is newer is None for older, newer in pairs)
    if not apart or len(apart) + lost < len(known.look.layout) / 2:
        return False
    middle = median(apart)
    alike = sum(abs(each - middle) <= _VIEW_STOPS for each in apart)
    return alike + lost >= least_part * (len(apart) + lost)
