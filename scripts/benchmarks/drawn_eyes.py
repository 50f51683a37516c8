"""Eyes as linear light at any size: drawn ones from a seed, and those of a real portrait.

The drawn pair has what a lens is focused on: lashes, lids, iris, pupil and catchlights, on textured skin. The real one
is NASA's official portrait in scikit-image (public domain), taken back to linear light through the sRGB curve.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import skimage.data
from numpy.typing import NDArray
from PIL import Image

from benchmarks.blur import gaussian
from tetherwatch.meter.tone import srgb_to_linear

Light = NDArray[np.float64]
Place = tuple[float, float]

_FINER = 3
"""The drawing is made so many times larger, and then averaged."""

_SKIN, _SCLERA, _IRIS, _PUPIL, _CATCHLIGHT = 0.35, 0.42, 0.07, 0.006, 1.5
_CATCHLIGHTS = ((-0.03, -0.03, 0.014), (0.025, 0.03, 0.006))
"""Place and radius, in eye distances from the middle of the iris."""

_ASTRONAUT_EYES = ((203.8, 101.2), (246.7, 103.3))
_ASTRONAUT_CUT = (150, 60, 302, 152)


@dataclass(frozen=True, slots=True)
class Pair:
    """Reflectance (rows x columns, as the green channel sees it) and the centres of both eyes in pixels (x, y)."""

    light: Light
    left: Place
    right: Place

    @property
    def distance(self) -> float:
        """From eye to eye in pixels."""
        return math.dist(self.left, self.right)


@dataclass(frozen=True, slots=True)
class Look:
    """How someone looks at one moment: the gaze in eye distances, and how open the eyes are."""

    gaze: Place = (0.0, 0.0)
    open: float = 1.0


@cache
def astronaut(scale: float) -> Pair:
    """The portrait's eyes, so many times larger than in the picture (43 pixels apart there)."""
    green = srgb_to_linear(skimage.data.astronaut()[:, :, 1] / 255.0).astype(np.float32)
    left, top, right, bottom = _ASTRONAUT_CUT
    size = (round((right - left) * scale), round((bottom - top) * scale))
    cut = Image.fromarray(green).crop(_ASTRONAUT_CUT).resize(size, Image.Resampling.LANCZOS)
    first, second = (((x - left + 0.5) * scale - 0.5, (y - top + 0.5) * scale - 0.5) for x, y in _ASTRONAUT_EYES)
    return Pair(np.maximum(np.asarray(cut, np.float64), 1e-3), first, second)


