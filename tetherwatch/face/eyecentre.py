"""The middle of an eye by the picture itself, for a detector finds it to some hundredths of the eye distance only.

A window laid by that shows a little more of a brow or less of the lashes each time, and the same eyes differ in detail
by 1.5 to 9 %, more than a smear over two pixels takes; laid by the darkest place nearby they differ by less than 1 %
(simulated photographs of drawn eyes and of two real portraits).
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tetherwatch.face.eyepatch import BRIGHTEST, Eyes, Floats, Patch, Vector, eye_patch
from tetherwatch.frame.records import Channel, Frame

_BELL_ALONG, _BELL_ACROSS = 0.10, 0.065
"""Standard deviations, in eye distances, of the bell by which light is averaged: an iris between its lids. Neither
noise nor a blur that leaves anything to judge moves the darkest place of such an average."""

_REACH = 0.2
"""So far from where an eye was found its middle may lie, in eye distances: less than its brow does."""

_LEAST_DARK = 0.05
"""Part of the mean light by which the average must be darker to be an eye's; it is some 0.3 to 0.6 (of portraits)."""

_SAMPLES = 64.0
"""Samples from eye to eye: enough for an average this wide."""

_LEAST_LIGHT = 1e-9
"""Of saturation: a black patch divides by this."""

_MARGIN = 0.3
"""Beyond the patch, in eye distances: no bell reaches round to its other side."""


def settled(frame: Frame, eyes: Eyes, saturation: Mapping[Channel, float]) -> Eyes:
    """Both eyes at the darkest places near where they were found; as they were where one of them has none."""
    first, second = (_middle(frame, eyes, centre, saturation) for centre in eyes.centres)
    return eyes if first is None or second is None else eyes.moved(first, second)


def _middle(frame: Frame, eyes: Eyes, centre: Vector, saturation: Mapping[Channel, float]) -> Vector | None:
    """The darkest place near an eye's centre, in pixels of the stored picture; None if there is none."""
    patch = eye_patch(frame, eyes, centre, saturation, _SAMPLES)
    if patch is None:
        return None
    dark = _averaged_dark(patch)
    row, column = np.ogrid[: dark.shape[0], : dark.shape[1]]
    near = np.hypot(column - patch.centre[0], row - patch.centre[1]) <= _REACH * patch.samples
    peaks = np.argwhere(_is_peak(dark) & near & (dark > _LEAST_DARK))
    if not peaks.size:
        return None
    top, left = max(peaks.tolist(), key=lambda place: float(dark[tuple(place)]))
    x = left + _vertex(dark[top, left - 1 : left + 2]) - patch.centre[0]
    y = top + _vertex(dark[top - 1 : top + 2, left]) - patch.centre[1]
    pixels = eyes.distance_px / patch.samples
    return centre[0] + pixels * x, centre[1] + pixels * y


def _averaged_dark(patch: Patch) -> Floats:
    """How much darker than its mean the patch is around each sample, as a part of that, catchlights cut."""
    weight = np.where(patch.count > 0, patch.window, 0.0)
    mean = float((weight * patch.light).sum() / weight.sum())
    dark = patch.count / patch.count.mean() * (1 - np.minimum(patch.light / max(mean, _LEAST_LIGHT), BRIGHTEST))
    rows, columns = (side + round(_MARGIN * patch.samples) for side in dark.shape)
    x, y = np.fft.rfftfreq(columns)[None, :], np.fft.fftfreq(rows)[:, None]
    along = _BELL_ALONG * patch.samples * (x * patch.along[0] + y * patch.along[1])
    across = _BELL_ACROSS * patch.samples * (x * patch.across[0] + y * patch.across[1])
    bell = np.exp(-2 * np.pi**2 * (along**2 + across**2))
    averaged: Floats = np.fft.irfft2(np.fft.rfft2(dark, (rows, columns)) * bell, (rows, columns))
    return averaged[: dark.shape[0], : dark.shape[1]]


def _is_peak(values: Floats) -> NDArray[np.bool_]:
    """Where a value is not less than its eight neighbours; never at the edge."""
    rows, columns = values.shape
    peak = np.zeros(values.shape, bool)
    inner = values[1:-1, 1:-1]
    peak[1:-1, 1:-1] = True
    for down in range(3):
        for right in range(3):
            peak[1:-1, 1:-1] &= inner >= values[down : rows - 2 + down, right : columns - 2 + right]
    return peak


def _vertex(three: Floats) -> float:
    """Where the parabola through three values has its top, from the middle one, which is the largest."""
    before, here, after = (float(value) for value in three)
    bend = before - 2 * here + after
    return 0.5 * (before - after) / bend if bend < 0 else 0.0
