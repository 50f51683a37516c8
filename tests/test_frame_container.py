"""What is inside a file by its first bytes and tables."""

import io
import struct
from pathlib import Path

import numpy as np
import pytest
from frame_files import BAYER, coloured, cut, write_picture, write_raw
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.frame.container import holds_sensor_data, is_cut_short, kind_of, lacks_data


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"\xff\xd8\xff\xe1", "jpeg"),
        (b"II*\0\x10\0\0\0CR\2\0", "tiff"),
        (b"MM\0*\0\0\0\x08", "tiff"),
        (b"IIU\0\x18\0\0\0", "tiff"),
        (b"\0\0\0\x18ftypcrx ", "boxes"),
        (b"FUJIFILMCCD-RAW 0201", "raw"),
        (b"II\x1a\0\0\0HEAPCCDR", "raw"),
        (b"hello, this is text", "unknown"),
        (b"", "unknown"),
    ],
)
def test_kind_of(head: bytes, kind: str) -> None:
    """Each container is told by its first bytes, however few there are."""
    assert kind_of(head) == kind


@given(st.sampled_from([b"II*\0", b"MM\0*", b"\0\0\0\x20ftypcrx ", b"FUJIFILMCCD-RAW "]), st.binary(max_size=300))
def test_no_content_makes_looking_fail(head: bytes, rest: bytes) -> None:
    """Whatever follows the first bytes, the questions are answered without an error."""
    file = io.BytesIO(head + rest)
    assert is_cut_short(file) in (True, False)
    assert holds_sensor_data(file) in (True, False)


def test_raw_and_picture_are_told_apart(tmp_path: Path) -> None:
    """A DNG holds sensor data; a TIFF picture does not."""
    raw, picture = tmp_path / "a.dng", write_picture(tmp_path / "b.tif")
    write_raw(raw, coloured(64, 64, BAYER))
    with raw.open("rb") as file:
        assert holds_sensor_data(file)
        assert not is_cut_short(file)
    with picture.open("rb") as file:
        assert not holds_sensor_data(file)
        assert not is_cut_short(file)


@pytest.mark.parametrize("part", [0.0005, 0.02, 0.1, 0.5, 0.99])
def test_cut_raw_is_told(tmp_path: Path, part: float) -> None:
    """A raw cut in its head, its tables or its data promises more than there is."""
    path = tmp_path / "a.dng"
    write_raw(path, np.random.default_rng(1).integers(600, 9000, (200, 300), np.uint16), rows_per_strip=8)
    with cut(path, part).open("rb") as file:
        assert is_cut_short(file)


def test_cut_boxes_are_told() -> None:
    """A box longer than the file is one cut short, with short and with long length fields."""
    whole = b"\0\0\0\x10ftypcrx \0\0\0\1" + struct.pack(">I4s", 108, b"mdat") + bytes(100)
    long = b"\0\0\0\x10ftypcrx \0\0\0\1" + struct.pack(">I4sQ", 1, b"mdat", 116) + bytes(100)
    for content in (whole, long):
        assert not is_cut_short(io.BytesIO(content))
        assert is_cut_short(io.BytesIO(content[:-1]))


def test_directories_in_a_circle_end() -> None:
    """A directory that names itself as the next one is read once."""
    circle = b"II*\0" + struct.pack("<IHHHIII", 8, 1, 262, 3, 1, 32803, 8)
    assert holds_sensor_data(io.BytesIO(circle))
    assert not is_cut_short(io.BytesIO(circle))


def test_place_that_is_no_place_is_passed_over() -> None:
    """One maker writes all ones as the place of the strip; that is no data beyond the end."""
    nowhere = b"II*\0" + struct.pack("<IHHHIIHHIII", 8, 2, 273, 4, 1, 0xFFFFFFFF, 279, 4, 1, 100, 0)
    assert not is_cut_short(io.BytesIO(nowhere))
    assert is_cut_short(io.BytesIO(nowhere.replace(b"\xff\xff\xff\xff", b"\xff\xff\xff\0")))


def strip(start: int, length: int = 100, tag: int = 262, following: int = 0) -> bytes:
    """A table that names one strip, another tag, and the next table; 100 bytes in all."""
    entries = ((tag, 4, 1, 0), (273, 4, 1, start), (279, 4, 1, length))
    table = b"".join(struct.pack("<HHII", *entry) for entry in sorted(entries))
    return (b"II*\0" + struct.pack("<IH", 8, 3) + table + struct.pack("<I", following)).ljust(100, b"\1")


@pytest.mark.parametrize(
    ("content", "lacks"),
    [
        (strip(60, length=40), False),
        (strip(60, length=41), True),
        (strip(99, length=1), False),
        (strip(100), True),
        (strip(5000), True),
        (strip(5000, length=0), False),
        (strip(0xFFFFFFFF), False),
        (strip(60, length=40, following=90), False),
        (strip(60, length=40, tag=50706, following=90), True),
    ],
    ids=[
        "inside",
        "cut",
        "last byte",
        "at the end",
        "beyond",
        "no data",
        "no place",
        "cut table",
        "cut table of a DNG",
    ],
)
def test_data_without_their_beginning_are_missed(content: bytes, lacks: bool) -> None:
    """Such a file must not be decoded."""
    assert lacks_data(io.BytesIO(content)) == lacks


def test_data_cut_later_on_are_left_to_the_decoder() -> None:
    """Some makers' lengths are longer than what is there."""
    assert not lacks_data(io.BytesIO(strip(60, length=9000) + bytes(5000)))
