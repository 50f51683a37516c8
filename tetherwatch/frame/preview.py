"""The picture a camera embeds in its files: metered when the raw data cannot be, and while they are still unpacked."""

import io
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import exiv2
import numpy as np
import rawpy

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

_QUICK_WIDTH = 480
"""Pixels; enough for a first reading of any area."""


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
    """The preview that is decoded fastest and large enough for a first reading; None without one. Never raises."""
    try:
        manager = exiv2.PreviewManager(open_image(path))
        properties = sorted(manager.getPreviewProperties(), key=lambda p: p.width_ * p.height_)
        usable = [preview for preview in properties if preview.width_ >= SMALLEST_WIDTH]
        chosen = next((preview for preview in usable if preview.width_ >= _QUICK_WIDTH), usable[-1])
        content = io.BytesIO(bytes(manager.getPreviewImage(chosen).data()))
        return picture_frame(content, "preview", JPEG, least_side=_QUICK_WIDTH)
    except Exception:  # no preview, or one as damaged as the file it lies in
        return None


def _previews(path: Path, damaged: bool) -> Iterator[Frame]:
    """Previews that decode, the raw decoder's choice (its largest) first, then exiv2's from large to small."""
    frame = _decoder_preview(path, damaged)
    if frame is not None:
        yield frame
    for content in _exiv2_previews(path):
        frame = _checked(content)
        if frame is not None:
            yield frame


def _checked(content: bytes) -> Frame | None:
    try:
        return picture_frame(io.BytesIO(content), "preview", JPEG)
    except (CaptureError, OSError):
        return None


def _decoder_preview(path: Path, damaged: bool) -> Frame | None:
    with rawpy.RawPy() as raw:
        try:
            with quiet_decoder():
                open_decoder(raw, path)
                thumbnail = raw.extract_thumb()
        except (rawpy.LibRawError, RuntimeError, OSError, MemoryError):
            return None
        if damaged and not _ends_inside(path, bytes(thumbnail.data)):
            return None
        if isinstance(thumbnail.data, bytes):
            return _checked(thumbnail.data)
        pixels = np.array(thumbnail.data, np.uint8)  # a copy: the original dies with the decoder
    try:
        check_size(pixels.shape[1], pixels.shape[0])
    except CaptureError:
        return None
    return frame_of(pixels, "preview")


def _ends_inside(path: Path, content: bytes) -> bool:
    """Whether a file holds the end of what was taken from it: the decoder fills up what is missing from old memory."""
    try:
        return content[-_END_BYTES:] in path.read_bytes()
    except OSError:
        return False


def _exiv2_previews(path: Path) -> Iterator[bytes]:
    try:
        manager = exiv2.PreviewManager(open_image(path))
        properties = sorted(manager.getPreviewProperties(), key=lambda p: p.width_ * p.height_, reverse=True)
        for preview in properties:
            if preview.width_ >= SMALLEST_WIDTH:
                yield bytes(manager.getPreviewImage(preview).data())
    except Exception:  # damaged files make the library raise whatever its parts raise
        return
