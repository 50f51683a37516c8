"""The picture a camera embeds in its files: metered when the raw data cannot be, and while they are still unpacked."""

import io
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import exiv2
import numpy as np
import rawpy

from tetherwatch.frame.container import HEAD_BYTES, kind_of
from tetherwatch.frame.exiv2_file import open_image
from tetherwatch.frame.faults import CaptureError, Fault
from tetherwatch.frame.limits import check_size
from tetherwatch.frame.picture import JPEG, frame_of, picture_frame
from tetherwatch.frame.quiet import quiet_decoder
from tetherwatch.frame.raw import open_decoder
from tetherwatch.frame.records import Frame

_END_BYTES = 64

SMALLEST_WIDTH = 160
"""Pixels; a narrower preview is not metered."""

_QUICK_WIDTH, _QUICK_SIDE = 480, 320
"""Pixels, and those of the shorter side; enough for a first reading of any area."""


def read_preview(path: Path, fault: Fault) -> Frame | None:
    """The preview of a raw whose own data have `fault`, marked so; None without a usable one. Never raises."""
    frame = find_preview(path, damaged=fault is Fault.CUT_SHORT)
    if frame is None:
        return None
    note = f"{fault.problem}: read from the embedded preview, so this is an estimate"
    return replace(frame, notes=(note, *frame.notes), fault=fault)


def find_preview(path: Path, damaged: bool = False) -> Frame | None:
    """The largest preview wide enough to meter; None without one. Never raises.

    Of a file that may be `damaged` the raw decoder's choice counts only if it lies there in full.
    """
    return next((frame for frame in _previews(path, damaged) if frame.width >= SMALLEST_WIDTH), None)


def quick_preview(path: Path) -> Frame | None:
    """What is decoded fastest and large enough for a first reading; None without anything. Never raises.

    Of a raw that is one of its previews; a JPEG is decoded itself, smaller.
    """
    own = _own_picture(path)
    if own is not None:
        return own
    frames = (_checked(content, least_side=_QUICK_SIDE) for content in _quick_contents(path))
    return next((frame for frame in frames if frame is not None and frame.width >= SMALLEST_WIDTH), None)


def _own_picture(path: Path) -> Frame | None:
    try:
        with path.open("rb") as file:
            if kind_of(file.read(HEAD_BYTES)) != "jpeg":
                return None
            file.seek(0)
            return picture_frame(file, "jpeg", JPEG, _QUICK_SIDE)
    except (CaptureError, OSError):
        return None


def _quick_contents(path: Path) -> Iterator[bytes]:
    """JPEG previews: from small to large those wide enough, then the raw decoder's choice, then what is left."""
    sizes = list(_exiv2_previews(path))
    yield from (take() for width, take in reversed(sizes) if width >= _QUICK_WIDTH)
    thumbnail = _extracted(path)
    if thumbnail is not None and isinstance(thumbnail.data, bytes):
        yield thumbnail.data
    yield from (take() for width, take in sizes if width < _QUICK_WIDTH)


def _previews(path: Path, damaged: bool) -> Iterator[Frame]:
    """Previews that decode, the raw decoder's choice (its largest) first, then exiv2's from large to small."""
    frame = _decoder_preview(path, damaged)
    if frame is not None:
        yield frame
    for _, take in _exiv2_previews(path):
        frame = _checked(take())
        if frame is not None:
            yield frame


def _checked(content: bytes, least_side: int | None = None) -> Frame | None:
    try:
        return picture_frame(io.BytesIO(content), "preview", JPEG, least_side)
    except (CaptureError, OSError):
        return None


def _decoder_preview(path: Path, damaged: bool) -> Frame | None:
    thumbnail = _extracted(path)
    if thumbnail is None or (damaged and not _ends_inside(path, bytes(thumbnail.data))):
        return None
    if isinstance(thumbnail.data, bytes):
        return _checked(thumbnail.data)
    try:
        check_size(thumbnail.data.shape[1], thumbnail.data.shape[0])
    except CaptureError:
        return None
    return frame_of(thumbnail.data, "preview")


def _extracted(path: Path) -> rawpy.Thumbnail | None:
    """What the raw decoder takes for the preview: the bytes of a JPEG, or pixels."""
    with rawpy.RawPy() as raw:
        try:
            with quiet_decoder():
                open_decoder(raw, path)
                thumbnail = raw.extract_thumb()
        except (rawpy.LibRawError, RuntimeError, OSError, MemoryError):
            return None
        if isinstance(thumbnail.data, bytes):
            return thumbnail
        return thumbnail._replace(data=np.array(thumbnail.data, np.uint8))  # a copy: the original dies with the decoder


def _ends_inside(path: Path, content: bytes) -> bool:
    """Whether a file holds the end of what was taken from it: the decoder fills up what is missing from old memory."""
    try:
        return content[-_END_BYTES:] in path.read_bytes()
    except OSError:
        return False


def _exiv2_previews(path: Path) -> Iterator[tuple[int, Callable[[], bytes]]]:
    """JPEG previews from large to small, by their width, each to be taken when it is wanted."""
    try:
        manager = exiv2.PreviewManager(open_image(path))
        properties = sorted(manager.getPreviewProperties(), key=lambda p: p.width_ * p.height_, reverse=True)
        for preview in properties:
            if preview.width_ >= SMALLEST_WIDTH:
                yield preview.width_, partial(_taken, manager, preview)
    except Exception:  # damaged files make the library raise whatever its parts raise
        return


def _taken(manager: Any, preview: Any) -> bytes:
    try:
        return bytes(manager.getPreviewImage(preview).data())
    except Exception:  # as above
        return b""
