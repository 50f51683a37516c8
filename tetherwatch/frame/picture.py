"""Finished pictures (JPEG, MPO, TIFF): an estimate of light, by the sRGB curve."""

import warnings
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, JpegImagePlugin, TiffImagePlugin, UnidentifiedImageError

from tetherwatch.frame.container import is_cut_short
from tetherwatch.frame.faults import CaptureError, Fault
from tetherwatch.frame.jpeg import decode_sound
from tetherwatch.frame.limits import PIXEL_LIMIT, check_size
from tetherwatch.frame.quiet import quiet_decoder
from tetherwatch.frame.records import Channel, Frame, Site, Source

JPEG: tuple[str, ...] = (JpegImagePlugin.JpegImageFile.format,)
FORMATS = (*JPEG, TiffImagePlugin.TiffImageFile.format)
"""Pillow's names; nothing else is tried, whatever the file looks like. JPEG includes MPO (its first picture)."""

OTHER_PROFILE = "the picture is not in sRGB but in another colour space, so the estimate is coarser"
UNSOUND = "the picture's data are not quite sound: a part of it may be wrong"

_READ_AS = {"L": "L", "LA": "L", "RGB": "RGB", "RGBA": "RGB", "RGBX": "RGB", "P": "RGB", "YCbCr": "RGB"}
"""Pillow modes that hold 8 bits of light a channel, and the mode they are read as."""
_DEEP_GREY = ("I;16", "I;16L", "I;16B")
_STRIP_ROWS = 256

Image.MAX_IMAGE_PIXELS = PIXEL_LIMIT


def read_picture(path: Path) -> Frame:
    """The pixels of a finished picture. Raises CaptureError, or OSError with an `errno` when reading itself fails."""
    with path.open("rb") as file:
        return picture_frame(file, "jpeg")


def picture_frame(
    file: BinaryIO, source: Source, formats: tuple[str, ...] = FORMATS, least_side: int | None = None
) -> Frame:
    """The frame of an open picture file, complete in memory. Raises as `read_picture` does.

    With `least_side` a JPEG may be decoded smaller, which is faster, with both sides still so many pixels long.
    """
    pixels, notes = _decode(file, formats, least_side)
    return frame_of(pixels, source, notes)


def frame_of(pixels: NDArray[np.uint8], source: Source, notes: tuple[str, ...] = ()) -> Frame:
    """A frame over sRGB `pixels` (rows x columns, or rows x columns x 3), without copying them."""
    planes: list[tuple[Channel, NDArray[np.uint8]]]
    if pixels.ndim == 2:
        planes = [("y", pixels)]
    else:
        planes = [("r", pixels[:, :, 0]), ("g", pixels[:, :, 1]), ("b", pixels[:, :, 2])]
    sites = tuple(Site(channel, plane, 0, 0, 1, 1, 0.0, 255.0) for channel, plane in planes)
    height, width = pixels.shape[:2]
    neutral = {site.channel: 1.0 for site in sites}
    return Frame(source, "sRGB", sites, pixels, height, width, neutral, notes)


def _decode(
    file: BinaryIO, formats: tuple[str, ...], least_side: int | None
) -> tuple[NDArray[np.uint8], tuple[str, ...]]:
    try:
        with quiet_decoder(), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(file, formats=formats) as image:
                check_size(*image.size)
                return _content(image, file, least_side)
    except CaptureError:
        raise
    except Exception as error:  # damaged files make Pillow raise whatever its parts raise
        if isinstance(error, OSError) and error.errno is not None:
            raise
        detail = "" if isinstance(error, UnidentifiedImageError) else str(error)
        raise CaptureError(_fault_of(error, file), detail) from error


def _content(image: Image.Image, file: BinaryIO, least_side: int | None) -> tuple[NDArray[np.uint8], tuple[str, ...]]:
    notes = _profile_notes(image)
    if least_side is not None:
        image.draft(None, (least_side, least_side))
    elif isinstance(image, JpegImagePlugin.JpegImageFile) and image.mode == "RGB":
        pixels = decode_sound(file, image.height, image.width)
        if pixels is not None:
            return pixels, notes
        notes = (*notes, UNSOUND)
    image.load()
    return _pixels(image), notes


def _fault_of(error: Exception, file: BinaryIO) -> Fault:
    if isinstance(error, (Image.DecompressionBombWarning, Image.DecompressionBombError)):
        return Fault.TOO_LARGE
    if isinstance(error, MemoryError):
        return Fault.OUT_OF_MEMORY
    if isinstance(error, UnidentifiedImageError) and _is_tiff(file) and not is_cut_short(file):
        return Fault.UNSUPPORTED
    return Fault.CUT_SHORT


def _is_tiff(file: BinaryIO) -> bool:
    file.seek(0)
    return file.read(2) in (b"II", b"MM")


def _pixels(image: Image.Image) -> NDArray[np.uint8]:
    """The pixels as 8-bit grey or RGB, copied strip by strip: Pillow's own copy is large enough."""
    if image.mode not in _READ_AS and image.mode not in _DEEP_GREY:
        raise CaptureError(Fault.UNSUPPORTED, f"pixels of kind {image.mode}")
    mode = _READ_AS.get(image.mode, "L")
    shape = (image.height, image.width, 3) if mode == "RGB" else (image.height, image.width)
    pixels = np.empty(shape, np.uint8)
    for top in range(0, image.height, _STRIP_ROWS):
        strip = image.crop((0, top, image.width, min(top + _STRIP_ROWS, image.height)))
        pixels[top : top + _STRIP_ROWS] = _eight_bits(strip, mode)
    return pixels


def _eight_bits(strip: Image.Image, mode: str) -> NDArray[np.uint8]:
    if strip.mode in _DEEP_GREY:
        return (np.asarray(strip) >> 8).astype(np.uint8)
    return np.asarray(strip if strip.mode == mode else strip.convert(mode))


def _profile_notes(image: Image.Image) -> tuple[str, ...]:
    profile = image.info.get("icc_profile") or b""
    # The name is plain text in old profiles, two bytes a letter in new ones.
    return (OTHER_PROFILE,) if profile and b"sRGB" not in profile.replace(b"\0", b"") else ()
