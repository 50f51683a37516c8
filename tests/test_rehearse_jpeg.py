"""Pictures rendered by the sRGB curve."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tetherwatch.rehearse.camera import GREY_SHARE, Camera
from tetherwatch.rehearse.jpeg import render, write_jpeg
from tetherwatch.rehearse.scene import paint

CAMERA = Camera()


def card_of(picture: np.ndarray) -> np.ndarray:
    """The part of a picture inside the centre box."""
    rows, columns = picture.shape[:2]
    return picture[round(0.4 * rows) : round(0.6 * rows), round(0.4 * columns) : round(0.6 * columns)]


def linear(picture: np.ndarray) -> np.ndarray:
    """Linear light of 8-bit sRGB codes (IEC 61966-2-1)."""
    code = picture / 255
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def exposed(offset: float, iso: float = 100.0) -> np.ndarray:
    """A mosaic of the studio."""
    return CAMERA.expose(paint(400, 600), offset, iso, np.random.default_rng(5))


def saved(tmp_path: Path, offset: float) -> np.ndarray:
    """The studio through a JPEG file."""
    path = tmp_path / "a.jpg"
    write_jpeg(path, exposed(offset), CAMERA, {"Exif.Photo.FNumber": "14/5"})
    with Image.open(io.BytesIO(path.read_bytes())) as picture:
        return np.asarray(picture)


def test_mid_grey_is_code_118(tmp_path: Path) -> None:
    """At offset 0 the card is neutral and sits at code 118 in the file."""
    card = card_of(saved(tmp_path, 0.0)).reshape(-1, 3)
    assert np.median(card, axis=0) == pytest.approx([118] * 3, abs=0.5)
    assert card.mean(axis=0) == pytest.approx([117.65] * 3, abs=0.4)


@pytest.mark.parametrize("offset", [-2.0, -1.0, -1 / 3, 0.0, 1 / 3, 1.0, 2.0])
def test_offset_can_be_read_from_the_file(tmp_path: Path, offset: float) -> None:
    """Decoding the sRGB curve gives the offset back within 0.02 stop at mid levels."""
    mean = linear(card_of(saved(tmp_path, offset))).mean()
    assert np.log2(mean / 0.18) == pytest.approx(offset, abs=0.02)


def test_file_has_all_pixels_and_its_metadata(tmp_path: Path) -> None:
    """The picture has as many pixels as the mosaic, upright, and carries the tags."""
    assert saved(tmp_path, 0.0).shape == (800, 1200, 3)
    with Image.open(tmp_path / "a.jpg") as picture:
        assert picture.getexif().get_ifd(0x8769)[0x829D] == pytest.approx(2.8)


def test_saturated_light_is_white() -> None:
    """Where green is at the white level the picture is plain white, whatever the colour response."""
    mosaic = np.full((8, 8), CAMERA.white, np.uint16)
    assert np.all(render(mosaic, CAMERA) == 255)
    assert np.all(render(np.full((8, 8), CAMERA.black, np.uint16), CAMERA) == 0)


def test_preview_takes_every_so_many_cells() -> None:
    """A smaller rendering is a selection of the full one."""
    mosaic = exposed(0.0)
    assert np.array_equal(render(mosaic, CAMERA, every=3), render(mosaic, CAMERA)[::3, ::3])


def test_clipping_of_the_picture_comes_before_that_of_the_raw() -> None:
    """A reflectance of 1 is white in the picture at offset 0 while the raw still has log2(0.18 / (10/78)) stop."""
    cells = np.ones((3, 50, 50), np.float32)
    mosaic = CAMERA.expose(cells, 0.05, 100.0, np.random.default_rng(1))
    assert render(mosaic, CAMERA)[..., 1].min() == 255
    headroom = np.log2((CAMERA.white - CAMERA.black) / (mosaic[::2, 1::2].mean() - CAMERA.black))
    assert headroom == pytest.approx(np.log2(0.18 / GREY_SHARE) - 0.05, abs=0.01)
