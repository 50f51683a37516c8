"""Metadata out of files."""

import os
from datetime import datetime, timedelta, timezone
from pathlib import Path
from random import Random

import numpy as np
import pytest
from frame_files import cut, write_picture

from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.metadata import read_metadata
from tetherwatch.frame.records import Metadata
from tetherwatch.rehearse.dng import write_dng

TAGS = {
    "Exif.Photo.ExposureTime": "1/250",
    "Exif.Photo.FNumber": "28/10",
    "Exif.Photo.ISOSpeedRatings": "400",
    "Exif.Photo.ExposureProgram": "1",
    "Exif.Photo.ExposureBiasValue": "-1/3",
    "Exif.Photo.Flash": "1",
    "Exif.Photo.FocalLength": "85/1",
    "Exif.Photo.FocalLengthIn35mmFilm": "85",
    "Exif.Photo.LensModel": "Harrow 85 mm f/1.8",
    "Exif.Image.Model": "Harrow Q24",
    "Exif.Photo.BodySerialNumber": "0042",
    "Exif.Photo.DateTimeOriginal": "2026:03:01 14:05:09",
    "Exif.Photo.SubSecTimeOriginal": "250",
    "Exif.Photo.OffsetTimeOriginal": "+01:00",
}


def _write(path: Path, tags: dict[str, str]) -> Path:
    mosaic = np.full((64, 96), 3000, np.uint16)
    preview = np.full((160, 240, 3), 118, np.uint8)
    write_dng(path, mosaic, black=512, white=16383, compressed=False, preview=preview, orientation=8, tags=tags)
    return path


def test_everything_a_raw_says(tmp_path: Path) -> None:
    """All that the record has room for is read from a raw."""
    pytest.importorskip("tifffile")
    assert read_metadata(_write(tmp_path / "a.dng", TAGS)) == Metadata(
        settings=Settings(shutter_s=1 / 250, aperture=2.8, iso=400),
        program="manual",
        bias_stops=pytest.approx(-1 / 3),
        flash_fired=True,
        focal_mm=85,
        focal_35mm=85,
        lens="Harrow 85 mm f/1.8",
        camera="Harrow Q24",
        serial="0042",
        captured_at=datetime(2026, 3, 1, 14, 5, 9, 250_000, timezone(timedelta(hours=1))),
        orientation=8,
    )


def test_reading_leaves_the_capture_as_it_is(tmp_path: Path) -> None:
    """Neither content nor times of the file change, and nothing appears beside it."""
    pytest.importorskip("tifffile")
    path = _write(tmp_path / "a.dng", TAGS)
    before = path.read_bytes(), path.stat().st_mtime_ns
    read_metadata(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    "content", [b"", b"II*\0\x08\0\0\0", b"\xff\xd8\xff\xe1\0\x10Exif\0\0MM", b"text\n" * 50, Random(5).randbytes(999)]
)
def test_bad_file_says_nothing(tmp_path: Path, content: bytes, capfd: pytest.CaptureFixture[str]) -> None:
    """A file without metadata, or no capture at all, gives an empty record and not a word on any stream."""
    path = tmp_path / "a.dng"
    path.write_bytes(content)
    assert read_metadata(path) == Metadata()
    assert capfd.readouterr() == ("", "")


def test_missing_file_and_folder_say_nothing(tmp_path: Path) -> None:
    """A path that cannot be read gives an empty record."""
    assert read_metadata(tmp_path / "gone.dng") == Metadata()
    assert read_metadata(tmp_path) == Metadata()


def test_cut_file_still_says_what_is_left(tmp_path: Path) -> None:
    """Metadata at the head of a file survive the loss of its tail."""
    exif = pytest.importorskip("PIL.Image").Exif()
    exif[0x0110] = "Harrow Q24"
    path = cut(write_picture(tmp_path / "a.jpg", size=(400, 300), exif=exif), 0.8)
    assert read_metadata(path).camera == "Harrow Q24"


def test_undecodable_text_does_not_lose_the_rest(tmp_path: Path) -> None:
    """A camera name that is not UTF-8 leaves the settings readable."""
    pytest.importorskip("tifffile")
    path = _write(tmp_path / "a.dng", TAGS)
    path.write_bytes(path.read_bytes().replace(b"Harrow 85 mm", b"Harr\xf6w 85 mm"))
    found = read_metadata(path)
    assert found.settings.iso == 400
    assert found.lens is not None
    assert found.lens.startswith("Harr")


def test_undecodable_name(tmp_path: Path) -> None:
    """A file whose name is no text in any encoding is read like any other."""
    try:
        path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9.jpg"))
        exif = pytest.importorskip("PIL.Image").Exif()
        exif[0x0110] = "Harrow Q24"
        path.write_bytes(write_picture(tmp_path / "a.jpg", exif=exif).read_bytes())
    except (OSError, UnicodeError):
        pytest.skip("this file system takes text names only")
    assert read_metadata(path).camera == "Harrow Q24"
