"""A simulated stage in small pictures: a person before a backdrop, in any clothes, framing and light.

Lengths are in heads of the person, the origin is the middle of the face. Light is in stops as a light value: a grey
card in the key light lies at mid-grey when the settings' brightness is minus the key.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tetherwatch.exposure.light import light_value
from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.records import Channel
from tetherwatch.meter.records import Aim, AreaKind, Box, Reading, Thumbnail
from tetherwatch.meter.tone import PICTURE_GREY, linear_to_srgb, tone_histogram

Colour = tuple[float, float, float]
StageOdd = Literal["misfire", "weak", "cap", "card"]
Planes = NDArray[np.float64]

ROWS, COLUMNS = 48, 72
CHANNELS: tuple[Channel, ...] = ("r", "g", "b")
RESPONSE = (0.55, 1.0, 0.7)
"""Of the sensor's channels to neutral light."""

GREY = 0.18
SATURATION = 7.8
"""Saturation of a raw against mid-grey (ISO 12232)."""

HEADS = {"full": (8.6, 3.2), "half": (4.4, 1.1), "close": (1.9, 0.1)}
"""Height of the picture, and its middle below that of the face."""

SKIN, HAIR = (0.50, 0.31, 0.24), (0.05, 0.04, 0.035)
LEAST_FACE = 0.14
"""Height of a face in the picture, part of the picture's, from which it is found."""

LOST: dict[StageOdd, float] = {"misfire": -6.5, "weak": -1.6, "cap": -30.0}


@dataclass(frozen=True, slots=True)
class Lighting:
    """`key`: light value on the person; `behind`: light on the backdrop against it. `tint`: red and blue of all light
    against green. `aside`: fall from the left to the right, per head. All in stops."""

    key: float
    behind: float
    tint: tuple[float, float] = (0.0, 0.0)
    aside: float = 0.15


@dataclass(frozen=True, slots=True)
class Sight:
    """What stands before the camera: framing, where the person stands, clothes and backdrop. `card`: held before it."""

    framing: str
    right: float
    down: float
    top: Colour
    legs: Colour
    backdrop: Colour
    card: bool = False


def paint(lighting: Lighting, sight: Sight, odd: StageOdd | None, odd_stops: float) -> Planes:
    """Linear light of the three channels, 1 at the level of a grey card at brightness 0, shape (3, ROWS, COLUMNS)."""
    height, middle = HEADS[sight.framing]
    y, x = np.mgrid[0:ROWS, 0:COLUMNS]
    y = (y + 0.5) / ROWS * height - height / 2 + middle + sight.down
    x = ((x + 0.5) / COLUMNS - 0.5) * height * COLUMNS / ROWS + sight.right
    colours = np.empty((3, ROWS, COLUMNS))
    colours[...] = np.reshape(sight.backdrop, (3, 1, 1))
    stops = np.full((ROWS, COLUMNS), lighting.key + lighting.behind) - 0.03 * (x**2 + (y - 2) ** 2) ** 0.5
    for mask, colour in _person(x, y, sight):
        colours[:, mask] = np.reshape(colour, (3, 1))
        stops[mask] = lighting.key - lighting.aside * x[mask] - 0.05 * y[mask]
    stops += 0.06 * np.sin(5 * x) * np.sin(7 * y)
    if sight.card or odd == "card":
        card = _inside(Box(0.38, 0.38, 0.62, 0.62)) if odd != "card" else np.ones((ROWS, COLUMNS), bool)
        colours[:, card], stops[card] = GREY, lighting.key + (odd_stops if odd == "card" else 0.0)
    tints = np.reshape((lighting.tint[0], 0.0, lighting.tint[1]), (3, 1, 1))
    return colours / GREY * 2.0 ** (stops + tints + LOST.get(odd, 0.0) if odd else stops + tints)


def _person(x: Planes, y: Planes, sight: Sight) -> list[tuple[NDArray[np.bool_], Colour]]:
    head = (x / 0.38) ** 2 + (y / 0.5) ** 2 < 1
    return [
        ((np.abs(x) < 0.6) & (y > 3.1) & (y < 7), sight.legs),
        ((np.abs(x) < 0.22) & (y > 0.3) & (y < 0.8), SKIN),
        ((np.abs(x) < 0.95) & (y > 0.7) & (y <= 3.1), sight.top),
        ((x / 0.45) ** 2 + ((y + 0.1) / 0.56) ** 2 < 1, HAIR),
        (head & (y > -0.22), SKIN),
    ]


