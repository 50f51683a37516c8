"""The studio as linear reflectance: a grey card, skin, cloth, bright and dark parts before a backdrop.

The picture is made of cells, one for each 2x2 group of sensor pixels. Skin tones are the published sRGB values of the
24-patch colour chart, scaled to luminance factors of 35 % and 10 %.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Cells = NDArray[np.float32]
"""Linear reflectance, colour (r, g, b) x rows x columns; 1 is a perfect white, mirrors reach above it."""


@dataclass(frozen=True, slots=True)
class Patch:
    """A rectangle (left, top, right, bottom, relative to the picture) of one colour; `weave` is its texture's depth."""

    name: str
    box: tuple[float, float, float, float]
    colour: tuple[float, float, float]
    weave: float = 0.0


def _grey(reflectance: float) -> tuple[float, float, float]:
    return (reflectance, reflectance, reflectance)


GREY = 0.18

SHADE_STOPS = -2.5
"""What light is left where something stands in it."""

CARD = Patch("grey card", (0.36, 0.36, 0.64, 0.64), _grey(GREY))
PATCHES = (
    Patch("backdrop", (0.0, 0.0, 1.0, 1.0), (0.29, 0.30, 0.32), weave=0.04),
    Patch("light skin", (0.08, 0.12, 0.30, 0.30), (0.541, 0.306, 0.224)),
    Patch("dark skin", (0.08, 0.30, 0.30, 0.48), (0.170, 0.084, 0.057)),
    Patch("cloth", (0.08, 0.56, 0.30, 0.92), (0.10, 0.13, 0.22), weave=0.5),
    Patch("white paper", (0.70, 0.08, 0.92, 0.36), _grey(0.90)),
    Patch("highlight", (0.79, 0.16, 0.81, 0.19), _grey(4.0)),
    Patch("black paper", (0.70, 0.60, 0.92, 0.76), _grey(0.03)),
    Patch("velvet", (0.70, 0.76, 0.92, 0.92), _grey(0.004)),
    CARD,
)

_SHADE = Patch("shade", (0.30, 0.30, 0.70, 0.70), _grey(0.0))
_SHADE_LEAVES = 2.0**SHADE_STOPS
_HAND = Patch("hand", (0.0, 0.95, 0.3, 1.0), (0.541, 0.306, 0.224))


def paint(rows: int, columns: int, patches: tuple[Patch, ...] = PATCHES) -> Cells:
    """A scene in `rows` x `columns` cells; each patch covers the ones before it, the first one everything."""
    cells = np.empty((3, rows, columns), np.float32)
    for patch in patches:
        across = inside(patch, rows, columns)
        part = cells[:, across[0], across[1]]
        part[...] = np.reshape(patch.colour, (3, 1, 1))
        if patch.weave:
            part *= 1 + patch.weave * _threads(*part.shape[1:])
    return cells


def shaded(cells: Cells) -> Cells:
    """The scene with something between the light and the card."""
    across = inside(_SHADE, *cells.shape[1:])
    dark = cells.copy()
    dark[:, across[0], across[1]] *= np.float32(_SHADE_LEAVES)
    return dark


def held_card(rows: int, columns: int) -> Cells:
    """The grey card held before the lens: nothing else is seen but a rim of the hand that holds it."""
    cells = np.full((3, rows, columns), GREY, np.float32)
    across = inside(_HAND, rows, columns)
    cells[:, across[0], across[1]] = np.reshape(_HAND.colour, (3, 1, 1))
    return cells


def inside(patch: Patch, rows: int, columns: int) -> tuple[slice, slice]:
    """The cells a patch covers, as (rows, columns)."""
    left, top, right, bottom = patch.box
    return slice(round(top * rows), round(bottom * rows)), slice(round(left * columns), round(right * columns))


def _threads(rows: int, columns: int) -> NDArray[np.float32]:
    """A weave between -1 and 1, a few cells a thread."""
    down = np.sin(1.3 * np.arange(rows, dtype=np.float32))
    across = np.sin(0.9 * np.arange(columns, dtype=np.float32))
    return np.outer(down, across)
