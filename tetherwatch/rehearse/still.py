"""The still life that noise ladders are shot of: a stepped wedge, a grey card, skin, cloth and fine print.

Like `scene`, in cells of linear reflectance. Every texture is the same in each frame: what differs is noise.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tetherwatch.rehearse.scene import CARD, PATCHES, Cells, Patch, inside, paint

_STEPS = 10
_WHITE = 0.90

WEDGE = tuple(
    Patch(f"wedge {step}", (0.06 + 0.088 * step, 0.78, 0.148 + 0.088 * step, 0.96), (_WHITE / 2**step,) * 3)
    for step in range(_STEPS)
)
"""White paper down to velvet, one stop a step."""

TWEED = Patch("tweed", (0.70, 0.06, 0.94, 0.38), (0.22, 0.20, 0.17), weave=0.35)
DARK_TWEED = Patch("dark tweed", (0.70, 0.42, 0.94, 0.72), (0.035, 0.038, 0.045), weave=0.5)
PRINT = Patch("print", (0.06, 0.52, 0.30, 0.72), (0.75, 0.75, 0.75))

_SKIN = (replace(PATCHES[1], box=(0.06, 0.06, 0.17, 0.46)), replace(PATCHES[2], box=(0.19, 0.06, 0.30, 0.46)))
_SMOOTH = (PATCHES[0], *_SKIN, CARD, *WEDGE)
_OCTAVES = (1, 2, 4, 8)
_LINES = (2, 3, 4, 6)
_INK = 0.05
_TEXTURE_SEED = 20


def set_table(rows: int, columns: int) -> Cells:
    """The still life in `rows` x `columns` cells."""
    cells = paint(rows, columns, _SMOOTH)
    for patch in (TWEED, DARK_TWEED):
        part = _part(cells, patch)
        part[...] = np.reshape(patch.colour, (3, 1, 1)) * (1 + patch.weave * _yarn(*part.shape[1:]))
    part = _part(cells, PRINT)
    part[...] = np.where(_ink(*part.shape[1:]), _INK, np.reshape(PRINT.colour, (3, 1, 1)))
    return cells


def _part(cells: Cells, patch: Patch) -> Cells:
    across = inside(patch, *cells.shape[1:])
    return cells[:, across[0], across[1]]


def _yarn(rows: int, columns: int) -> NDArray[np.float32]:
    """Texture at several scales from one cell up, between -1 and 1."""
    rng = np.random.default_rng(_TEXTURE_SEED)
    yarn = np.zeros((rows, columns), np.float32)
    for scale in _OCTAVES:
        coarse = rng.uniform(-1, 1, (-(-rows // scale), -(-columns // scale))).astype(np.float32)
        yarn += coarse.repeat(scale, axis=0).repeat(scale, axis=1)[:rows, :columns]
    return yarn / np.float32(len(_OCTAVES))


def _ink(rows: int, columns: int) -> NDArray[np.bool_]:
    """Where the print is black: blocks of lines, each block with lines of another width in cells."""
    down, across = np.ogrid[:rows, :columns]
    block = across * len(_LINES) // columns
    period = 2 * np.take(_LINES, block)
    lines = np.where(down * 2 < rows, across, down)
    return np.asarray(lines % period < period // 2)