def _inside(box: Box) -> NDArray[np.bool_]:
    y, x = np.mgrid[0:ROWS, 0:COLUMNS]
    x, y = (x + 0.5) / COLUMNS, (y + 0.5) / ROWS
    return (x >= box.left) & (x < box.right) & (y >= box.top) & (y < box.bottom)


def read(
    aim: Aim, settings: Settings, planes: Planes, sight: Sight, balance: tuple[float, float]
) -> tuple[Reading, Thumbnail]:
    """What metering makes of a picture taken at these settings. `balance`: stops of the camera's own white balance."""
    brightness = settings.brightness_stops
    assert brightness is not None
    raw = np.minimum(planes * np.reshape(RESPONSE, (3, 1, 1)) * 2.0**brightness / SATURATION, 1.0)
    area, box = _area(aim, sight)
    weights = _weights(area, box)
    means = (raw * weights).sum(axis=(1, 2)) / weights.sum()
    light = {channel: float(mean) for channel, mean in zip(CHANNELS, means, strict=True)}
    level = math.log2(max(light["g"] * SATURATION, 2.0**-12))
    tones = tuple(_tones(channel, plane.ravel()) for channel, plane in zip(CHANNELS, raw, strict=True))
    area_tones = tuple(_tones(channel, plane[weights > 0]) for channel, plane in zip(CHANNELS, raw, strict=True))
    reading = Reading(
        source="raw",
        area=area,
        level_stops=level,
        offset_stops=level - aim.from_grey_stops,
        uncertainty_stops=0.03,
        clipped_percent={each.channel: each.clipped_percent_after(0.0) for each in tones},
        crushed_percent=100.0 * float(np.mean(raw < 2.0**-12)),
        area_clipped_percent=max(each.clipped_percent_after(0.0) for each in area_tones),
        headroom_stops=min(each.percentile(99.9) for each in tones),
        light_value=light_value(settings, level),
        saturation=dict.fromkeys(CHANNELS, 16383.0),
        pile_up=(),
        tones=tones,
        area_tones=area_tones,
        metered=box,
        channel_stops={channel: math.log2(max(value, 2.0**-14)) for channel, value in light.items()},
    )
    return reading, _thumbnail(raw, balance, box)


def _area(aim: Aim, sight: Sight) -> tuple[AreaKind, Box]:
    height, middle = HEADS[sight.framing]
    if aim.area in ("card", "box"):
        return aim.area, aim.box
    if aim.area != "face" or 1 / height < LEAST_FACE or sight.card:
        return "frame", Box(0.0, 0.0, 1.0, 1.0)
    x, y = 0.5 - sight.right / (height * COLUMNS / ROWS), 0.5 - (middle + sight.down) / height
    half_x, half_y = 0.26 / (height * COLUMNS / ROWS), 0.22 / height
    y += 0.1 / height
    return "face", Box(max(x - half_x, 0), max(y - half_y, 0), min(x + half_x, 1), min(y + half_y, 1))


def _weights(area: AreaKind, box: Box) -> Planes:
    if area != "frame":
        return _inside(box).astype(float)
    return 1.0 + _inside(Box(0.25, 0.25, 0.75, 0.75)) * 3.0


def _tones(channel: Channel, light: Planes):
    return tone_histogram(channel, np.ones(light.size, np.int64), np.maximum(light, 1e-9))


def _thumbnail(raw: Planes, balance: tuple[float, float], box: Box) -> Thumbnail:
    gains = [2.0**stops / response for stops, response in zip((balance[0], 0.0, balance[1]), RESPONSE, strict=True)]
    shown = linear_to_srgb(raw * np.reshape(gains, (3, 1, 1)) * SATURATION * PICTURE_GREY)
    rgb = np.round(np.moveaxis(shown, 0, -1) * 255).astype(np.uint8)
    return Thumbnail(COLUMNS, ROWS, rgb.tobytes(), bytes(ROWS * COLUMNS), box)
