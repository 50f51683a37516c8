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
    """How far `other` is shifted against `reference` (same shape), to about a twentieth of a pixel."""
    window = np.outer(np.hanning(reference.shape[0]), np.hanning(reference.shape[1]))
    first, second = (np.fft.rfft2((picture - picture.mean()) * window) for picture in (reference, other))
    cross = second * np.conj(first)
    size = np.abs(cross)
    phase = cross / (size + _NOISE_SHARE * size.max())
    peak = np.fft.irfft2(phase, s=reference.shape)
    down, right = np.unravel_index(int(np.argmax(peak)), peak.shape)
    place = (_refined(peak[:, right], int(down)), _refined(peak[down], int(right)))
    return Shift(*place, likeness=_likeness(reference, other, round(place[0]), round(place[1])))


def _refined(line: Floats, index: int) -> float:
    """Place of a peak between samples by a parabola through its neighbours, counted from -size/2."""
    before, here, after = line[index - 1], line[index], line[(index + 1) % line.size]
    bend = before - 2 * here + after
    part = float(0.5 * (before - after) / bend) if bend < 0 else 0.0
    return (index + part + line.size / 2) % line.size - line.size / 2


def _likeness(reference: Plane, other: Plane, down: int, right: int) -> float:
    """Correlation of the parts that both pictures show."""
    rows, columns = reference.shape
    one = reference[max(0, -down) : rows - max(0, down), max(0, -right) : columns - max(0, right)]
    two = other[max(0, down) : rows - max(0, -down), max(0, right) : columns - max(0, -right)]
    if one.size < 2 or not (one.std() and two.std()):
        return 0.0
    return float(np.corrcoef(one.ravel(), two.ravel())[0, 1])
