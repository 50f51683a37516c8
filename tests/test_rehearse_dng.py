"""The DNG writer, checked through an independent decoder and metadata reader."""

import io
import sys
from pathlib import Path

import exiv2
import numpy as np
import pytest
import rawpy
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from tetherwatch.errors import MissingExtraError
from tetherwatch.rehearse.dng import write_dng

PREVIEW = np.full((100, 152, 3), (200, 60, 30), np.uint8)


def noise(rows: int = 400, columns: int = 600, seed: int = 1, bits: int = 14) -> np.ndarray:
    """A mosaic of codes over the whole range."""
    return np.random.default_rng(seed).integers(0, 2**bits, (rows, columns), dtype=np.uint16)


def decoded(path: Path) -> np.ndarray:
    """All raw codes of a file."""
    with rawpy.imread(str(path)) as raw:
        return raw.raw_image.copy()


@pytest.mark.parametrize("compressed", [False, True])
def test_codes_survive(tmp_path: Path, compressed: bool) -> None:
    """Both forms give back every code, from 0 to the white level."""
    path, mosaic = tmp_path / "a.dng", noise()
    mosaic[0, :2] = 0, 16383
    write_dng(path, mosaic, black=512, white=16383, compressed=compressed, preview=PREVIEW)
    assert np.array_equal(decoded(path), mosaic)


@settings(max_examples=15)
@given(
    rows=st.integers(32, 60).map(lambda n: 2 * n),
    columns=st.integers(32, 60).map(lambda n: 2 * n),
    bits=st.integers(8, 16),
    seed=st.integers(0, 99),
)
def test_any_size_and_depth(
    tmp_path_factory: pytest.TempPathFactory, rows: int, columns: int, bits: int, seed: int
) -> None:
    """Compression loses nothing at any even size and any depth from 8 to 16 bits."""
    path = tmp_path_factory.mktemp("dng") / "a.dng"
    mosaic = noise(rows, columns, seed, bits)
    write_dng(path, mosaic, black=0, white=2**bits - 1, compressed=True, preview=PREVIEW)
    assert np.array_equal(decoded(path), mosaic)


@pytest.mark.parametrize("compressed", [False, True])
@pytest.mark.parametrize("pattern", [(0, 1, 1, 2), (1, 0, 2, 1), (2, 1, 1, 0)])
def test_levels_pattern_and_neutral_survive(
    tmp_path: Path, compressed: bool, pattern: tuple[int, int, int, int]
) -> None:
    """The decoder sees the black and white level, the colour pattern and the white balance as given."""
    path = tmp_path / "a.dng"
    write_dng(
        path,
        noise(),
        black=300,
        white=15000,
        compressed=compressed,
        preview=PREVIEW,
        neutral=(0.5, 1.0, 0.8),
        pattern=pattern,
    )
    with rawpy.imread(str(path)) as raw:
        colours = [raw.color_desc.decode()[site] for site in raw.raw_pattern.flat]
        assert colours == ["RGB"[colour] for colour in pattern]
        assert raw.black_level_per_channel == [300] * 4
        assert raw.white_level == 15000
        assert raw.camera_whitebalance[:3] == pytest.approx([2.0, 1.0, 1.25])


def test_preview_is_a_picture_of_the_right_colour(tmp_path: Path) -> None:
    """The embedded preview opens as JPEG with the colours that were given."""
    path = tmp_path / "a.dng"
    write_dng(path, noise(), black=512, white=16383, compressed=True, preview=PREVIEW)
    with rawpy.imread(str(path)) as raw:
        thumb = raw.extract_thumb()
    assert thumb.format == rawpy.ThumbFormat.JPEG
    with Image.open(io.BytesIO(thumb.data)) as picture:
        assert picture.size == (152, 100)
        assert np.abs(np.asarray(picture, int) - (200, 60, 30)).max() <= 3


@pytest.mark.parametrize("compressed", [False, True])
def test_metadata_survive(tmp_path: Path, compressed: bool) -> None:
    """Exif entries, orientation and camera name can be read back, and the codes are still right."""
    path, mosaic = tmp_path / "a.dng", noise()
    tags = {"Exif.Image.Make": "Harrow", "Exif.Photo.ExposureTime": "1/250", "Exif.Photo.BodySerialNumber": "Ü-7"}
    write_dng(
        path,
        mosaic,
        black=512,
        white=16383,
        compressed=compressed,
        preview=PREVIEW,
        orientation=6,
        camera="Box 1",
        tags=tags,
    )
    image = exiv2.ImageFactory.open(str(path))
    image.readMetadata()
    data = image.exifData()
    assert {key: data[key].toString() for key in tags} == tags
    assert data["Exif.Image.Orientation"].toString() == "6"
    assert data["Exif.Image.UniqueCameraModel"].toString() == "Box 1"
    assert data["Exif.SubImage1.ActiveArea"].toString() == "0 0 400 600"
    assert data["Exif.SubImage1.BitsPerSample"].toString() == ("14" if compressed else "16")
    assert np.array_equal(decoded(path), mosaic)


def test_nothing_else_is_left_behind(tmp_path: Path) -> None:
    """Only the finished file is in the folder."""
    write_dng(tmp_path / "a.dng", noise(), black=512, white=16383, compressed=True, preview=PREVIEW)
    assert [path.name for path in tmp_path.iterdir()] == ["a.dng"]


def test_odd_sizes_are_refused(tmp_path: Path) -> None:
    """A mosaic that does not consist of whole cells raises ValueError and writes nothing."""
    with pytest.raises(ValueError, match="2x2"):
        write_dng(tmp_path / "a.dng", noise(401, 600), black=0, white=1, compressed=False, preview=PREVIEW)
    assert not any(tmp_path.iterdir())


@pytest.mark.parametrize("library", ["tifffile", "imagecodecs"])
def test_missing_extra_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, library: str) -> None:
    """Without a library of the extra, the error names the extra to install."""
    monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(MissingExtraError) as caught:
        write_dng(tmp_path / "a.dng", noise(), black=0, white=255, compressed=True, preview=PREVIEW)
    assert caught.value.extra == "rehearse"
