"""What stands for a file's content, and which folder is which."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tetherwatch.watch.disk import Folder, fingerprint

LARGE = 5_000_000
SEED = 20260506


@pytest.fixture(scope="module")
def large(tmp_path_factory) -> Path:
    """A file that is not read as a whole."""
    path = tmp_path_factory.mktemp("made") / "a.dng"
    path.write_bytes(np.random.default_rng(SEED).bytes(LARGE))
    return path


def test_the_same_content_has_the_same_fingerprint_under_any_name_and_time(tmp_path, large):
    """Sixteen bytes, whatever the file is called."""
    copy = tmp_path / "b.jpg"
    copy.write_bytes(large.read_bytes())
    assert fingerprint(copy) == fingerprint(large)
    assert len(fingerprint(copy)) == 16


@pytest.mark.parametrize("at", [0, 60_000, LARGE - 60_000, LARGE - 1])
def test_a_byte_at_either_end_matters(tmp_path, large, at):
    """There cameras write what differs between two shots of one subject."""
    content = bytearray(large.read_bytes())
    content[at] ^= 1
    other = tmp_path / "a.dng"
    other.write_bytes(content)
    assert fingerprint(other) != fingerprint(large)


@given(begin=st.floats(0.0, 0.9), share=st.floats(0.08, 1.0))
@settings(max_examples=25)
def test_a_hole_of_a_copy_in_progress_matters(tmp_path_factory, large, begin, share):
    """Some transfer programs reserve the whole size first and fill it in any order."""
    content = bytearray(large.read_bytes())
    first, last = int(begin * LARGE), min(LARGE, int((begin + share) * LARGE))
    content[first:last] = bytes(last - first)
    holed = tmp_path_factory.mktemp("holed") / "a.dng"
    holed.write_bytes(content)
    assert fingerprint(holed) != fingerprint(large)


@given(st.binary(max_size=400), st.binary(max_size=400))
@settings(max_examples=25)
def test_small_files_are_told_apart_by_every_byte(tmp_path_factory, one, two):
    """They are read as a whole."""
    folder = tmp_path_factory.mktemp("small")
    (folder / "1").write_bytes(one)
    (folder / "2").write_bytes(two)
    assert (fingerprint(folder / "1") == fingerprint(folder / "2")) == (one == two)


def test_what_cannot_be_read_has_none(tmp_path):
    """A missing file, or a folder."""
    assert fingerprint(tmp_path / "missing.dng") is None
    assert fingerprint(tmp_path) is None


def test_a_folder_in_the_place_of_another_has_another_identity(tmp_path):
    """So it is noticed although its name is the same."""
    folder = tmp_path / "in"
    folder.mkdir()
    disk = Folder(folder)
    before = disk.identity()
    assert disk.identity() == before
    folder.rename(tmp_path / "old")
    with pytest.raises(FileNotFoundError):
        disk.identity()
    folder.mkdir()
    assert disk.identity() != before
