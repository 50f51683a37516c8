"""A frame becomes a reading: against known light, through real files, and where there is nothing to measure."""

import math
from dataclasses import fields, replace
from datetime import datetime, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from meter_frames import BAYER, BLACK, MONO, PATTERNS, UPRIGHT, WHITE, XTRANS, mosaic_frame, picture_frame, raw_codes

from tetherwatch.exposure.light import RAW_GREY
from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.load import open_frame
from tetherwatch.meter.reading import meter_frame
from tetherwatch.meter.records import CENTRE_BOX, WHOLE_BOX, Aim, Box
from tetherwatch.meter.tone import PICTURE_GREY
from tetherwatch.rehearse.camera import Camera
from tetherwatch.rehearse.dng import write_dng
from tetherwatch.rehearse.jpeg import render
from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.scene import paint
from tetherwatch.rehearse.session import rehearse

CARD_AIM = Aim(area="card", box=CENTRE_BOX)
CAMERA = Camera()
CELLS = paint(300, 450)
EVENING = datetime(2025, 3, 1, 18, 0, tzinfo=timezone.utc)
SEEDS = st.integers(0, 2**32 - 1)
KNOWN = Settings(shutter_s=2.0**-8, aperture=2.0**1.5, iso=400.0)


def meter(frame, aim=CARD_AIM, settings=KNOWN, orientation=1):
    return meter_frame(frame, aim, settings, orientation)


def studio(seed, height=60, width=80):
    """Codes of a picture with many tones, some of them clipped."""
    rng = np.random.default_rng(seed)
    return raw_codes(np.exp2(rng.normal(-3, 1.5, (height, width))), rng)


def numbers(reading):
    """Every plain number of a reading."""
    values = [getattr(reading, field.name) for field in fields(reading)]
    values += [*reading.clipped_percent.values(), *reading.saturation.values()]
    return [value for value in values if isinstance(value, float)]


# ---- against known light


@pytest.mark.parametrize("iso", [100, 800, 6400])
def test_card_of_a_raw_against_the_truth(iso):
    """Over seeded captures the offset of a grey card differs from the truth by no more than 0.03 stop."""
    rng = np.random.default_rng(iso)
    for offset in rng.uniform(-5, 2.4, 25):
        reading = meter(mosaic_frame(CAMERA.expose(CELLS, offset, iso, rng)))
        assert reading.offset_stops == pytest.approx(offset, abs=0.03)
        assert abs(reading.offset_stops - offset) <= 2 * reading.uncertainty_stops
        assert 0.03 <= reading.uncertainty_stops < 0.1


@pytest.mark.parametrize("iso", [100, 800, 6400])
def test_card_of_a_picture_against_the_truth(iso):
    """A picture rendered with the sRGB curve is right to 0.10 stop, and says that it may be less so."""
    rng = np.random.default_rng(iso)
    for offset in rng.uniform(-4, 2.2, 15):
        reading = meter(picture_frame(render(CAMERA.expose(CELLS, offset, iso, rng), CAMERA)))
        assert reading.offset_stops == pytest.approx(offset, abs=0.10)
        assert reading.uncertainty_stops >= 0.2


