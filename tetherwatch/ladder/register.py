"""Whether two pictures show the same scene, and how far one is shifted against the other.

Phase correlation: the transform of a shifted picture differs by a phase only, whose own transform peaks at the shift
(Kuglin and Hines, 1975). Done on small pictures, whose noise is averaged away.
"""

from dataclasses import dataclass

import numpy as np

from tetherwatch.frame.records import Site
from tetherwatch.ladder.tiles import Floats, Plane, ToLight

SMALL_PIXELS = 8
"""Side of a small picture's pixel, in pixels of the picture; less where the colour pattern does not divide it."""

_NOISE_SHARE = 0.01
"""Part of the strongest frequency below which frequencies say little about the shift."""

_LEAST_SIZE = 1e-30
_EDGE = 3
"""Pixels at the border that the blur reaches into from the other side."""

_LEAST_CONTRAST = 0.02


@dataclass(frozen=True, slots=True)
class Shift:
    """How far a picture is shifted (in its own pixels, down and to the right), and how alike the two then are
    (-1..1)."""

    down: float
    right: float
    likeness: float

    @property
    def distance(self) -> float:
        """Length of the shift."""
        return float(np.hypot(self.down, self.right))


def small_side(site: Site) -> int:
    """Side of a small picture's pixel in pixels of the picture."""
    return max(1, SMALL_PIXELS // site.pitch_y) * site.pitch_y


def small_picture(site: Site, to_light: ToLight) -> Plane:
    """The site averaged over squares of `small_side` pixels."""
    bin_ = small_side(site) // site.pitch_y
    rows, columns = (size // bin_ for size in site.values.shape)
    small = np.empty((rows, columns), np.float32)
    step = max(1, 64 // bin_)
    for top in range(0, rows, step):
        light = to_light(site.values[top * bin_ : min(top + step, rows) * bin_, : columns * bin_])
        folded = light.reshape(-1, bin_, columns * bin_).sum(axis=1)
        small[top : top + step] = folded.reshape(len(folded), columns, bin_).sum(axis=2) / np.float32(bin_**2)
    return small


def has_structure(picture: Plane) -> bool:
    """Whether there is anything in a picture that a shift would show in."""
    return bool(picture.std() > _LEAST_CONTRAST * max(float(picture.mean()), 1e-6))


def find_shift(reference: Plane, other: Plane) -> Shift:
    """How far `other` is shifted against `reference` (same shape), to a few hundredths of a pixel."""
    down, right = _whole_shift(reference, other)
    one, two = _overlap(reference, other, down, right)
    if min(one.shape) <= 2 * _EDGE or not (one.std() and two.std() and two.mean() > 0):
        return Shift(down, right, 0.0)
    part = _part_shift(one, two * np.float32(one.mean() / two.mean()))
    return Shift(down + part[0], right + part[1], float(np.corrcoef(one.ravel(), two.ravel())[0, 1]))


def _whole_shift(reference: Plane, other: Plane) -> tuple[int, int]:
    """The shift in whole pixels: where the phase correlation peaks."""
    window = np.outer(np.hanning(reference.shape[0]), np.hanning(reference.shape[1])).astype(np.float32)
    first, second = (np.fft.rfft2((picture - picture.mean()) * window) for picture in (reference, other))
    cross = second * np.conj(first)
    size = np.abs(cross)
    peak = np.fft.irfft2(cross / (size + max(_NOISE_SHARE * float(size.max()), _LEAST_SIZE)), s=reference.shape)
    place = np.unravel_index(int(np.argmax(peak)), peak.shape)
    down, right = ((int(at) + size // 2) % size - size // 2 for at, size in zip(place, peak.shape, strict=True))
    return down, right


def _overlap(reference: Plane, other: Plane, down: int, right: int) -> tuple[Plane, Plane]:
    """The parts that both pictures show."""
    rows, columns = reference.shape
    one = reference[max(0, -down) : rows - max(0, down), max(0, -right) : columns - max(0, right)]
    two = other[max(0, down) : rows - max(0, -down), max(0, right) : columns - max(0, -right)]
    return one, two


def _part_shift(one: Plane, two: Plane) -> Floats:
    """What is left of the shift, less than a pixel: by how much of its slope a picture differs (Lucas and
    Kanade, 1981).

    Both are blurred first, so that slopes reach over a pixel.
    """
    smooth, shifted = _blurred(one), _blurred(two)
    down, right = (np.gradient(smooth, axis=axis)[_EDGE:-_EDGE, _EDGE:-_EDGE] for axis in (0, 1))
    slopes = np.stack([down.ravel(), right.ravel()])
    change = (smooth - shifted)[_EDGE:-_EDGE, _EDGE:-_EDGE].ravel()
    part: Floats = np.linalg.pinv(np.dot(slopes, slopes.T), hermitian=True) @ np.dot(slopes, change)
    return np.clip(part, -1.0, 1.0)


def _blurred(picture: Plane) -> Plane:
    """A binomial blur over 5 pixels each way."""
    blurred = picture
    for axis in (0, 1):
        for _ in range(2):
            blurred = (np.roll(blurred, 1, axis) + 2 * blurred + np.roll(blurred, -1, axis)) / np.float32(4)
    return blurred
