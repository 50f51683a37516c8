"""The simulated sensor against the linear model it claims to follow."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tetherwatch.rehearse.camera import GREY_SHARE, PATTERN, Camera
from tetherwatch.rehearse.scene import CARD, inside, paint

CAMERA = Camera()
RANGE = CAMERA.white - CAMERA.black


def flat(reflectance: float, rows: int = 200, columns: int = 300) -> np.ndarray:
    """A scene of one grey."""
    return np.full((3, rows, columns), reflectance, np.float32)


def greens(mosaic: np.ndarray) -> np.ndarray:
    """The first green pixel of each cell, as float."""
    return mosaic[0::2, 1::2].astype(float)


@pytest.mark.parametrize("iso", [100, 400, 3200])
@pytest.mark.parametrize("offset", [-3.0, -1.0, 0.0, 1.0, 2.0])
def test_card_lands_where_the_offset_says(offset: float, iso: float) -> None:
    """The card's mean is 10/78 of saturation times 2^offset in green, and the response times that in red and blue."""
    cells = paint(200, 300)
    mosaic = CAMERA.expose(cells, offset, iso, np.random.default_rng(1))
    rows, columns = inside(CARD, 200, 300)
    for place, colour in enumerate(PATTERN):
        site = mosaic[place // 2 :: 2, place % 2 :: 2][rows, columns]
        wanted = CAMERA.black + RANGE * GREY_SHARE * 2**offset * CAMERA.response[colour]
        assert site.mean() == pytest.approx(wanted, abs=4 * site.std() / site.size**0.5)


@pytest.mark.parametrize("iso", [100, 800, 6400])
def test_photon_transfer_gives_back_gain_and_read_noise(iso: float) -> None:
    """Pairs of flat frames yield gain and read noise (EMVA 1288): var(a - b) / 2 = K signal + (K sigma)^2 + 1/12."""
    rng = np.random.default_rng(7)
    gain = CAMERA.gain(iso)
    signals, variances = [], []
    for offset in (-2.0, -1.0, 0.0, 1.0, 2.0):
        a, b = (greens(CAMERA.expose(flat(0.18, 400, 600), offset, iso, rng)) for _ in range(2))
        signals.append((a.mean() + b.mean()) / 2 - CAMERA.black)
        variances.append((a - b).var() / 2)
    slope = np.polyfit(signals, variances, 1, w=1 / np.array(variances))[0]
    assert slope == pytest.approx(gain, rel=0.02)

    dark = [greens(CAMERA.expose(flat(0.0, 400, 600), 0.0, iso, rng)) for _ in range(2)]
    dark_variance = (dark[0] - dark[1]).var() / 2 - 1 / 12
    assert np.sqrt(dark_variance) / gain == pytest.approx(CAMERA.read_noise_e(iso), rel=0.02)
    assert np.mean(dark) == pytest.approx(CAMERA.black, abs=4 * np.std(dark) / np.size(dark) ** 0.5)


def test_read_noise_falls_with_iso() -> None:
    """In electrons, noise behind the amplifier matters less the higher the gain, down to the part before it."""
    noises = [CAMERA.read_noise_e(iso) for iso in (100, 200, 400, 800, 25600)]
    assert noises == sorted(noises, reverse=True)
    assert noises[-1] == pytest.approx(CAMERA.early_noise_e, rel=0.01)


def test_neighbours_and_frames_are_independent() -> None:
    """Noise is not repeated between pixels, colour sites or frames."""
    rng = np.random.default_rng(3)
    a, b = (CAMERA.expose(flat(0.18), 0.0, 400, rng).astype(float) for _ in range(2))
    pairs = [(a[::2, ::2], a[1::2, 1::2]), (a[:-2], a[2:]), (a[:, :-2], a[:, 2:]), (a, b)]
    for one, other in pairs:
        one, other = one[::2, ::2].ravel(), other[::2, ::2].ravel()
        assert abs(np.corrcoef(one, other)[0, 1]) < 0.02


def test_codes_stay_within_black_and_white() -> None:
    """Overexposed parts stop at the white level, and darkness scatters around black without leaving the range."""
    bright = CAMERA.expose(flat(1.0), 6.0, 100, np.random.default_rng(1))
    dark = CAMERA.expose(flat(0.0), 0.0, 25600, np.random.default_rng(1))
    assert bright.min() == bright.max() == CAMERA.white
    assert dark.min() < CAMERA.black < dark.max()


def test_full_well_clips_before_the_converter() -> None:
    """Where the well is full below the last code, codes pile up at the well's level."""
    camera = replace(CAMERA, full_well_e=60_000.0)
    mosaic = camera.expose(flat(1.0), 6.0, 50, np.random.default_rng(1))
    assert mosaic.max() == mosaic.min() == camera.black + round(RANGE / 2)


@settings(max_examples=20)
@given(offset=st.floats(-4, 4), iso=st.sampled_from([50.0, 100.0, 1600.0]))
def test_clipped_percent_is_what_a_noise_free_count_gives(offset: float, iso: float) -> None:
    """The stated percent equals the count of pixels at the limit, but for the noise of pixels close to it."""
    cells = paint(100, 150)
    mosaic = CAMERA.expose(cells, offset, iso, np.random.default_rng(1))
    stated = CAMERA.clipped_percent(cells, offset, iso)
    limit_dn = CAMERA.black + CAMERA.gain(iso) * CAMERA.limit_e(iso)
    near = 1.15
    for name, colour, site in (("r", 0, mosaic[::2, ::2]), ("g", 1, mosaic[::2, 1::2]), ("b", 2, mosaic[1::2, 1::2])):
        signal = cells[colour] * CAMERA.response[colour] * CAMERA.electrons(offset, iso) / CAMERA.limit_e(iso)
        doubtful = 100 * ((signal > 1 / near) & (signal < near)).mean()
        counted = 100 * (site >= np.floor(limit_dn)).mean()
        assert abs(counted - stated[name]) <= doubtful + 1e-9


def test_scene_has_card_around_the_centre_box_and_published_skin() -> None:
    """The card covers the default metered box with room to spare; skin patches have 35 % and 10 % luminance factor."""
    cells = paint(400, 600)
    box = cells[:, 150:250, 225:375]
    assert np.all(box == np.float32(0.18))
    luminances = [
        np.tensordot((0.2126, 0.7152, 0.0722), cells[:, 80, 100], 1),
        np.tensordot((0.2126, 0.7152, 0.0722), cells[:, 160, 100], 1),
    ]
    assert luminances == pytest.approx([0.35, 0.10], abs=0.003)
    assert cells.max() > 1
    assert cells.min() < 0.005


def test_texture_is_fine_and_keeps_the_mean() -> None:
    """The cloth varies from cell to cell around its own reflectance."""
    cloth = paint(400, 600)[1, 230:360, 60:170]
    assert cloth.mean() == pytest.approx(0.13, rel=0.02)
    assert np.abs(np.diff(cloth, axis=0)).mean() > 0.01
