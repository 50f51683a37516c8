"""Finished pictures."""

from pathlib import Path

import numpy as np
import pytest
from frame_files import cut, write_picture
from PIL import Image, ImageCms

from tetherwatch.frame.faults import CaptureError, Fault
from tetherwatch.frame.picture import OTHER_PROFILE, UNSOUND, frame_of, read_picture
from tetherwatch.frame.records import Frame


def _codes(frame: Frame) -> dict[str, int]:
    """The one code of each channel of a one-tone picture."""
    assert all(len(set(site.values.flat)) == 1 for site in frame.sites)
    return {site.channel: int(site.values[0, 0]) for site in frame.sites}


def _fault(path: Path) -> Fault:
    with pytest.raises(CaptureError) as caught:
        read_picture(path)
    return caught.value.fault


def test_colour_picture_is_three_sites_on_one_array(tmp_path: Path) -> None:
    """Red, green and blue are views of one array, marked as sRGB with black 0 and white 255."""
    frame = read_picture(write_picture(tmp_path / "a.tif"))
    assert _codes(frame) == {"r": 30, "g": 118, "b": 200}
    assert (frame.source, frame.curve, frame.height, frame.width) == ("jpeg", "sRGB", 48, 64)
    assert {(site.black, site.white, site.pitch_x) for site in frame.sites} == {(0, 255, 1)}
    assert len({id(site.values.base) for site in frame.sites}) == 1


@pytest.mark.parametrize("name", ["a.jpg", "a.tif"])
def test_grey_picture_is_one_site(tmp_path: Path, name: str) -> None:
    """A grey picture has the single channel y."""
    assert _codes(read_picture(write_picture(tmp_path / name, "L"))) == {"y": 118}


def test_other_modes_are_converted_rightly(tmp_path: Path) -> None:
    """Palette and transparent pictures become plain RGB without a change of tone."""
    rgb = {"r": 30, "g": 118, "b": 200}
    palette = Image.new("RGB", (64, 48), (30, 118, 200)).quantize(4)
    palette.save(tmp_path / "p.tif")
    assert palette.mode == "P"
    assert _codes(read_picture(tmp_path / "p.tif")) == rgb
    assert _codes(read_picture(write_picture(tmp_path / "a.tif", "RGBA"))) == rgb


@pytest.mark.parametrize("order", ["<", ">"])
def test_deep_pictures_lose_only_their_fine_steps(tmp_path: Path, order: str) -> None:
    """16-bit grey and colour are read as their upper 8 bits, in either byte order."""
    tifffile = pytest.importorskip("tifffile")
    deep = np.full((48, 64, 3), (30 << 8 | 200, 118 << 8 | 255, 200 << 8), np.uint16)
    tifffile.imwrite(tmp_path / "rgb.tif", deep, photometric="rgb", byteorder=order)
    tifffile.imwrite(tmp_path / "grey.tif", deep[:, :, 1], photometric="minisblack", byteorder=order)
    assert _codes(read_picture(tmp_path / "rgb.tif")) == {"r": 30, "g": 118, "b": 200}
    assert _codes(read_picture(tmp_path / "grey.tif")) == {"y": 118}


@pytest.mark.parametrize("mode", ["CMYK", "1", "LAB", "F", "I"])
def test_pictures_without_light_levels_are_refused(tmp_path: Path, mode: str) -> None:
    """Inks, bits, Lab and scientific pictures are refused rather than misread."""
    assert _fault(write_picture(tmp_path / "a.tif", mode)) is Fault.UNSUPPORTED


@pytest.mark.parametrize("part", [0.1, 0.5, 0.99])
@pytest.mark.parametrize(("name", "options"), [("a.jpg", {}), ("a.tif", {}), ("a.tif", {"compression": "tiff_lzw"})])
def test_cut_picture(
    tmp_path: Path, name: str, options: dict[str, str], part: float, capfd: pytest.CaptureFixture[str]
) -> None:
    """A picture cut anywhere is said to be cut, never filled with grey, and the libraries stay silent."""
    path = tmp_path / name
    Image.effect_noise((400, 300), 60).save(path, **options)
    assert _fault(cut(path, part)) is Fault.CUT_SHORT
    assert capfd.readouterr() == ("", "")


