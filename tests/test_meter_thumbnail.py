"""The small picture: upright, as exposed, with its clipped places."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from meter_frames import BAYER, BLACK, MONO, PATTERNS, UPRIGHT, WHITE, mosaic_frame, picture_frame, raw_codes
from PIL import Image, ImageOps

from tetherwatch.body.records import Calibration
from tetherwatch.exposure.settings import Settings
from tetherwatch.meter.reading import meter_frame
from tetherwatch.meter.records import CENTRE_BOX, Aim
from tetherwatch.meter.thumbnail import LONGEST_SIDE, make_thumbnail, turned
from tetherwatch.rehearse.camera import Camera
from tetherwatch.rehearse.jpeg import render
from tetherwatch.rehearse.scene import paint

SEEDS = st.integers(0, 2**32 - 1)


def draw(frame, orientation=1, aim=None):
    return make_thumbnail(frame, meter_frame(frame, aim or Aim(), Settings(), orientation), orientation)


def rgb(thumbnail):
    return np.frombuffer(thumbnail.rgb, np.uint8).reshape(thumbnail.height, thumbnail.width, 3).astype(int)


def marks(thumbnail):
    return np.frombuffer(thumbnail.clipped, np.uint8).reshape(thumbnail.height, thumbnail.width)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("shape", [(5, 7), (5, 7, 3)])
def test_turning_agrees_with_pillow(orientation, shape):
    """A stored picture is turned upright as Pillow turns a file with that Exif code."""
    stored = np.random.default_rng(1).integers(0, 256, shape, dtype=np.uint8)
    image = Image.fromarray(stored)
    image.getexif()[0x0112] = orientation
    upright = np.asarray(ImageOps.exif_transpose(image))
    assert np.array_equal(turned(stored, orientation), upright)
    assert np.array_equal(UPRIGHT[orientation](stored), upright)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_thumbnail_is_upright(orientation):
    """Tones and clipping marks are turned together; width and height are those of the upright picture."""
    rng = np.random.default_rng(2)
    light = np.full((400, 600), 0.1)
    light[:100, :300], light[300:, :200] = 0.02, 2.0
    frame = mosaic_frame(raw_codes(light, rng))
    stored, upright = draw(frame, 1), draw(frame, orientation)
    assert np.array_equal(rgb(upright), UPRIGHT[orientation](rgb(stored)))
    assert np.array_equal(marks(upright), UPRIGHT[orientation](marks(stored)))
    assert (upright.width > upright.height) == (orientation < 5)


@given(st.integers(16, 500), st.integers(16, 500), st.sampled_from(PATTERNS), SEEDS)
def test_size(height, width, pattern, seed):
    """The longest side is at most 120 pixels, the shape that of the picture, and the bytes fit."""
    codes = np.random.default_rng(seed).integers(0, 16384, (height, width), dtype=np.uint16)
    thumbnail = draw(mosaic_frame(codes, pattern))
    assert 1 <= max(thumbnail.width, thumbnail.height) <= LONGEST_SIDE
    assert len(thumbnail.rgb) == 3 * len(thumbnail.clipped) == 3 * thumbnail.width * thumbnail.height
    assert set(thumbnail.clipped) <= {0, 1}
    if min(height, width) >= 120 * len(pattern):
        assert thumbnail.width / thumbnail.height == pytest.approx(width / height, rel=0.03)


@pytest.mark.parametrize("shape", [(16, 20_000), (20_000, 16), (16, 16)])
def test_strips_and_tiny_pictures(shape):
    """Very long and very small pictures are drawn too."""
    thumbnail = draw(mosaic_frame(np.full(shape, 3000, np.uint16)))
    assert max(thumbnail.width, thumbnail.height) == min(LONGEST_SIDE, max(shape) // 2)
    assert min(thumbnail.width, thumbnail.height) >= 1


def test_a_raw_looks_like_its_rendering():
    """Grey shows at code 118, and the whole scene within two codes of a rendering with the sRGB curve."""
    camera = Camera()
    mosaic = camera.expose(paint(240, 360), 0.0, 100, np.random.default_rng(3))
    frame = mosaic_frame(mosaic)
    gains = {channel: 1 / response for channel, response in zip("rgb", camera.response, strict=True)}
    raw = rgb(draw(replace(frame, neutral=gains)))
    picture = rgb(draw(picture_frame(render(mosaic, camera))))
    assert raw.shape == picture.shape
    assert abs(raw[40, 60] - 118).max() <= 1
    assert abs(picture[40, 60] - 118).max() <= 1
    assert np.percentile(abs(raw - picture), 90) <= 2


@given(st.floats(0.0, 0.59) | st.just(1.0))
def test_tones_as_exposed(light):
    """Nothing is brightened: dark captures look dark, and saturation is white.

    (Brighter than 0.6, a flat picture without noise passes for a clipped one.)
    """
    codes = np.full((64, 64), round(BLACK + light * (WHITE - BLACK)), np.uint16)
    shown = rgb(draw(mosaic_frame(codes, MONO)))
    linear = min((codes[0, 0] - BLACK) / (WHITE - BLACK) * 0.18 * 78 / 10, 1.0)
    expected = 255 * (12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055)
    assert abs(shown - expected).max() <= 0.51


def test_a_picture_keeps_its_codes():
    """A finished picture is shown in its own codes, colours in their places; a grey one is grey."""
    picture = np.zeros((60, 90, 3), np.uint8)
    picture[...] = (200, 100, 50)
    assert (rgb(draw(picture_frame(picture))) == (200, 100, 50)).all()
    assert (rgb(draw(picture_frame(picture[:, :, 0]))) == 200).all()


@pytest.mark.parametrize("colour", [(0, 0), (0, 1), (1, 1)])
def test_clipping_of_any_channel_is_marked(colour):
    """Where one channel alone clips the place is marked, and only there."""
    codes = np.full((480, 720), 2000, np.uint16)
    codes[colour[0] : 240 : 2, 360 + colour[1] :: 2] = 16383
    thumbnail = draw(mosaic_frame(codes))
    expected = np.zeros((80, 120), np.uint8)
    expected[:40, 60:] = 1
    assert np.array_equal(marks(thumbnail), expected)


def test_marks_of_all_channels_are_shown_together():
    """Red clipped here and blue clipped there are both marked."""
    codes = np.full((480, 720), 2000, np.uint16)
    codes[:240:2, 0::2], codes[241::2, 1::2] = 16383, 16383
    assert marks(draw(mosaic_frame(codes))).all()


def test_the_saturation_that_was_found_counts():
    """Marks and tones go by the observed pile-up, below the metadata's white level."""
    rng = np.random.default_rng(4)
    light = np.full((480, 720), 0.2)
    light[:240] = 2.0
    thumbnail = draw(mosaic_frame(raw_codes(light, rng, well=0.8), BAYER))
    assert marks(thumbnail)[:39].mean() > 0.95
    assert not marks(thumbnail)[41:].any()
    # A quarter of saturation, 0.351 with grey at 18 %: code 160 (IEC 61966-2-1).
    assert rgb(thumbnail)[45:].mean() == pytest.approx(160, abs=0.5)


def test_the_metered_box_is_handed_on():
    """The rectangle to outline is the one that was metered, in the upright picture."""
    frame = mosaic_frame(np.full((60, 80), 3000, np.uint16))
    assert draw(frame, 6, Aim(area="card", box=CENTRE_BOX)).metered == CENTRE_BOX


@pytest.mark.parametrize("share", [0.09, 10 / 78, 0.2])
def test_the_grey_of_a_measured_body_is_drawn_as_mid_grey(share):
    """What a body's own grey card gives is code 118, wherever between black and saturation that lies."""
    frame = mosaic_frame(raw_codes(np.full((200, 300), share), np.random.default_rng(3)))
    known = Calibration("q24", {}, share)
    reading = meter_frame(frame, Aim(), Settings(), 1, known)
    assert reading.level_stops == pytest.approx(0.0, abs=0.02)
    assert rgb(make_thumbnail(frame, reading, 1, known))[..., 1].mean() == pytest.approx(118, abs=1.5)
