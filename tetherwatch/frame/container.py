"""What is inside a file, by its first bytes and its own table of contents rather than by its name.

Sources: TIFF 6.0, DNG 1.6 (tags), ISO/IEC 14496-12 (boxes); the makers' first bytes are common knowledge, from memory.
"""

import os
import struct
from collections.abc import Iterator
from typing import BinaryIO, Literal

Kind = Literal["jpeg", "tiff", "boxes", "raw", "unknown"]
"""`tiff` is also the container of most raws; `boxes` that of CR3 and HEIF; `raw` stands for other makers' layouts."""

HEAD_BYTES = 32

_TIFF_HEADS = (b"II*\0", b"MM\0*", b"IIRO", b"IIRS", b"MMOR", b"IIU\0")
_RAW_HEADS = (b"FUJIFILMCCD-RAW", b"\0MRM", b"FOVb", b"ARRI", b"NORMALRAW")

_SUB_IFDS, _DNG_VERSION, _PHOTOMETRIC = 330, 50706, 262
_PLACES = {273: 279, 324: 325, 513: 514}
"""Tags that tell where data lie, each with the tag of their lengths: strips, tiles, embedded JPEG."""
_WANTED = {_SUB_IFDS, _DNG_VERSION, _PHOTOMETRIC, *_PLACES, *_PLACES.values()}
_SENSOR_PHOTOMETRICS = (32803, 34892)
"""Colour filter array, and linear raw."""
_NOWHERE = 0xFFFFFFFF
"""One maker's mark for "look in another tag"."""
_VALUE_CODES = {1: "B", 3: "H", 4: "I", 13: "I"}
_BEGINNING_BYTES = 4096
"""More than the tables at the head of compressed data take."""
_MOST_DIRECTORIES = 64
_MOST_ENTRIES = 4096
_MOST_VALUES = 65536

Directory = dict[int, tuple[int, ...]]


def kind_of(head: bytes) -> Kind:
    """The container that the first `HEAD_BYTES` bytes of a file belong to."""
    if head.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if head.startswith(_TIFF_HEADS):
        return "tiff"
    if head[4:8] == b"ftyp":
        return "boxes"
    if head.startswith(_RAW_HEADS) or head[6:14] == b"HEAPCCDR":
        return "raw"
    return "unknown"


def holds_sensor_data(file: BinaryIO) -> bool:
    """Whether a TIFF container holds a raw: it says it is a DNG, or one of its pictures is a sensor's."""
    try:
        return any(
            _DNG_VERSION in entries or (entries.get(_PHOTOMETRIC) or (0,))[0] in _SENSOR_PHOTOMETRICS
            for entries in _directories(file)
        )
    except EOFError:
        return False


def is_cut_short(file: BinaryIO) -> bool:
    """Whether the container promises data beyond the end of the file. False also when that cannot be told."""
    size = file.seek(0, os.SEEK_END)
    file.seek(0)
    head = file.read(HEAD_BYTES)
    try:
        if kind_of(head) == "tiff":
            return _tiff_reaches(file) > size
        if kind_of(head) == "boxes":
            return _boxes_reach(file, size) > size
        return head.startswith(b"FUJIFILM") and _fuji_reaches(file) > size
    except EOFError:
        return True


def lacks_data(file: BinaryIO) -> bool:
    """Whether the beginning of data that a TIFF container names is not there, or a DNG ends within its tables.

    The raw decoder passes over such gaps in silence, and shows what its memory held before: an earlier capture. What is
    cut later on it notices.
    """
    size = file.seek(0, os.SEEK_END)
    is_dng = False
    try:
        for entries in _directories(file):
            is_dng = is_dng or _DNG_VERSION in entries
            if any(start + min(length, _BEGINNING_BYTES) > size for start, length in _spans(entries)):
                return True
    except EOFError:
        return is_dng  # some makers' tables point anywhere
    return False


def _read_at(file: BinaryIO, at: int, form: str) -> tuple[int, ...]:
    file.seek(at)
    data = file.read(struct.calcsize(form))
    if len(data) < struct.calcsize(form):
        raise EOFError
    return struct.unpack(form, data)


def _tiff_start(file: BinaryIO) -> tuple[str, int]:
    file.seek(0)
    order = "<" if file.read(2) == b"II" else ">"
    return order, _read_at(file, 4, f"{order}I")[0]


def _directories(file: BinaryIO) -> Iterator[Directory]:
    """Every picture directory of a TIFF container, each once. Raises EOFError where the file ends inside one."""
    order, first = _tiff_start(file)
    waiting = [first]
    seen: set[int] = {0}
    while waiting and len(seen) < _MOST_DIRECTORIES:
        at = waiting.pop()
        if at in seen:
            continue
        seen.add(at)
        entries, following = _directory(file, at, order)
        waiting += [following, *entries.get(_SUB_IFDS, ())]
        yield entries


def _directory(file: BinaryIO, at: int, order: str) -> tuple[Directory, int]:
    """The entries of interest, and where the next directory starts (0: nowhere)."""
    count = min(_read_at(file, at, f"{order}H")[0], _MOST_ENTRIES)
    places = range(at + 2, at + 2 + 12 * count, 12)
    heads = [(place, *_read_at(file, place, f"{order}HHI")) for place in places]
    entries = {
        tag: _values(file, place + 8, order, code, min(values, _MOST_VALUES))
        for place, tag, code, values in heads
        if tag in _WANTED and code in _VALUE_CODES
    }
    return entries, _read_at(file, at + 2 + 12 * count, f"{order}I")[0]


def _values(file: BinaryIO, place: int, order: str, code: int, count: int) -> tuple[int, ...]:
    form = f"{order}{count}{_VALUE_CODES[code]}"
    if struct.calcsize(form) > 4:
        place = _read_at(file, place, f"{order}I")[0]
    return _read_at(file, place, form)


def _tiff_reaches(file: BinaryIO) -> int:
    """The byte after the last one that a strip, tile or embedded JPEG of the file needs."""
    spans = [span for entries in _directories(file) for span in _spans(entries)]
    return max((start + length for start, length in spans), default=0)


def _spans(entries: Directory) -> Iterator[tuple[int, int]]:
    """Where the data of a directory begin, and how long they are."""
    for starts, lengths in _PLACES.items():
        for start, length in zip(entries.get(starts, ()), entries.get(lengths, ()), strict=False):
            if start != _NOWHERE and length:
                yield start, length


def _boxes_reach(file: BinaryIO, size: int) -> int:
    """The byte after the last top-level box."""
    at = 0
    while at < size:
        (length,) = _read_at(file, at, ">I")
        if length == 1:
            (length,) = _read_at(file, at + 8, ">Q")
        if length < 8:  # 0 means "up to the end of the file"; anything else is damage of another kind
            return size
        at += length
    return at


def _fuji_reaches(file: BinaryIO) -> int:
    spans = _read_at(file, 84, ">6I")  # preview, header and sensor data: offset and length of each
    return max(start + length for start, length in zip(spans[::2], spans[1::2], strict=True))
