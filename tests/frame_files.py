"""Raw files that the rehearsal's own writer cannot express: any pattern, planes, margins, damage."""

import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

BLACK_IS_ZERO, CFA, LINEAR_RAW = 1, 32803, 34892
BLACK, WHITE = 512, 16383

BAYER = ((0, 1), (1, 2))
XTRANS = (
    (1, 1, 0, 1, 1, 2),
    (1, 1, 2, 1, 1, 0),
    (2, 0, 1, 0, 2, 1),
    (1, 1, 2, 1, 1, 0),
    (1, 1, 0, 1, 1, 2),
    (0, 2, 1, 2, 0, 1),
)
LEVELS = {"r": 2000, "g": 5000, "b": 3000}
"""What `coloured` puts under each colour."""


def coloured(height: int, width: int, pattern: tuple[tuple[int, ...], ...]) -> NDArray[np.uint16]:
    """A mosaic in which every pixel holds the level of its colour."""
    levels = np.array([LEVELS[c] for c in "rgb"], np.uint16)[np.array(pattern)]
    period = len(pattern)
    return np.tile(levels, (-(-height // period), -(-width // period)))[:height, :width]


def with_margins(visible: NDArray[np.uint16], top: int, left: int, level: int) -> NDArray[np.uint16]:
    """`visible` with a masked margin of one level above and to the left."""
    return np.pad(visible, ((top, 0), (left, 0)), constant_values=level)


def write_raw(
    path: Path,
    data: NDArray[np.uint16],
    pattern: tuple[tuple[int, ...], ...] = BAYER,
    *,
    top: int = 0,
    left: int = 0,
    black: tuple[int, ...] = (BLACK,),
    white: int = WHITE,
    preview: tuple[int, int] | None = (320, 240),
    compression: int | None = None,
    rows_per_strip: int | None = None,
) -> None:
    """Write `data` (rows x columns, or rows x columns x planes) as a DNG whose margins are `top` and `left` wide.

    `preview` is the width and height of the grey embedded picture. Without it the raw is the file's only picture.
    """
    tifffile = pytest.importorskip("tifffile")
    height, width = data.shape[:2]
    planes = data.shape[2] if data.ndim == 3 else 1
    camera = [
        (50706, "B", 4, (1, 4, 0, 0), True),
        (50707, "B", 4, (1, 1, 0, 0), True),
        (50708, "s", 0, "Harrow X", True),
        (50721, "2i", 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), True),
        (50728, "2I", 3, (1, 2, 1, 1, 2, 3), True),
        (50778, "H", 1, 21, True),
    ]
    raw: list[Any] = [
        (50714, "H", len(black), black if len(black) > 1 else black[0], True),
        (50717, "H", planes, (white,) * planes if planes > 1 else white, True),
        (50829, "I", 4, (top, left, height, width), True),
    ]
    if data.ndim == 2 and len(pattern) > 1:
        flat = tuple(c for row in pattern for c in row)
        raw += [(33421, "H", 2, (len(pattern),) * 2, True), (33422, "B", len(flat), flat, True)]
        if len(black) > 1:
            side = int(len(black) ** 0.5)
            raw.append((50713, "H", 2, (side, side), True))
    mono = data.ndim == 2 and len(pattern) == 1
    photometric = BLACK_IS_ZERO if mono else CFA if data.ndim == 2 else LINEAR_RAW
    with tifffile.TiffWriter(path) as tiff:
        if preview:
            grey = np.full((preview[1], preview[0], 3), 118, np.uint8)
            options: dict[str, Any] = {"photometric": "rgb", "compression": "jpeg", "metadata": None}
            tiff.write(grey, subifds=1, subfiletype=1, extratags=camera, **options)
            camera = []
        tiff.write(
            data,
            photometric=photometric,
            subfiletype=0,
            planarconfig="contig" if planes > 1 else None,
            extrasamples=("unspecified",) * max(planes - 3, 0),
            rowsperstrip=rows_per_strip or height,
            compression=compression,
            extratags=camera + raw,
            metadata=None,
        )
    if mono:  # tifffile does not write linear raw of one plane
        was, now = (struct.pack("<HHIHH", 262, 3, 1, value, 0) for value in (BLACK_IS_ZERO, LINEAR_RAW))
        path.write_bytes(path.read_bytes().replace(was, now))


def cut(path: Path, part: float) -> Path:
    """Shorten a file to a part of its length."""
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * part)])
    return path


def write_picture(path: Path, mode: str = "RGB", size: tuple[int, int] = (64, 48), **options: Any) -> Path:
    """A one-tone finished picture: code 118, or 30, 118, 200 in r, g, b."""
    tone: Any = {"RGB": (30, 118, 200), "RGBA": (30, 118, 200, 255), "CMYK": (10, 20, 30, 0)}.get(mode, 118)
    Image.new(mode, size, tone).save(path, **options)
    return path
