"""Portraits of a simulated studio: real faces out of packages, set before a backdrop and taken by the simulated camera.

The pictures: an official portrait of NASA's (public domain, in scikit-image) and one of the US Navy's (public domain,
in matplotlib). They are taken back to linear light through the sRGB curve; eyes were marked by hand.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import matplotlib
import numpy as np
import skimage.data
from numpy.typing import NDArray
from PIL import Image

from tetherwatch.meter.tone import linear_to_srgb, srgb_to_linear
from tetherwatch.rehearse.camera import PATTERN, Camera
from tetherwatch.rehearse.dng import write_dng
from tetherwatch.rehearse.scene import GREY

Light = NDArray[np.float32]
Place = tuple[float, float]

FACE_HEIGHTS = 2.85
"""Height of a face, from the hairline to the chin, in distances between the eyes (of the two pictures)."""

_HEAD = (1.7, 2.1)
_SKIN = (1.1, 1.75)
_SKIN_DOWN = 0.4
"""Half axes of ellipses around head and skin, and how far the middle of the skin is below the eyes."""

_FEATHER = 0.12
_SHOULDERS_DOWN = 1.9


@dataclass(frozen=True, slots=True)
class Sitter:
    """A picture in linear light (rows x columns x 3) with its eyes, in pixels (x, y)."""

    light: Light
    left_eye: Place
    right_eye: Place


@dataclass(frozen=True, slots=True)
class Pose:
    """How a sitter is placed. `height_px`: of the face, in pixels of the sensor; `middle`: of the eyes, as parts of the
    picture. `darker_stops` darkens the skin, `fill_stops` the side of it that is right in the picture. `backdrop` and
    `wardrobe` are reflectances."""

    height_px: float = 320.0
    tilt_deg: float = 0.0
    middle: Place = (0.5, 0.4)
    darker_stops: float = 0.0
    fill_stops: float = 0.0
    backdrop: float = 0.18
    wardrobe: float = 0.05


@dataclass(frozen=True, slots=True)
class Portrait:
    """A scene (3 x rows x columns of cells, reflectance) with the true places of the eyes, as parts of the picture."""

    cells: Light
    left_eye: Place
    right_eye: Place


@cache
def sitters() -> Mapping[str, Sitter]:
    """The people, by the package that their picture is in."""
    navy = Path(matplotlib.get_data_path(), "sample_data", "grace_hopper.jpg")
    with Image.open(navy) as image:
        hopper = np.asarray(image.convert("RGB"))
    return {
        "scikit-image": Sitter(0.71 * _linear(skimage.data.astronaut()), (203.7, 100.8), (246.7, 103.3)),
        "matplotlib": Sitter(_linear(hopper), (222.5, 190.0), (305.0, 187.0)),
    }


def _linear(picture: NDArray[np.uint8]) -> Light:
    return srgb_to_linear(picture / 255.0).astype(np.float32)


def portrait(sitter: Sitter, pose: Pose, width: int = 1600, height: int = 1068, seed: int = 1) -> Portrait:
    """A scene for a sensor of this many pixels."""
    columns, rows = width // 2, height // 2
    middle = np.array(pose.middle) * (columns, rows)
    across = _rotated(pose.height_px / 2 / FACE_HEIGHTS, pose.tilt_deg)
    u, v = _places(columns, rows, middle, across)
    texture = np.random.default_rng(seed).normal(1.0, 0.03, (rows, columns)).astype(np.float32)
    scene = np.repeat((pose.backdrop * texture)[np.newaxis], 3, axis=0)
    shoulders = _soft(np.minimum(v - _SHOULDERS_DOWN, np.minimum(1.0 + v - _SHOULDERS_DOWN, 3.2) - np.abs(u)))
    scene += shoulders * (pose.wardrobe * texture - scene)
    head = _soft(1 - np.hypot(u / _HEAD[0], v / _HEAD[1]))
    skin = _soft(1 - np.hypot(u / _SKIN[0], (v - _SKIN_DOWN) / _SKIN[1]))
    shade = 2.0 ** (-pose.darker_stops * skin - pose.fill_stops * head / (1 + np.exp(np.clip(-8 * u, -50, 50))))
    scene += head * (_drawn(sitter, columns, rows, middle, across) * shade - scene)
    left, right = ((middle + sign * across / 2) / (columns, rows) for sign in (-1, 1))
    return Portrait(scene.astype(np.float32), (float(left[0]), float(left[1])), (float(right[0]), float(right[1])))


def _rotated(length: float, degrees: float) -> NDArray[np.float64]:
    angle = math.radians(degrees)
    return np.array([math.cos(angle), math.sin(angle)]) * length


def _places(columns: int, rows: int, middle: NDArray[np.float64], across: NDArray[np.float64]) -> tuple[Light, Light]:
    """How far across and down the face each cell lies, in distances between the eyes."""
    x = np.arange(columns) + 0.5 - middle[0]
    y = (np.arange(rows) + 0.5 - middle[1])[:, np.newaxis]
    square = float(across @ across)
    u = (x * across[0] + y * across[1]) / square
    v = (y * across[0] - x * across[1]) / square
    return u.astype(np.float32), v.astype(np.float32)


def _soft(depth: Light) -> Light:
    """1 well inside, 0 outside."""
    edge: Light = np.clip(depth / _FEATHER, 0.0, 1.0)
    return edge


def _drawn(sitter: Sitter, columns: int, rows: int, middle: NDArray[np.float64], across: NDArray[np.float64]) -> Light:
    """The sitter's picture (3 x rows x columns) turned and scaled so that the eyes come to lie where they should."""
    left, right = np.array(sitter.left_eye), np.array(sitter.right_eye)
    size = np.array(sitter.light.shape[1::-1])
    reduced = min(1.0, float(np.hypot(*across) / np.hypot(*(right - left))))
    small = np.maximum(np.rint(size * reduced), 1).astype(int)
    step, home = (right - left) * small / size, (left + right) / 2 * small / size
    square = float(across @ across)
    a, b = float(step @ across) / square, float(step[0] * across[1] - step[1] * across[0]) / square
    affine = (a, b, home[0] - a * middle[0] - b * middle[1], -b, a, home[1] + b * middle[0] - a * middle[1])
    planes = [
        Image.fromarray(np.ascontiguousarray(plane))
        .resize((int(small[0]), int(small[1])), Image.Resampling.BOX)
        .transform((columns, rows), Image.Transform.AFFINE, affine, Image.Resampling.BILINEAR)
        for plane in np.moveaxis(sitter.light, -1, 0)
    ]
    return np.stack([np.asarray(plane) for plane in planes])