@pytest.mark.parametrize("files", ["dng", "jpeg"])
def test_rehearsed_files_against_their_truth(tmp_path, files):
    """Real files, decoded, give their truth back: the card, the clipped percent and the light."""
    options = Options(scene="moves", frames=5, files=files, megapixels=0.5, light="continuous", seed=7)
    for truth in rehearse(tmp_path, options, EVENING):
        with open_frame(tmp_path / truth.file) as frame:
            reading = meter(frame, settings=truth.settings)
        assert reading.offset_stops == pytest.approx(truth.offset_stops, abs=0.03 if files == "dng" else 0.10)
        assert reading.light_value == pytest.approx(reading.level_stops - truth.settings.brightness_stops)
        assert reading.source == ("raw" if files == "dng" else "jpeg")
        assert reading.pile_up == ()
        if files == "dng":
            assert {c: reading.clipped_percent[c] for c in "rgb"} == pytest.approx(truth.clipped_percent, abs=0.15)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_file_is_metered_in_the_upright_picture(tmp_path, orientation):
    """A box of the upright picture finds the same paper in a file stored in any of the eight orientations."""
    upright = np.full((200, 300), 3000, np.uint16)
    upright[20:80, 30:150] = 9000
    # The stored picture is the one that this code turns upright; turning a flat pattern needs no care for colours.
    inverse = {6: 8, 8: 6}.get(orientation, orientation)
    stored = np.ascontiguousarray(UPRIGHT[inverse](upright))
    preview = np.zeros((*(side // 2 for side in stored.shape), 3), np.uint8)
    path = tmp_path / "turned.dng"
    write_dng(path, stored, black=512, white=16383, compressed=False, preview=preview, orientation=orientation)
    with open_frame(path) as frame:
        reading = meter(frame, Aim(area="box", box=Box(0.12, 0.12, 0.48, 0.38)), orientation=orientation)
    assert reading.level_stops == pytest.approx(math.log2((9000 - 512) / 15871 / RAW_GREY), abs=1e-6)


# ---- exposure and black


@given(SEEDS, st.sampled_from(["frame", "card", "box"]), st.sampled_from(PATTERNS))
def test_twice_the_light_is_one_stop(seed, area, pattern):
    """Doubling every signal raises level, offset and light by one stop and leaves one stop less headroom."""
    signal = np.random.default_rng(seed).integers(200, 6000, (24, 30))
    once, twice = (meter(mosaic_frame((k * signal + BLACK).astype(np.uint16), pattern), Aim(area=area)) for k in (1, 2))
    assert twice.level_stops - once.level_stops == pytest.approx(1)
    assert twice.offset_stops - once.offset_stops == pytest.approx(1)
    assert twice.light_value - once.light_value == pytest.approx(1)
    assert once.headroom_stops - twice.headroom_stops == pytest.approx(1, abs=1 / 12)


@given(SEEDS, st.integers(1, 40_000), st.sampled_from(["frame", "card"]))
def test_a_pedestal_changes_nothing(seed, shift, area):
    """Pixels, black and white all moved by a constant give the same reading, saturation apart."""
    codes = studio(seed)
    here = meter(mosaic_frame(codes), Aim(area=area))
    moved = mosaic_frame((codes + np.uint16(shift)).astype(np.uint16), black=BLACK + shift, white=WHITE + shift)
    there = meter(moved, Aim(area=area))
    assert {c: code - shift for c, code in there.saturation.items()} == pytest.approx(here.saturation)
    assert there.level_stops == pytest.approx(here.level_stops, abs=1e-9)
    assert there.crushed_percent == pytest.approx(here.crushed_percent)
    assert (there.tones, there.area_tones) == (here.tones, here.area_tones)
    assert (there.clipped_percent, there.notes) == (here.clipped_percent, here.notes)


@given(SEEDS, st.integers(1, 8), st.integers(1, 8))
def test_orientation_does_not_move_the_numbers_of_the_whole(seed, one, other):
    """Metered as a whole, a picture reads the same whichever way it is to be turned."""
    frame = mosaic_frame(studio(seed))
    assert meter(frame, Aim(), orientation=one) == meter(frame, Aim(), orientation=other)


@given(SEEDS, st.floats(-3, 3))
def test_the_aim_moves_the_offset_only(seed, from_grey):
    """An aim away from grey shifts the offset; level, light and tones stay."""
    frame = mosaic_frame(studio(seed))
    grey, moved = meter(frame), meter(frame, replace(CARD_AIM, from_grey_stops=from_grey))
    assert moved.offset_stops == pytest.approx(grey.level_stops - from_grey)
    assert replace(moved, offset_stops=grey.offset_stops) == grey


def test_the_light_is_the_same_whatever_the_settings():
    """Grey at 1/250, f/2.8, ISO 400 is light of 8 + 3 - 2 = 9; an unknown setting leaves it unknown."""
    code = np.uint16(round(BLACK + RAW_GREY * (WHITE - BLACK)))
    frame = mosaic_frame(np.full((16, 16), code, np.uint16))
    assert meter(frame).light_value == pytest.approx(9, abs=0.001)
    assert meter(frame, settings=replace(KNOWN, iso=200.0)).light_value == pytest.approx(10, abs=0.001)
    assert meter(frame, settings=replace(KNOWN, iso=None)).light_value is None


# ---- areas


def test_the_box_alone_is_metered():
    """What lies outside the box does not move its level or its clipping."""
    codes = np.full((200, 300), 16383, np.uint16)
    codes[80:120, 120:180] = 4000
    reading = meter(mosaic_frame(codes), Aim(area="box", box=CENTRE_BOX))
    assert reading.level_stops == pytest.approx(math.log2((4000 - 512) / 15871 / RAW_GREY))
    assert reading.area_clipped_percent == 0
    assert reading.clipped_percent["g"] == pytest.approx(96)
    assert reading.metered == CENTRE_BOX
    assert sum(tone.total for tone in reading.area_tones) == 40 * 60


def test_lettering_on_a_card_does_not_count():
    """A card leaves out its darkest and brightest tenth; a box does not."""
    codes = np.full((200, 300), 2547, np.uint16)
    codes[80:120, 120:125] = 512
    card, box = (meter(mosaic_frame(codes), Aim(area=area)).level_stops for area in ("card", "box"))
    assert card == pytest.approx(0, abs=0.001)
    assert box == pytest.approx(math.log2(55 / 60), abs=0.001)


def test_the_frame_is_weighted_to_its_centre():
    """The inner ninth counts 0.5, the ring around it 0.3, the rest 0.2."""
    for spot, weight in (((slice(100, 200), slice(150, 300)), 0.5), ((slice(0, 50), slice(0, 450)), 0.2 * 0.3)):
        codes = np.full((300, 450), 512 + 1000, np.uint16)
        codes[spot] += np.uint16(1000)
        level = meter(mosaic_frame(codes), Aim()).level_stops
        assert level == pytest.approx(math.log2((1000 * (1 + weight)) / 15871 / RAW_GREY), abs=0.002)


def test_without_a_face_the_frame_is_metered():
    """A plan that asks for a face where there is none gets the centre-weighted frame, and is told so."""
    frame = mosaic_frame(studio(1))
    face, whole = meter_frame(frame, Aim(area="face"), KNOWN, 1, faces=()), meter(frame, Aim())
    assert "no face" in face.notes[0] and "centre-weighted frame" in face.notes[0]
    assert replace(face, notes=face.notes[1:], card_stops=None) == whole
    assert (face.area, face.metered) == ("frame", WHOLE_BOX)


@given(SEEDS, st.sampled_from(PATTERNS), st.integers(16, 50), st.integers(16, 50))
def test_tones_hold_every_pixel_once(seed, pattern, height, width):
    """Tone histograms add up to the number of pixels, of each channel and of the picture."""
    frame = mosaic_frame(studio(seed, height, width), pattern)
    reading = meter(frame)
    sizes = {}
    for site in frame.sites:
        sizes[site.channel] = sizes.get(site.channel, 0) + site.values.size
    assert {tone.channel: tone.total for tone in reading.tones} == sizes
    assert sum(sizes.values()) == height * width


def test_headroom_is_that_of_the_brightest_channel():
    """Headroom runs from the 99.9th percentile of the brightest channel to saturation; fewer pixels do not count."""
    codes = np.full((200, 200), 1000, np.uint16)
    codes[0::2, 0::2] = 512 + round(15871 / 4)
    codes[0, 1:18:2] = 16383
    reading = meter(mosaic_frame(codes))
    assert reading.headroom_stops == pytest.approx(2, abs=1 / 12)
    codes[0, 1:200:2] = 16383
    assert meter(mosaic_frame(codes)).headroom_stops == 0


# ---- nothing to measure


@examples(max_examples=40)
@given(
    st.sampled_from([BAYER, XTRANS, MONO]),
    st.sampled_from([0, 511, 512, 513, 16383, 65535]),
    st.integers(16, 40),
    st.integers(16, 40),
    st.sampled_from(["frame", "card", "box", "face"]),
    st.sampled_from([0.0, 512.0]),
)
def test_any_flat_raw_is_read(pattern, code, height, width, area, black):
    """Black, all zero, all clipped, however small: finite numbers, and the bound is named as such."""
    reading = meter(mosaic_frame(np.full((height, width), code, np.uint16), pattern, black=black), Aim(area=area))
    assert all(math.isfinite(number) for number in numbers(reading))
    dark = code <= black
    assert any("black" in note for note in reading.notes) == dark
    assert any("clipped" in note for note in reading.notes) == (code >= WHITE)
    if dark:
        assert (reading.crushed_percent, reading.headroom_stops) == (100, 14)
        assert reading.level_stops < -11
    if code >= WHITE:
        assert reading.level_stops == pytest.approx(math.log2(78 / 10))
        assert (reading.area_clipped_percent, reading.headroom_stops) == (100, 0)
        assert reading.uncertainty_stops > 2


@pytest.mark.parametrize("shape", [(16, 16), (16, 16, 3), (17, 31, 3)])
@pytest.mark.parametrize("code", [0, 1, 118, 255])
@pytest.mark.parametrize("area", ["frame", "card"])
def test_any_flat_picture_is_read(shape, code, area):
    """Small pictures of one tone, grey or in colour, give finite numbers; code 118 is mid-grey."""
    reading = meter(picture_frame(np.full(shape, code, np.uint8)), Aim(area=area))
    assert all(math.isfinite(number) for number in numbers(reading))
    assert any("black" in note for note in reading.notes) == (code == 0)
    if code == 118:
        assert reading.level_stops == pytest.approx(math.log2(0.181164 / PICTURE_GREY), abs=1e-4)
    if code == 255:
        assert reading.area_clipped_percent == 100


def test_clipping_makes_a_level_uncertain():
    """The more of the area is clipped, the less sure its level, and from 2 % on a note says so."""
    readings = []
    for clipped_rows in (0, 1, 10, 20, 40):
        codes = np.full((200, 300), 4000, np.uint16)
        codes[80 : 80 + clipped_rows] = 16383
        readings.append(meter(mosaic_frame(codes), Aim(area="box")))
    uncertainties = [reading.uncertainty_stops for reading in readings]
    assert uncertainties == sorted(uncertainties)
    assert uncertainties[-1] > 2 and uncertainties[0] < 0.05
    assert [bool(reading.notes) for reading in readings] == [False, True, True, True, True]
    assert readings[2].notes == ("25 % of the metered area is clipped: it is at least this bright",)


def test_a_dark_frame_of_noise_is_a_bound():
    """A frame taken with the cap on, all read noise around black, is called black and mostly crushed."""
    rng = np.random.default_rng(8)
    reading = meter(mosaic_frame(raw_codes(np.zeros((300, 400)), rng, read_noise_e=12.0)))
    assert reading.level_stops < -9
    assert reading.uncertainty_stops > 1
    assert reading.crushed_percent == pytest.approx(84, abs=5)
