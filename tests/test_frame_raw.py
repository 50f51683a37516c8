"""Raw files through the decoder."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from frame_files import BAYER, BLACK, LEVELS, WHITE, XTRANS, coloured, with_margins, write_raw

from tetherwatch.frame.faults import CaptureError, Fault
from tetherwatch.frame.raw import BLACK_DOUBTED, DEVELOPED, decoded_frame, open_raw
from tetherwatch.frame.records import Frame

MARGINS = [(0, 0), (1, 0), (0, 1), (3, 5), (7, 2), (20, 13)]


def _assert_colours(frame: Frame) -> None:
    for site in frame.sites:
        assert set(site.values.flat) == {LEVELS[site.channel]}


@pytest.mark.parametrize(("top", "left"), MARGINS)
@pytest.mark.parametrize(("pattern", "sites"), [(BAYER, 4), (XTRANS, 36)])
def test_colours_are_where_the_visible_picture_has_them(
    tmp_path: Path, pattern: tuple[tuple[int, ...], ...], sites: int, top: int, left: int
) -> None:
    """Even or odd, margins do not shift the pattern, and none of their pixels is metered."""
    path = tmp_path / "a.dng"
    write_raw(path, with_margins(coloured(120, 180, pattern), top, left, BLACK), pattern, top=top, left=left)
    with open_raw(path) as frame:
        assert len(frame.sites) == sites
        assert {site.channel for site in frame.sites} == {"r", "g", "b"}
        _assert_colours(frame)
        assert sum(site.values.size for site in frame.sites) == frame.height * frame.width
        assert 120 - frame.height in (0, 1)
        assert frame.notes == ()


def test_levels_and_neutral(tmp_path: Path) -> None:
    """Black and white are the file's codes by channel; neutral gains are relative to green."""
    path = tmp_path / "a.dng"
    write_raw(path, coloured(120, 180, BAYER), black=(500, 510, 520, 530), white=15000)
    with open_raw(path) as frame:
        assert [site.black for site in frame.sites] == [500, 510, 520, 530]
        assert {site.white for site in frame.sites} == {15000}
        assert (frame.source, frame.curve, frame.fault) == ("raw", "linear", None)
        assert frame.neutral == pytest.approx({"r": 2.0, "g": 1.0, "b": 1.5})


def test_monochrome_is_one_site(tmp_path: Path) -> None:
    """A sensor without colours gives one site at full resolution."""
    path = tmp_path / "a.dng"
    write_raw(path, np.full((120, 180), 4000, np.uint16), ((0,),))
    with open_raw(path) as frame:
        (site,) = frame.sites
        assert (site.channel, site.values.shape, site.pitch_y, site.black) == ("y", (120, 180), 1, BLACK)
        assert frame.neutral == {"y": 1.0}


def test_three_planes_are_three_sites(tmp_path: Path) -> None:
    """Finished colour planes are metered each, with their own black, and said to be approximate."""
    path = tmp_path / "a.dng"
    stack = np.dstack([np.full((120, 180), LEVELS[c], np.uint16) for c in "rgb"])
    write_raw(path, stack, black=(100, 200, 300))
    with open_raw(path) as frame:
        assert [(site.channel, site.black, site.values.shape) for site in frame.sites] == [
            ("r", 100, (120, 180)),
            ("g", 200, (120, 180)),
            ("b", 300, (120, 180)),
        ]
        _assert_colours(frame)
        assert frame.notes == (DEVELOPED,)


def test_margin_that_contradicts_black_is_noted(tmp_path: Path) -> None:
    """A masked margin far from the stated black level is said, and the stated level kept."""
    path = tmp_path / "a.dng"
    write_raw(path, with_margins(coloured(120, 180, BAYER), 16, 32, 1500), top=16, left=32)
    with open_raw(path) as frame:
        assert frame.notes == (BLACK_DOUBTED,)
        assert {site.black for site in frame.sites} == {BLACK}


def test_sites_are_views(tmp_path: Path) -> None:
    """No pixel is copied: sites share the decoder's memory."""
    path = tmp_path / "a.dng"
    write_raw(path, coloured(120, 180, BAYER))
    with open_raw(path) as frame:
        assert all(site.values.base is not None and not site.values.flags.owndata for site in frame.sites)


def test_blank_data_are_a_fault(tmp_path: Path) -> None:
    """Data of zeros are no black frame, and a blank tail is a file cut short."""
    path = tmp_path / "a.dng"
    for first_blank, fault in ((110, Fault.CUT_SHORT), (0, Fault.BLANK)):
        mosaic = coloured(120, 180, BAYER)
        mosaic[first_blank:] = 0
        write_raw(path, mosaic)
        with pytest.raises(CaptureError) as caught, open_raw(path):
            pass
        assert caught.value.fault is fault