def test_damaged_picture_is_said_quietly(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Damage inside the pixels is a fault, and the libraries' complaints in C reach no stream."""
    path = tmp_path / "a.tif"
    Image.effect_noise((400, 300), 60).save(path, compression="tiff_lzw")
    content = bytearray(path.read_bytes())
    content[20:60] = b"\xff" * 40
    path.write_bytes(content)
    assert _fault(path) is Fault.CUT_SHORT
    assert capfd.readouterr() == ("", "")


def _noisy_jpeg(path: Path, **options: object) -> bytes:
    pixels = np.random.default_rng(5).integers(0, 256, (300, 400, 3), np.uint8)
    Image.fromarray(pixels).save(path, **options)
    return path.read_bytes()


@pytest.mark.parametrize("options", [{"subsampling": 0}, {"subsampling": 1}, {"subsampling": 2}, {"progressive": True}])
def test_colour_jpeg_has_the_same_pixels_as_another_decoder_gives(tmp_path: Path, options: dict[str, int]) -> None:
    """Whatever its kind, a JPEG arrives code for code as Pillow decodes it, also with something behind its end."""
    path = tmp_path / "a.jpg"
    path.write_bytes(_noisy_jpeg(path, **options) + bytes(500))
    frame = read_picture(path)
    with Image.open(path) as image:
        assert np.array_equal(frame.pixels, np.asarray(image))
    assert (frame.pixels.shape, frame.notes) == ((300, 400, 3), ())


def test_jpeg_that_is_damaged_but_whole_is_read_with_a_note(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Damage that costs a part of the picture is said in a note, in silence on the streams; the rest is read."""
    path = tmp_path / "a.jpg"
    content = bytearray(_noisy_jpeg(path))
    content[-9000:-8000] = bytes(1000)
    path.write_bytes(content)
    assert read_picture(path).notes == (UNSOUND,)
    assert capfd.readouterr() == ("", "")


def test_sizes(tmp_path: Path) -> None:
    """Icons are refused, very wide pictures read."""
    assert _fault(write_picture(tmp_path / "a.jpg", size=(1, 1))) is Fault.TOO_SMALL
    assert _fault(write_picture(tmp_path / "a.jpg", size=(4000, 15))) is Fault.TOO_SMALL
    wide = read_picture(write_picture(tmp_path / "b.jpg", "L", size=(20_000, 500)))
    assert (wide.width, wide.height, _codes(wide)) == (20_000, 500, {"y": 118})


@pytest.mark.parametrize("side", [14_200, 30_000])
def test_too_large_is_refused_before_decoding(tmp_path: Path, side: int) -> None:
    """A small file that claims more pixels than the limit is refused by its head."""
    path = write_picture(tmp_path / "a.jpg")
    content = path.read_bytes()
    at = content.index(b"\xff\xc0") + 5  # height and width in the frame header (ITU-T T.81)
    path.write_bytes(content[:at] + side.to_bytes(2, "big") * 2 + content[at + 4 :])
    assert _fault(path) is Fault.TOO_LARGE


def test_profile(tmp_path: Path) -> None:
    """Another colour space makes the estimate coarser, which is said; sRGB and no profile say nothing."""
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    other = ImageCms.ImageCmsProfile(ImageCms.createProfile("XYZ")).tobytes()
    for profile, notes in ((srgb, ()), (None, ()), (other, (OTHER_PROFILE,))):
        assert read_picture(write_picture(tmp_path / "a.jpg", icc_profile=profile)).notes == notes


def test_strips_join_without_a_seam(tmp_path: Path) -> None:
    """A picture higher than one strip arrives row for row."""
    pixels = np.random.default_rng(4).integers(0, 256, (600, 20, 3), np.uint8)
    Image.fromarray(pixels).save(tmp_path / "a.tif")
    frame = read_picture(tmp_path / "a.tif")
    assert all((site.values == pixels[:, :, plane]).all() for plane, site in enumerate(frame.sites))


def test_frame_of_copies_nothing() -> None:
    """A frame over pixels shares their memory."""
    pixels = np.zeros((20, 30, 3), np.uint8)
    assert all(np.shares_memory(site.values, pixels) for site in frame_of(pixels, "preview").sites)
