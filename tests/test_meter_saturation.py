"""Where a channel saturates: found in the picture where it clips below the metadata's word, never made up."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from meter_frames import BLACK, WHITE, mosaic_frame, picture_frame, raw_codes
from numpy.typing import NDArray

from tetherwatch.body.records import Calibration
from tetherwatch.exposure.settings import Settings
from tetherwatch.meter.reading import meter_frame
from tetherwatch.meter.records import Aim
from tetherwatch.meter.saturation import find_saturation

BODIES = {
    "14 bit": (512, 16383, 60_000),
    "12 bit": (256, 4095, 25_000),
    "16 bit": (1024, 65535, 95_000),
    "10 bit": (64, 1023, 8_000),
    "no black": (0, 4095, 40_000),
}
"""Black, white, electrons of the full well at base ISO."""

ISOS = (1, 4, 16, 64)
PIXELS = 100_000


def histogram(light, body, rng, *, iso=1, well=None, hot=0, above_white=False):
    """Counts of codes; `light` is 1 at the metadata's white, the well fills at `well`; read noise is 3 electrons."""
    black, white, full_well = BODIES[body]
    gain = (white - black) * iso / full_well
    electrons = rng.poisson(light * (white - black) / gain).astype(float)
    if well is not None:
        electrons = np.minimum(electrons, well * (white - black) / gain)
    codes = np.rint((electrons + rng.normal(0, 3, electrons.size)) * gain + black)
    codes = np.clip(codes, 0, 65535 if above_white else white).astype(np.int64)
    codes[:hot] = rng.integers(white - (white - black) // 50, white + 1, hot)
    return np.bincount(codes, minlength=1 << 16)


def unclipped_light(kind, pixels, rng):
    """Light of a scene in which nothing reaches white."""
    if kind == "bright wall":
        return np.full(pixels, rng.uniform(0.6, 0.9))
    if kind == "bright wall, dark rest":
        return np.where(rng.random(pixels) < rng.uniform(0.05, 0.6), rng.uniform(0.62, 0.9), rng.uniform(0.01, 0.3))
    if kind == "gradient":
        return np.linspace(rng.uniform(0, 0.5), rng.uniform(0.7, 0.95), pixels)
    if kind == "patches":
        return rng.choice(rng.uniform(0.02, 0.9, 24), pixels)
    x, y = rng.uniform(-1, 1, (2, pixels))
    return rng.uniform(0.7, 0.9) * np.exp(-(x * x + y * y) * rng.uniform(0.02, 0.5))


def clipping_light(pixels, share, rng):
    """Tones of a studio scene with a share of lamps and mirrors far above white."""
    light = np.exp(rng.normal(np.log(0.12), 0.9, pixels))
    light[rng.integers(0, pixels, int(share * pixels))] = rng.uniform(1.3, 4.0)
    return light


@pytest.mark.parametrize("kind", ["bright wall", "bright wall, dark rest", "gradient", "patches", "light falling off"])
@pytest.mark.parametrize("pixels", [PIXELS, 4000, 64])
def test_no_pile_up_is_made_up(kind, pixels):
    """Smooth bright surfaces are not taken for clipping, on any body, at any ISO, in any size."""
    rng = np.random.default_rng(11)
    for body in BODIES:
        black, white, _ = BODIES[body]
        for iso in ISOS:
            found = find_saturation(histogram(unclipped_light(kind, pixels, rng), body, rng, iso=iso), black, white)
            assert (found.code, found.pile_up) == (white, False), (body, iso)


@pytest.mark.parametrize("body", BODIES)
def test_a_gradient_that_ends_at_white_keeps_the_metadata(body):
    """A ramp up to the metadata's white level, with its noise cut off there, is no pile-up below it."""
    black, white, _ = BODIES[body]
    rng = np.random.default_rng(12)
    for iso in ISOS:
        found = find_saturation(histogram(np.linspace(0, 1.0, PIXELS), body, rng, iso=iso), black, white)
        assert (found.code, found.pile_up) == (white, False)


@pytest.mark.parametrize("body", BODIES)
def test_clipping_below_the_stated_white_is_found(body):
    """A well that fills before the last code is found within 1 % of the range, hot pixels above it or not.

    Over all simulated captures at most one in fifty is missed, and none is put in a wrong place.
    """
    black, white, _ = BODIES[body]
    rng = np.random.default_rng(13)
    missed = []
    for turn in range(50):
        well = rng.uniform(0.7, 0.98)
        light = clipping_light(PIXELS, 10 ** rng.uniform(-2.3, -0.5), rng)
        found = find_saturation(histogram(light, body, rng, well=well, hot=turn % 3), black, white)
        missed.append(not found.pile_up)
        if found.pile_up:
            assert found.code == pytest.approx(black + well * (white - black), abs=0.01 * (white - black))
    assert sum(missed) <= 1


@pytest.mark.parametrize("body", BODIES)
def test_clipping_at_the_stated_white_confirms_it(body):
    """Where the pile-up is where the metadata say, their exact word is kept."""
    black, white, _ = BODIES[body]
    rng = np.random.default_rng(14)
    for iso in ISOS:
        counts = histogram(clipping_light(PIXELS, 0.01, rng), body, rng, iso=iso)
        found = find_saturation(counts, black, white)
        assert (found.code, found.pile_up) == (white, False)


def test_a_white_level_stated_too_low_is_raised():
    """A pile-up above the metadata's white level is the saturation all the same."""
    rng = np.random.default_rng(15)
    for well in np.linspace(1.02, 1.3, 12):
        counts = histogram(clipping_light(PIXELS, 0.01, rng), "14 bit", rng, well=well, above_white=True)
        found = find_saturation(counts, BLACK, WHITE)
        assert found.pile_up
        assert found.code == pytest.approx(BLACK + well * (WHITE - BLACK), abs=0.01 * WHITE)


@given(st.integers(0, 40_000), st.integers(0, 2**32 - 1))
def test_the_place_on_the_code_scale_does_not_matter(shift, seed):
    """Pixels, black and white all moved by the same number of codes move the saturation by it."""
    rng = np.random.default_rng(seed)
    counts = histogram(clipping_light(5000, 0.05, rng), "14 bit", rng, well=rng.choice([0.8, 2.0]))
    moved = np.concatenate((np.zeros(shift, np.int64), counts))[: 1 << 16]
    here, there = find_saturation(counts, BLACK, WHITE), find_saturation(moved, BLACK + shift, WHITE + shift)
    assert (there.code - shift, there.pile_up) == (here.code, here.pile_up)


@pytest.mark.parametrize("code", [0, 511, 512, 600, 65535])
def test_a_picture_of_one_code_has_an_answer(code):
    """Nothing but black, and nothing but the last code, are answered like any other picture."""
    counts = np.zeros(1 << 16, np.int64)
    assert find_saturation(counts, BLACK, WHITE).code == WHITE
    counts[code] = 10_000
    found = find_saturation(counts, BLACK, WHITE)
    assert found.pile_up == (code == 65535)
    assert found.code == (65535 if found.pile_up else WHITE)


def test_a_ramp_without_noise_is_no_pile_up():
    """Where a smooth ramp ends below white, its last codes are no denser than those before them."""
    counts = np.zeros(1 << 16, np.int64)
    counts[int(BLACK) : 14_000] = 500
    assert not find_saturation(counts, BLACK, WHITE).pile_up


@pytest.mark.parametrize(("brighter", "pile_up"), [(0, True), (100, True), (500, False), (5000, False)])
def test_light_above_a_flat_patch_rules_clipping_out(brighter, pile_up):
    """A dense narrow tone is saturation only if next to nothing is brighter."""
    counts = np.zeros(1 << 16, np.int64)
    counts[2000], counts[13_000] = 90_000, 10_000
    counts[13_100:15_100:20] = brighter // 100
    assert find_saturation(counts, BLACK, WHITE).pile_up == pile_up


def test_hot_pixels_above_a_small_pile_up():
    """A few hot pixels in a large picture do not hide a small clipped lamp; as many in a small picture could."""
    for pixels, pile_up in ((1_000_000, True), (100_000, False)):
        counts = np.zeros(1 << 16, np.int64)
        counts[2000], counts[13_000], counts[16_000] = pixels, 200, 8
        assert find_saturation(counts, BLACK, WHITE).pile_up == pile_up


def test_each_channel_is_judged_by_itself():
    """Channels that clip in different places get different saturations; one that does not clip keeps the metadata."""
    rng = np.random.default_rng(16)
    light = rng.uniform(0.05, 0.5, (400, 600))
    light[:60, :60] = 3.0
    codes = raw_codes(light, rng, well=0.9)
    codes[0::2, 0::2] = raw_codes(light[0::2, 0::2], rng, well=0.8)
    codes[1::2, 1::2] = raw_codes(light[1::2, 1::2] / 4, rng, well=0.9)
    reading = meter_frame(mosaic_frame(codes), Aim(), Settings(), 1)
    assert reading.pile_up == ("r", "g")
    assert reading.saturation["r"] == pytest.approx(BLACK + 0.8 * (WHITE - BLACK), abs=20)
    assert reading.saturation["g"] == pytest.approx(BLACK + 0.9 * (WHITE - BLACK), abs=20)
    assert reading.saturation["b"] == WHITE
    assert reading.clipped_percent["r"] == pytest.approx(1.5, abs=0.02)
    assert reading.clipped_percent["g"] == pytest.approx(1.5, abs=0.02)
    assert reading.clipped_percent["b"] == 0


# ---- measured saturation


def surface(code: int, clipped_to: int | None = None) -> NDArray[np.uint16]:
    """A mosaic of one code, its left half clipped where that is asked for."""
    codes = np.random.default_rng(5).normal(code, 40, (200, 200)).round().astype(np.uint16)
    if clipped_to is not None:
        codes[:, :100] = clipped_to
    return codes


def test_a_measured_saturation_stands_for_the_metadata() -> None:
    """Without a pile-up in the picture, saturation is black plus the codes the profile measured, channel by channel."""
    known = Calibration("q24", {"g": 15000.0}, 10 / 78)
    reading = meter_frame(mosaic_frame(surface(3000)), Aim(), Settings(), 1, known)
    assert reading.saturation == {"r": WHITE, "g": BLACK + 15000.0, "b": WHITE}
    assert (reading.pile_up, reading.body) == ((), "q24")


def test_a_pile_up_overrules_a_measured_saturation() -> None:
    """Where the picture itself shows another saturation than the profile, the picture is believed."""
    known = Calibration("q24", dict.fromkeys("rgb", 15000.0), 10 / 78)
    reading = meter_frame(mosaic_frame(surface(3000, clipped_to=14000)), Aim(), Settings(), 1, known)
    assert reading.saturation == dict.fromkeys("rgb", 14000.0)
    assert reading.pile_up == ("r", "g", "b")


def test_a_measured_grey_is_where_the_level_is_zero() -> None:
    """A card at the profile's grey reads 0 stops, at twice that share +1; saturation counts from black."""
    known = Calibration("q24", {"g": 15000.0}, 0.1)
    for share, stops in ((0.1, 0.0), (0.2, 1.0)):
        codes = np.full((200, 200), BLACK + 15000 * share, np.uint16)
        reading = meter_frame(mosaic_frame(codes), Aim(area="card"), Settings(), 1, known)
        assert reading.level_stops == pytest.approx(stops, abs=1e-9)


def test_a_profile_does_not_bear_on_finished_pictures() -> None:
    """A JPEG of the body is read as ever: its curve has nothing to do with the sensor's figures."""
    picture = picture_frame(np.full((60, 60, 3), 118, np.uint8))
    known = Calibration("q24", dict.fromkeys("rgb", 100.0), 0.5)
    assert meter_frame(picture, Aim(), Settings(), 1, known) == meter_frame(picture, Aim(), Settings(), 1)