def test_real_black_frame_is_metered(tmp_path: Path) -> None:
    """A frame shot with the cap on has noise around black, and is a raw like any other."""
    path = tmp_path / "a.dng"
    write_raw(path, np.random.default_rng(2).normal(BLACK, 4, (120, 180)).astype(np.uint16))
    with open_raw(path) as frame:
        assert frame.source == "raw"


def _decoder(image: Any, **changes: Any) -> Any:
    height, width = image.shape[:2]
    fields = {
        "sizes": SimpleNamespace(height=height, width=width, top_margin=0, left_margin=0),
        "raw_image": image,
        "raw_image_visible": image,
        "raw_color": lambda row, column: ((0, 1), (3, 2))[row % 2][column % 2],
        "color_desc": b"RGBG",
        "num_colors": 3,
        "black_level_per_channel": [BLACK] * 4,
        "white_level": WHITE,
        "camera_white_level_per_channel": None,
        "camera_whitebalance": [2.0, 1.0, 1.5, 0.0],
        "daylight_whitebalance": [3.0, 1.0, 1.0, 0.0],
    }
    return SimpleNamespace(**(fields | changes))


FLAT = np.full((32, 48), 4000, np.uint16)


@pytest.mark.parametrize(
    ("stated", "expected"),
    [
        (None, {WHITE}),
        ([15360, 15300, 15200, 15300], {15360, 15300, 15200}),
        ([0, 0, 0, 0], {WHITE}),
        ([100, 100, 100, 100], {WHITE}),
        ([60000] * 4, {WHITE}),
        ([15360, 15360, 15360, 0], {15360, WHITE}),
    ],
)
def test_stated_white_is_used_where_plausible(stated: list[int] | None, expected: set[int]) -> None:
    """The file's own saturation counts where it is above black and fits the data's bits."""
    frame = decoded_frame(_decoder(FLAT, camera_white_level_per_channel=stated))
    assert {site.white for site in frame.sites} == expected


def test_white_at_black_is_refused() -> None:
    """Levels that leave no range between them are refused with a reason."""
    with pytest.raises(CaptureError) as caught:
        decoded_frame(_decoder(FLAT, white_level=BLACK))
    assert caught.value.fault is Fault.UNSUPPORTED
    assert caught.value.detail


@pytest.mark.parametrize(
    ("camera", "daylight", "red"),
    [
        ([2.0, 1.0, 1.5, 0.0], [3.0, 1.0, 1.0, 0.0], 2.0),
        ([0.0, 0.0, 0.0, 0.0], [3.0, 1.0, 1.0, 0.0], 3.0),
        ([float("nan")] * 4, [0.0] * 4, 1.0),
        ([1024.0, 512.0, 700.0, 512.0], [0.0] * 4, 2.0),
    ],
)
def test_neutral_falls_back(camera: list[float], daylight: list[float], red: float) -> None:
    """Gains come from the shot, else from daylight, else are one; green is always one."""
    frame = decoded_frame(_decoder(FLAT, camera_whitebalance=camera, daylight_whitebalance=daylight))
    assert (frame.neutral["r"], frame.neutral["g"]) == (red, 1.0)


def test_four_planes_by_their_description() -> None:
    """Four colours are four sites; with three, the empty fourth plane is left out."""
    stack = np.dstack([FLAT, FLAT, FLAT, FLAT])
    four = decoded_frame(_decoder(stack, num_colors=4))
    three = decoded_frame(_decoder(stack, num_colors=3))
    assert [site.channel for site in four.sites] == ["r", "g", "b", "g"]
    assert [site.channel for site in three.sites] == ["r", "g", "b"]


@pytest.mark.parametrize(
    "changes",
    [
        {"color_desc": b"GMCY"},
        {"color_desc": b"RGBE"},
        {"raw_color": lambda row, column: (row * row + column) // 7 % 3},
        {"raw_image_visible": np.dstack([FLAT] * 3), "num_colors": 2},
    ],
)
def test_strange_sensors_are_refused_with_a_reason(changes: dict[str, Any]) -> None:
    """Colours other than red, green and blue, or no pattern, are refused rather than misread."""
    with pytest.raises(CaptureError) as caught:
        decoded_frame(_decoder(FLAT, **changes))
    assert caught.value.fault is Fault.UNSUPPORTED
    assert caught.value.detail
