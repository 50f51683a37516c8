"""The embedded preview as a stand-in."""

import io
from pathlib import Path

import exiv2
import numpy as np
import pytest
from frame_files import BAYER, coloured, cut, write_picture, write_raw
from PIL import Image

from tetherwatch.frame.faults import Fault
from tetherwatch.frame.preview import SMALLEST_WIDTH, quick_preview, read_preview
from tetherwatch.rehearse.dng import write_dng


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


def test_the_quick_preview_is_the_smallest_that_is_large_enough(tmp_path: Path) -> None:
    """A small one beside a large one is taken where it will do; a very large one is decoded smaller."""
    path = tmp_path / "a.dng"
    grey = np.full((2400, 3200, 3), 118, np.uint8)
    write_dng(path, coloured(120, 180, BAYER), black=512, white=16383, compressed=False, preview=grey)
    large = quick_preview(path)
    assert large is not None
    assert (large.source, large.fault) == ("preview", None)
    assert 480 <= large.width < 1000
    _embed(path, 640, 480)
    small = quick_preview(path)
    assert small is not None
    assert (small.width, small.height) == (640, 480)
    _embed(path, 176, 128)
    again = quick_preview(path)
    assert again is not None
    assert again.width == large.width


def test_a_jpeg_is_its_own_quick_preview(tmp_path: Path) -> None:
    """It is decoded smaller, whatever preview it holds; while it is not complete yet that one will do."""
    path = write_picture(tmp_path / "a.jpg", size=(4000, 3000))
    _embed(path, 176, 128)
    quick = quick_preview(path)
    assert quick is not None
    assert (quick.source, quick.width, quick.height) == ("jpeg", 500, 375)
    assert [int(np.median(site.values)) for site in quick.sites] == pytest.approx([30, 118, 200], abs=2)
    early = quick_preview(cut(path, 0.5))
    assert early is not None
    assert (early.source, early.width) == ("preview", 176)


def test_without_a_preview_there_is_no_quick_one(tmp_path: Path) -> None:
    """Nor is there in a file that is none."""
    write_raw(tmp_path / "a.dng", coloured(120, 180, BAYER), preview=None)
    (tmp_path / "b.dng").write_bytes(b"nothing of the kind")
    assert quick_preview(tmp_path / "a.dng") is None
    assert quick_preview(tmp_path / "b.dng") is None
    assert quick_preview(tmp_path / "c.dng") is None
