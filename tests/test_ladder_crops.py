"""The parts of a picture that are shown: well chosen, at full resolution, in the right colours."""

import numpy as np
import pytest
from frame_files import BAYER, XTRANS
from ladder_frames import BLACK, FULL, GREY_SHARE, WHITE, Sensor, look, scene
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel, Frame, Site
from tetherwatch.ladder.crops import detail_boxes
from tetherwatch.ladder.look import look_at
from tetherwatch.ladder.records import PixelBox

CHANNELS: tuple[Channel, ...] = ("r", "g", "b")
MONO = ((0,),)


def frame(light: NDArray[np.float64], pattern: tuple[tuple[int, ...], ...]) -> Frame:
    """A frame of any colour pattern over light of the shape (rows, columns, 3), without noise."""
    pitch = len(pattern)
    mosaic = np.empty(light.shape[:2], np.uint16)
    sites = []
    for top, row in enumerate(pattern):
        for left, colour in enumerate(row):
            part = light[top::pitch, left::pitch, colour]
            mosaic[top::pitch, left::pitch] = np.rint(part * FULL + BLACK)
            channel = CHANNELS[colour] if pitch > 1 else "y"
            sites.append(Site(channel, mosaic[top::pitch, left::pitch], top, left, pitch, pitch, BLACK, WHITE))
    neutral: dict[Channel, float] = {"r": 2.0, "g": 1.0, "b": 1.5} if pitch > 1 else {"y": 1.0}
    return Frame("raw", "linear", tuple(sites), mosaic, *mosaic.shape, neutral)


def wall(colour: tuple[float, float, float]) -> NDArray[np.float64]:
    """An even wall with a step of a stop."""
    light = np.ones((480, 720, 3)) * colour
    light[:, 360:] /= 2
    return light


@pytest.mark.parametrize(
    ("pattern", "expected"), [(BAYER, (0.4, 0.2, 0.3)), (XTRANS, (0.4, 0.2, 0.3)), (MONO, (0.2,) * 3)]
)
def test_an_even_colour_is_that_colour_in_every_pixel(
    pattern: tuple[tuple[int, ...], ...], expected: tuple[float, ...]
) -> None:
    """For two-by-two, six-by-six and no colours: white balance applied, 1 at saturation."""
    seen = look_at([frame(wall((0.2, 0.2, 0.2)), pattern)], GREY_SHARE, None)
    assert {crop.part for crop in seen.crops} == {"dark", "bright", "detail"}
    for crop in seen.crops:
        assert crop.light.shape == (crop.box.height, crop.box.width, 3)
    bright = next(crop for crop in seen.crops if crop.part == "bright")
    assert bright.light[100, 100] == pytest.approx(expected, rel=0.01)
    assert np.ptp(bright.light[2:-2, 2:-2], axis=(0, 1)).max() < 0.01


def test_the_parts_are_dark_bright_and_detailed() -> None:
    """Three stops below grey, one and a half above it as near as the scene allows, and where the texture is."""
    seen = look(Sensor(), scene(960, 1440), 100, 1)
    means = {crop.part: float(crop.light[:, :, 1].mean()) for crop in seen.crops}
    assert np.log2(means["dark"] / GREY_SHARE) == pytest.approx(-3, abs=1)
    assert 0.3 < np.log2(means["bright"] / GREY_SHARE) < 2.5
    assert seen.places.crops["detail"].top >= 480


def test_windows_of_detail_do_not_overlap() -> None:
    """Four different parts, all in the texture."""
    seen = look(Sensor(), scene(960, 1440), 100, 1)
    boxes = detail_boxes(seen.texture, seen.noise[1].variance, FULL)
    assert len(boxes) == 4

    def apart(one: PixelBox, other: PixelBox) -> bool:
        return abs(one.left - other.left) >= one.width or abs(one.top - other.top) >= one.height

    assert all(apart(one, other) for i, one in enumerate(boxes) for other in boxes[:i])


def test_a_scene_without_detail_has_no_windows() -> None:
    """A wall without noise or texture shows nothing fine."""
    assert not look_at([frame(wall((0.2, 0.2, 0.2)), BAYER)] * 2, GREY_SHARE, None).places.windows
