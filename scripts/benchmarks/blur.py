"""Blur in linear light, by its transfer function: a moved camera, a missed focus, a soft lens.

Sources: a straight motion over n pixels has sinc(n f), a uniform disc of diameter d has 2 J1(pi d f) / (pi d f), a
Gaussian exp(-2 (pi s f)^2), with f in cycles per pixel (textbook optics).
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Light = NDArray[np.float64]

_MARGIN = 24
_BESSEL_STEPS = 64


def gaussian(light: Light, sigma: float) -> Light:
    """Blurred by a bell of so many pixels' standard deviation."""
    return _filtered(light, lambda x, y: np.exp(-2 * (np.pi * sigma) ** 2 * (x**2 + y**2)))


def motion(light: Light, pixels: float, degrees: float) -> Light:
    """Smeared over so many pixels, in a direction clockwise from level."""
    angle = np.radians(degrees)
    return _filtered(light, lambda x, y: np.sinc(pixels * (x * np.cos(angle) + y * np.sin(angle))))


def defocus(light: Light, diameter: float) -> Light:
    """Every point spread over a disc of so many pixels."""
    return _filtered(light, lambda x, y: _disc(np.pi * diameter * np.hypot(x, y)))


def _disc(z: Light) -> Light:
    """2 J1(z) / z, by its integral 2/pi of cos(z sin t) cos^2 t over half a turn."""
    turns = (np.arange(_BESSEL_STEPS) + 0.5) * np.pi / _BESSEL_STEPS
    return sum(np.cos(z * np.sin(t)) * np.cos(t) ** 2 for t in turns) * (2 / _BESSEL_STEPS)


def _filtered(light: Light, transfer: Callable[[Light, Light], Light]) -> Light:
    rows, columns = light.shape
    wide = np.pad(light, _MARGIN, mode="edge")
    y, x = np.fft.fftfreq(wide.shape[0])[:, None], np.fft.rfftfreq(wide.shape[1])[None, :]
    blurred = np.fft.irfft2(np.fft.rfft2(wide) * transfer(x, y), wide.shape)
    return blurred[_MARGIN : _MARGIN + rows, _MARGIN : _MARGIN + columns]
