"""What counts as a capture by its name."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.frame.names import PICTURE_EXTENSIONS, RAW_EXTENSIONS, has_plain_name, is_capture_name, is_raw_name


@given(st.sampled_from(sorted(RAW_EXTENSIONS | PICTURE_EXTENSIONS)), st.booleans())
def test_extension_case_does_not_matter(extension: str, upper: bool) -> None:
    """Every known extension makes a capture in either case; only raw ones make a raw."""
    name = f"IMG_0001.{extension.upper() if upper else extension}"
    assert is_capture_name(name)
    assert is_raw_name(name) == (extension in RAW_EXTENSIONS)


@pytest.mark.parametrize(
    "name",
    [".hidden.dng", "._IMG_1.dng", "IMG_1.dng.part", "IMG_1.dng.tmp", "IMG_1.dng~", "~IMG_1.dng", "IMG_1.DNG.PARTIAL"],
)
def test_unfinished_and_hidden_files_are_no_captures(name: str) -> None:
    """Hidden files and what programs leave while they write are passed over."""
    assert not is_capture_name(name)


@pytest.mark.parametrize("name", ["dng", "notes.txt", "IMG_1.xmp", "IMG_1", "IMG_1.dng.xmp", "", "clip.mov", "x."])
def test_other_files_are_no_captures(name: str) -> None:
    """A name that ends otherwise, or not at all, is no capture and no raw."""
    assert not is_capture_name(name)
    assert not is_raw_name(name)


def test_name_of_undecodable_bytes_is_not_plain() -> None:
    """A path that is no text must be handed over as bytes; any script that is text need not."""
    assert not has_plain_name(Path("caf\udce9.dng"))
    assert has_plain_name(Path("日本語 é.dng"))
