"""One capture and its truth into the folder: names, counters, files."""

import json
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tetherwatch.rehearse.camera import PATTERN, Camera
from tetherwatch.rehearse.dng import library, write_dng
from tetherwatch.rehearse.jpeg import render, write_jpeg
from tetherwatch.rehearse.options import Files

TRUTH_FILE = "truth.jsonl"

_PREFIX = "RHS_"
_PREVIEW_COLUMNS = 2048


def check_writable(files: Files) -> None:
    """Raise MissingExtraError if captures of this kind cannot be written."""
    if files != "jpeg":
        library("tifffile")
        library("imagecodecs")


def capture_name(number: int) -> str:
    """The name of a capture by its counter, without a suffix."""
    return f"{_PREFIX}{number:04d}"


def file_name(name: str, files: Files) -> str:
    """The file that stands for a capture: the raw where there is one."""
    return f"{name}.{'JPG' if files == 'jpeg' else 'DNG'}"


def next_number(folder: Path) -> int:
    """One more than the highest counter among the captures in the folder."""
    names = (path.stem.removeprefix(_PREFIX) for path in folder.glob(f"{_PREFIX}*"))
    return 1 + max((int(name) for name in names if name.isdecimal()), default=0)


def write_truth(folder: Path, truth: Mapping[str, object]) -> None:
    """Add one line to `truth.jsonl`."""
    with (folder / TRUTH_FILE).open("a", encoding="utf-8", newline="\n") as record:
        record.write(json.dumps(truth) + "\n")


def write_capture(
    place: Path, mosaic: NDArray[np.uint16], camera: Camera, tags: Mapping[str, str], files: Files, compressed: bool
) -> None:
    """Write a mosaic as `place` with the suffix of each kind of file; `tags` are Exif entries by exiv2 key."""
    if files != "dng":
        write_jpeg(place.with_suffix(".JPG"), mosaic, camera, tags)
    if files != "jpeg":
        every = -(-mosaic.shape[1] // (2 * _PREVIEW_COLUMNS))
        write_dng(
            place.with_suffix(".DNG"),
            mosaic,
            black=camera.black,
            white=camera.white,
            compressed=compressed,
            preview=render(mosaic, camera, every),
            neutral=camera.response,
            pattern=PATTERN,
            camera=camera.model,
            tags=tags,
        )
