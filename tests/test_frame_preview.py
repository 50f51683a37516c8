"""The embedded preview as a stand-in."""

import io
from pathlib import Path

import exiv2
import numpy as np
import pytest
from frame_files import BAYER, coloured, cut, write_picture, write_raw
from PIL import Image

from tetherwatch.frame.faults import Fault
from tetherwatch.frame.preview import SMALLEST_WIDTH, read_preview


def _embed(path: Path, width: int, height: int) -> None:
    """Put a JPEG of code 118 where only the metadata reader finds it."""
    jpeg = io.BytesIO()
    Image.new("RGB", (width, height), (118, 118, 118)).save(jpeg, "JPEG")
    image = exiv2.ImageFactory.open(str(path))
    image.readMetadata()
    exiv2.ExifThumb(image.exifData()).setJpegThumbnail(jpeg.getvalue())
    image.writeMetadata()


def test_preview_says_what_it_stands_for(tmp_path: Path) -> None:
    """The frame is marked as a preview, carries the fault, and its first note is a sentence on both."""
    path = tmp_path / "a.dng"
    write_raw(path, coloured(120, 180, BAYER), preview=(320, 240))
    frame = read_preview(path, Fault.UNSUPPORTED)
    assert frame is not None
    assert (frame.source, frame.curve, frame.fault) == ("preview", "sRGB", Fault.UNSUPPORTED)
    assert (frame.width, frame.height) == (320, 240)
    assert frame.notes[0].startswith(Fault.UNSUPPORTED.problem)
    assert "preview" in frame.notes[0]


@pytest.mark.parametrize(("width", "usable"), [(SMALLEST_WIDTH, True), (SMALLEST_WIDTH - 16, False)])
def test_narrow_preview_is_not_metered(tmp_path: Path, width: int, usable: bool) -> None:
    """Below the least width there is no preview."""
    path = tmp_path / "a.dng"
    write_raw(path, coloured(120, 180, BAYER), preview=(width, 96))
    assert (read_preview(path, Fault.BLANK) is not None) == usable


def test_raw_that_does_not_open_still_has_its_preview(tmp_path: Path) -> None:
    """Where the raw decoder refuses the whole file, the metadata reader finds the preview."""
    path = tmp_path / "a.dng"
    write_raw(path, np.full((120, 180, 5), 4000, np.uint16), preview=None)
    assert read_preview(path, Fault.UNSUPPORTED) is None
    _embed(path, 320, 240)
    frame = read_preview(path, Fault.UNSUPPORTED)
    assert frame is not None
    assert (frame.width, frame.height) == (320, 240)
    assert {int(site.values[0, 0]) for site in frame.sites} == {118}


def test_cut_preview_is_not_used(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """A preview that is itself cut short is none, and nothing is printed about it."""
    path = tmp_path / "a.dng"
    write_raw(path, np.zeros((32, 32), np.uint16), preview=(1600, 1200))
    assert read_preview(cut(path, 0.3), Fault.CUT_SHORT) is None
    assert capfd.readouterr() == ("", "")


def test_files_without_previews(tmp_path: Path) -> None:
    """Text, nothing and a plain picture have no preview to offer."""
    (tmp_path / "a.dng").write_text("text")
    assert read_preview(tmp_path / "a.dng", Fault.BLANK) is None
    assert read_preview(tmp_path / "gone.dng", Fault.BLANK) is None
    assert read_preview(write_picture(tmp_path / "a.tif"), Fault.BLANK) is None
