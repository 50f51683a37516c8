"""Write one colour-mosaic capture as a DNG file: embedded preview, raw data, complete metadata.

Layout (DNG 1.4 over TIFF 6.0): the first directory holds a JPEG preview, the camera's colour tags and the Exif
pointer; its sub-directory holds the mosaic, plain or as lossless JPEG (ITU-T T.81 process 14).
"""

import importlib
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from tetherwatch.errors import MissingExtraError
from tetherwatch.inplace import put_in_place
from tetherwatch.rehearse.files import jpeg_bytes, with_tags

_XYZ_TO_SRGB = (32405, -15371, -4985, -9693, 18760, 416, 556, -2040, 10572)
"""CIE XYZ to sRGB primaries in 1/10000 (IEC 61966-2-1); each row still to be scaled by the sensor's response."""

_D65 = 21
_CFA = 32803
_JPEG = 7
_SCALE = 10_000

Tag = tuple[int, str, int, Any, bool]


def write_dng(
    path: Path,
    mosaic: NDArray[np.uint16],
    *,
    black: int,
    white: int,
    compressed: bool,
    preview: NDArray[np.uint8],
    neutral: tuple[float, float, float] = (1.0, 1.0, 1.0),
    pattern: tuple[int, int, int, int] = (0, 1, 1, 2),
    orientation: int = 1,
    camera: str = "Harrow Q24",
    tags: Mapping[str, str] | None = None,
) -> None:
    """Write `mosaic` (rows x columns, both even) to `path`; the file appears complete or not at all.

    `black` and `white` are codes. `preview` is an sRGB picture (rows x columns x 3), stored like the mosaic: not turned
    by `orientation` (Exif code 1 to 8). `neutral` is what the sensor records of a neutral object in daylight (D65), in
    r, g, b; `pattern` names the colours of a 2x2 cell row by row (0 red, 1 green, 2 blue). `tags` are further Exif
    entries by exiv2 key ("Exif.Photo.ExposureTime": "1/250"). The compressed form needs `white` of 8 to 16 bits. Raises
    MissingExtraError without tifffile and imagecodecs, ValueError for odd sizes.
    """
    height, width = mosaic.shape
    if height % 2 or width % 2:
        raise ValueError(f"a mosaic of 2x2 cells cannot be {width} x {height}")
    buffer = io.BytesIO()
    with library("tifffile").TiffWriter(buffer) as tiff:
        tiff.write(
            iter([jpeg_bytes(preview)]),
            shape=preview.shape,
            dtype=preview.dtype,
            compression=_JPEG,
            photometric="ycbcr",
            subfiletype=1,
            subifds=1,
            rowsperstrip=preview.shape[0],
            metadata=None,
            software=camera,
            extratags=_camera_tags(camera, neutral, orientation),
        )
        tiff.write(
            **(_compressed(mosaic, white) if compressed else {"data": mosaic}),
            shape=mosaic.shape,
            dtype=mosaic.dtype,
            photometric=_CFA,
            subfiletype=0,
            rowsperstrip=height,
            metadata=None,
            software=False,
            extratags=_raw_tags(height, width, black, white, pattern),
        )
    put_in_place(path, with_tags(buffer.getvalue(), tags or {}))


def library(name: Literal["tifffile", "imagecodecs"]) -> Any:
    """A module of the optional part "rehearse". Raises MissingExtraError if it is not installed."""
    try:
        return importlib.import_module(name)
    except ImportError as missing:
        raise MissingExtraError("rehearse") from missing


def _compressed(mosaic: NDArray[np.uint16], white: int) -> dict[str, Any]:
    bits = max(white, int(mosaic.max())).bit_length()
    # Two rows side by side: every other sample of a coded row then has the same colour.
    rows = mosaic.reshape(mosaic.shape[0] // 2, -1)
    strip = library("imagecodecs").ljpeg_encode(rows, bitspersample=bits)
    return {"data": iter([strip]), "compression": _JPEG, "bitspersample": bits}


def _camera_tags(camera: str, neutral: tuple[float, float, float], orientation: int) -> list[Tag]:
    rows = np.reshape(_XYZ_TO_SRGB, (3, 3)) * np.reshape(neutral, (3, 1))
    matrix = [part for value in rows.flat for part in (round(float(value)), _SCALE)]
    as_shot = [part for value in neutral for part in (round(value * _SCALE), _SCALE)]
    return [
        (274, "H", 1, orientation, True),
        (50706, "B", 4, (1, 4, 0, 0), True),  # DNGVersion
        (50707, "B", 4, (1, 1, 0, 0), True),  # DNGBackwardVersion
        (50708, "s", 0, camera, True),  # UniqueCameraModel
        (50721, "2i", 9, matrix, True),  # ColorMatrix1
        (50728, "2I", 3, as_shot, True),  # AsShotNeutral
        (50778, "H", 1, _D65, True),  # CalibrationIlluminant1
    ]


def _raw_tags(height: int, width: int, black: int, white: int, pattern: tuple[int, int, int, int]) -> list[Tag]:
    return [
        (33421, "H", 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, "B", 4, pattern, True),  # CFAPattern
        (50714, "I", 1, black, True),  # BlackLevel
        (50717, "I", 1, white, True),  # WhiteLevel
        (50829, "I", 4, (0, 0, height, width), True),  # ActiveArea
    ]
