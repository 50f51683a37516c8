"""Raw files through rawpy (LibRaw): opened, checked, unpacked; never developed.

Several rawpy attributes unpack the whole file behind one's back; before `unpack` only `sizes` is looked at. All arrays
are views of the decoder's memory and die with it.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import rawpy

from tetherwatch.frame.faults import CaptureError, Fault
from tetherwatch.frame.limits import check_size
from tetherwatch.frame.mosaic import black_is_doubtful, colour_cell, ends_blank, is_blank, mosaic_sites, plane_sites
from tetherwatch.frame.names import has_plain_name
from tetherwatch.frame.quiet import quiet_decoder
from tetherwatch.frame.records import Channel, Frame, Site

BLACK_DOUBTED = "the masked edge of the sensor contradicts the black level, so dark tones are uncertain"
DEVELOPED = "this raw holds finished colour planes instead of sensor data, so its levels are approximate"

_CHANNELS: Mapping[str, Channel] = {"R": "r", "G": "g", "B": "b"}
_UNKNOWN = (
    rawpy.LibRawFileUnsupportedError,
    rawpy.LibRawNotImplementedError,
    rawpy.LibRawRequestForNonexistentImageError,
    rawpy.NotSupportedError,
)
_NO_ROOM = (rawpy.LibRawUnsufficientMemoryError, rawpy.LibRawMemPoolOverflowError, MemoryError)


@contextmanager
def open_raw(path: Path) -> Iterator[Frame]:
    """The frame of a raw file, valid inside the `with`. Raises CaptureError."""
    raw = rawpy.RawPy()
    try:
        yield _unpacked(raw, path)
    finally:
        raw.close()


def open_decoder(raw: rawpy.RawPy, path: Path) -> None:
    """Have `raw` open a file, whatever its name is written in. Raises rawpy's errors, and OSError."""
    if has_plain_name(path):
        raw.open_file(str(path))
    else:
        with path.open("rb") as file:
            raw.open_buffer(file)


def _unpacked(raw: rawpy.RawPy, path: Path) -> Frame:
    try:
        with quiet_decoder():
            open_decoder(raw, path)
            check_size(raw.sizes.raw_width, raw.sizes.raw_height)
            raw.unpack()
        return decoded_frame(raw)
    except _UNKNOWN as error:
        raise CaptureError(Fault.UNSUPPORTED, _words(error)) from error
    except rawpy.LibRawTooBigError as error:
        raise CaptureError(Fault.TOO_LARGE, _words(error)) from error
    except _NO_ROOM as error:
        raise CaptureError(Fault.OUT_OF_MEMORY, _words(error)) from error
    except (rawpy.LibRawError, RuntimeError, OSError) as error:
        raise CaptureError(Fault.CUT_SHORT, _words(error)) from error


def _words(error: BaseException) -> str:
    first = error.args[0] if error.args else ""
    return first.decode("utf-8", "replace") if isinstance(first, bytes) else str(error)


def decoded_frame(raw: rawpy.RawPy) -> Frame:
    """The frame of an unpacked raw. Raises CaptureError where it cannot be metered rightly."""
    sizes, visible = raw.sizes, raw.raw_image_visible
    check_size(sizes.width, sizes.height)
    if is_blank(visible):
        raise CaptureError(Fault.BLANK)
    black = [float(level) for level in raw.black_level_per_channel]
    white = _white_levels(raw.white_level, raw.camera_white_level_per_channel or (), black)
    if ends_blank(visible, min(black[:3])):
        raise CaptureError(Fault.CUT_SHORT, "the last rows are blank")
    notes: tuple[str, ...] = ()
    if visible.ndim == 3:
        sites, notes = _stack_sites(raw, black, white), (DEVELOPED,)
    else:
        sites = _mosaic_sites(raw, black, white)
        if black_is_doubtful(raw.raw_image, sizes.top_margin, sizes.left_margin, black[0], white[0]):
            notes = (BLACK_DOUBTED,)
    neutral = _neutral(raw, {site.channel for site in sites})
    return Frame("raw", "linear", sites, visible, sizes.height, sizes.width, neutral, notes)


def _white_levels(common: int, stated: Sequence[int], black: Sequence[float]) -> list[float]:
    """Saturation by colour number: the file's own word where it is above black and no longer in bits than `common`."""
    most = (1 << int(common).bit_length()) - 1
    padded = (*stated, 0, 0, 0, 0)
    levels = [float(own if b < own <= most else common) for own, b in zip(padded, black, strict=False)]
    if any(level <= b for level, b in zip(levels, black, strict=True)):
        raise CaptureError(Fault.UNSUPPORTED, f"white level {common} is not above the black level")
    return levels


def _channels(description: str) -> list[Channel]:
    strange = sorted(set(description) - set(_CHANNELS))
    if strange:
        raise CaptureError(Fault.UNSUPPORTED, f"a sensor with colours {description}")
    return [_CHANNELS[letter] for letter in description]


def _description(raw: rawpy.RawPy) -> str:
    return raw.color_desc.decode("ascii", "replace").rstrip("\0")


def _mosaic_sites(raw: rawpy.RawPy, black: Sequence[float], white: Sequence[float]) -> tuple[Site, ...]:
    top, left = raw.sizes.top_margin, raw.sizes.left_margin
    # Not `raw_pattern`: it starts at the margin's corner, and asks for places before the visible picture.
    cell = colour_cell(lambda row, column: raw.raw_color(top + row, left + column))
    if cell is None:
        raise CaptureError(Fault.UNSUPPORTED, "the colour pattern does not repeat")
    if cell.size == 1:  # monochrome, for which the decoder makes up a colour number
        return mosaic_sites(raw.raw_image_visible, cell * 0, ["y"], black, white)
    return mosaic_sites(raw.raw_image_visible, cell, _channels(_description(raw)), black, white)


def _stack_sites(raw: rawpy.RawPy, black: Sequence[float], white: Sequence[float]) -> tuple[Site, ...]:
    """Sites of the planes in use: the decoder leaves a fourth one empty when there are three colours."""
    visible = raw.raw_image_visible
    count = min(raw.num_colors, visible.shape[2])
    if count not in (3, 4):
        raise CaptureError(Fault.UNSUPPORTED, f"a stack of {count} planes")
    return plane_sites(visible, _channels(_description(raw)[:count]), black, white)


def _neutral(raw: rawpy.RawPy, channels: set[Channel]) -> Mapping[Channel, float]:
    for red, green, blue, _ in (raw.camera_whitebalance, raw.daylight_whitebalance):
        if all(math.isfinite(gain) and gain > 0 for gain in (red, green, blue)):
            gains: Mapping[Channel, float] = {"r": red / green, "g": 1.0, "b": blue / green, "y": 1.0}
            return {channel: gains[channel] for channel in sorted(channels)}
    return {channel: 1.0 for channel in sorted(channels)}