def drawn(distance: int, seed: int, look: Look | None = None) -> Pair:
    """A drawn pair with eyes so many pixels apart; the seed makes the person, `look` the moment."""
    look, rng, unit = look or Look(), np.random.default_rng(seed), distance * _FINER
    rows, columns = int(1.1 * distance) * _FINER, 2 * distance * _FINER
    light = _skin(rows, columns, unit, rng)
    centres = [(columns / 2 + side * unit / 2, 0.55 * rows) for side in (-1, 1)]
    for centre in centres:
        _draw_eye(light, centre, unit, look, rng)
    light = gaussian(light, 0.25 * _FINER)
    small = light.reshape(rows // _FINER, _FINER, columns // _FINER, _FINER).mean((1, 3))
    left, right = (((x + 0.5) / _FINER - 0.5, (y + 0.5) / _FINER - 0.5) for x, y in centres)
    return Pair(np.maximum(small, 1e-3), left, right)


def _skin(rows: int, columns: int, unit: int, rng: np.random.Generator) -> Light:
    light = np.full((rows, columns), _SKIN)
    light *= 1 + 0.25 * (np.arange(columns) / columns - 0.5)
    for depth, size in ((0.015, 0.012), (0.02, 0.05)):
        grain = gaussian(rng.standard_normal((rows, columns)), size * unit)
        light *= 1 + depth * grain / grain.std()
    return light


def _draw_eye(light: Light, centre: Place, unit: int, look: Look, rng: np.random.Generator) -> None:
    row, column = np.mgrid[: light.shape[0], : light.shape[1]]
    x, y = (column - centre[0]) / unit, (row - centre[1]) / unit
    arch = np.clip(1 - (x / 0.235) ** 2, 0.0, 1.0)
    upper, lower = -0.105 * look.open * arch**0.8, 0.07 * look.open * arch
    shade = 1 - 0.5 * np.exp(-np.maximum(y - upper, 0.0) / 0.03)
    ball = (y > upper) & (y < lower) & (arch > 0)
    np.copyto(light, _ball(x - look.gaze[0], y - look.gaze[1], rng) * shade, where=ball)
    for edge, width, left in ((upper, 0.012, 0.25), (lower, 0.006, 0.6), (upper - 0.06, 0.006, 0.6)):
        light[(arch > 0) & (np.abs(y - edge) < width)] *= left
    light *= _hairs(light.shape, unit, (*_lashes(centre, unit, look, rng), *_brow(centre, unit, rng)))


def _ball(x: Light, y: Light, rng: np.random.Generator) -> Light:
    """Sclera, iris with its rays, pupil, catchlights."""
    far, angle, phase = np.hypot(x, y), np.arctan2(y, x), rng.uniform(0, 2 * math.pi, 3)
    rays = 1 + 0.35 * np.sin(23 * angle + phase[0]) * np.sin(9 * angle + phase[1]) + 0.2 * np.sin(41 * angle + phase[2])
    light = np.where(far < 0.092, _IRIS * rays * (1 - 0.5 * (far / 0.092) ** 6), _SCLERA)
    light[far < 0.038] = _PUPIL
    for dx, dy, radius in _CATCHLIGHTS:
        light[np.hypot(x - dx, y - dy) < radius] = _CATCHLIGHT
    return light


Hair = tuple[Light, Light, Light]
"""Columns, rows and half widths along one hair, in drawing pixels."""


def _lashes(centre: Place, unit: int, look: Look, rng: np.random.Generator) -> Iterator[Hair]:
    for place in np.linspace(-0.95, 0.95, 45):
        length, lean = unit * rng.uniform(0.05, 0.09), 0.9 * place + rng.normal(0, 0.15)
        along = np.linspace(0, 1, int(length) + 2)
        root = centre[1] - 0.105 * look.open * unit * max(1 - place**2, 0) ** 0.8
        x = centre[0] + 0.235 * unit * place + length * (along * math.sin(lean) + 0.2 * np.sign(place) * along**2)
        yield x, root - 0.8 * length * along * math.cos(lean), 0.0035 * unit * (1 - 0.7 * along)


def _brow(centre: Place, unit: int, rng: np.random.Generator) -> Iterator[Hair]:
    for place in rng.uniform(-1, 1, 150):
        lean, along = rng.normal(0.9, 0.3), np.linspace(0, 1, int(0.05 * unit) + 2)
        root = centre[1] + unit * (0.06 * place**2 - 0.27 + rng.normal(0, 0.012))
        x = centre[0] + unit * (0.27 * place + 0.05 * along * math.sin(lean))
        yield x, root - 0.05 * unit * along * math.cos(lean), np.full_like(along, 0.002 * unit)


def _hairs(shape: tuple[int, ...], unit: int, hairs: tuple[Hair, ...]) -> Light:
    """What hairs let through of the light."""
    through, reach = np.ones(shape), int(0.0035 * unit) + 1
    for columns, rows, widths in hairs:
        top, left = (max(int(side.min()) - reach, 0) for side in (rows, columns))
        place = through[top : int(rows.max()) + reach + 1, left : int(columns.max()) + reach + 1]
        row, column = np.ogrid[top : top + place.shape[0], left : left + place.shape[1]]
        far = np.hypot(column[..., None] - columns, row[..., None] - rows) - widths
        np.minimum(place, 1 - 0.85 * np.clip(0.5 - far.min(axis=2), 0, 1), out=place)
    return through