def ratio_stops(scene: Portrait) -> float:
    """How much brighter the left side of the face is than the right one, in stops, without noise."""
    left, right = (_side_light(scene, sign) for sign in (-1, 1))
    return math.log2(left / right)


def skin_stops(scene: Portrait) -> float:
    """Light of the face against mid-grey, in stops, without noise: both sides count alike."""
    return math.log2(sum(_side_light(scene, sign) for sign in (-1, 1)) / 2 / GREY)


def _side_light(scene: Portrait, sign: int) -> float:
    """The middle half of a grid of places, laid out from the true eyes as the meter does from those found."""
    _, rows, columns = scene.cells.shape
    left, right = (np.array(eye) * (columns, rows) for eye in (scene.left_eye, scene.right_eye))
    across = right - left
    down = np.array([-across[1], across[0]])
    u, v = np.meshgrid(sign * np.linspace(0.12, 0.75, 201), np.linspace(-0.3, 1.3, 401))
    x, y = ((left + right) / 2 + u[..., np.newaxis] * across + v[..., np.newaxis] * down).reshape(-1, 2).T
    light = np.sort(scene.cells[1, y.astype(int), x.astype(int)])
    return float(light[light.size // 4 : light.size - light.size // 4].mean())


def take(
    path: Path,
    scene: Portrait,
    offset_stops: float,
    iso: float,
    seed: int,
    orientation: int = 1,
    tags: Mapping[str, str] | None = None,
) -> None:
    """Write the scene as a DNG with these Exif entries; a grey card in it would sit at `offset_stops`."""
    camera = Camera()
    mosaic = camera.expose(scene.cells, offset_stops, iso, np.random.default_rng(seed))
    light = np.moveaxis(scene.cells, 0, -1) * 2.0**offset_stops
    preview = np.rint(255 * linear_to_srgb(light)).astype(np.uint8)
    write_dng(
        path,
        mosaic,
        black=camera.black,
        white=camera.white,
        compressed=False,
        preview=preview,
        neutral=camera.response,
        pattern=PATTERN,
        orientation=orientation,
        tags=tags,
    )
