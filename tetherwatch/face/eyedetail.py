"""Fine detail of the eyes: the spectrum of their light, with the noise taken off exactly.

A windowed patch of white noise has the same expected power at every frequency, the sum of window squared times
variance, whatever colour pattern the pixels lie in; so it can be subtracted. What is left is weighted by frequency
squared, as the energy of a gradient is, and set against the contrast of the eye as a whole: neither exposure nor a
flatter light changes it. Frequencies are in cycles per eye distance, so that the size of the face does not either.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tetherwatch.body.records import Noise
from tetherwatch.face.eyecentre import settled
from tetherwatch.face.eyepatch import BRIGHTEST, Floats, Patch, eye_patch, find_eyes, frame_noise
from tetherwatch.face.pixelnoise import PixelNoise
from tetherwatch.face.records import BANDS_PER_OCTAVE, LOWEST_CYCLES, SECTORS, EyeDetail
from tetherwatch.frame.records import Channel, Frame
from tetherwatch.meter.records import Face

_SATURATED = 0.95
_MOST_CLIPPED = 0.1
"""Share of an eye that may be saturated."""

_GRID = 1.1
"""Side of the transformed square in eye distances: at least the window's, and the same for every tilt and size, so that
the grid of frequencies is."""

_HIGHEST = 0.42
"""Cycles per sample up to which detail is counted: beyond it the samples of a colour pattern fold it over."""

_FAST = 8
"""Sides that are multiples of this transform fast."""

_LEAST_BANDS = 4
_PROCESSED = 0.2
"""Uncertainty of the energy in a finished picture, as a part of it: smoothing against noise grows with ISO and takes up
to 30 % of the energy, and sharpening adds to it (of simulated JPEGs; cameras differ)."""

_SURE = 3.0
"""Standard uncertainties by which contrast must stand out of the noise."""


@dataclass(frozen=True, slots=True)
class _Spectrum:
    """One eye: gradient energy by band and by sector over the eye's contrast, the variance of each, and the energy that
    was subtracted as noise."""

    bands: Floats
    band_variances: Floats
    band_noise: Floats
    sectors: Floats
    sector_variance: float

    def uncertainty(self, doubt: float) -> Floats:
        """Of the energy up to each band; `doubt` is that of the noise, as a part of it."""
        return np.sqrt(np.cumsum(self.band_variances) + (doubt * np.cumsum(self.band_noise)) ** 2)


def measure_eyes(
    frame: Frame,
    face: Face,
    orientation: int,
    saturation: Mapping[Channel, float],
    body_noise: Noise | None = None,
) -> EyeDetail | None:
    """The fine detail of a face's eyes; the sharper eye counts, as it is the one the lens was set on.

    `saturation` gives codes, black not subtracted; `body_noise` is that of a measured body at the capture's ISO, else
    noise is estimated from the frame. None where nothing can be said: eyes too small (some 40 pixels apart are needed),
    cut off, clipped or black.
    """
    eyes = find_eyes(face, frame, orientation)
    if bands_of(eyes.distance_px) < _LEAST_BANDS:
        return None
    noise = frame_noise(frame, saturation, body_noise)
    if noise is None:
        return None
    placed = settled(frame, eyes, saturation)
    patches = (eye_patch(frame, placed, centre, saturation) for centre in placed.centres)
    found = [_spectrum(patch, noise) for patch in patches if patch is not None]
    spectra = [spectrum for spectrum in found if spectrum is not None]
    processed = 0.0 if frame.curve == "linear" else _PROCESSED
    return _detail(eyes.distance_px, placed.tilt_deg, spectra, noise.doubt, processed) if spectra else None


def bands_of(samples: float) -> int:
    """Whole bands that a patch holds with so many samples from eye to eye."""
    highest = _HIGHEST * samples
    return max(math.floor(BANDS_PER_OCTAVE * math.log2(highest / LOWEST_CYCLES)), 0) if highest > 0 else 0


def _detail(distance_px: float, tilt_deg: float, spectra: list[_Spectrum], doubt: float, processed: float) -> EyeDetail:
    energies = np.array([np.cumsum(spectrum.bands) for spectrum in spectra])
    doubts = np.array([spectrum.uncertainty(doubt) for spectrum in spectra])
    sharper = np.argmax(energies - doubts, axis=0), np.arange(energies.shape[1])
    energy, uncertainty = energies[sharper], doubts[sharper]
    sectors = sum(spectrum.sectors for spectrum in spectra) / len(spectra)
    variance = sum(spectrum.sector_variance for spectrum in spectra) / len(spectra) ** 2
    return EyeDetail(
        distance_px=distance_px,
        tilt_deg=tilt_deg,
        energy=tuple(energy.tolist()),
        uncertainty=tuple(np.hypot(uncertainty, processed * energy).tolist()),
        sectors=tuple(np.asarray(sectors).tolist()),
        sector_uncertainty=math.sqrt(variance),
    )


def _spectrum(patch: Patch, noise: PixelNoise) -> _Spectrum | None:
    levelled = _levelled(patch, noise)
    count = bands_of(patch.samples)
    if levelled is None or count < _LEAST_BANDS:
        return None
    signal, variance = levelled
    side = _FAST * math.ceil(_GRID * patch.samples / _FAST)
    floor = float(variance.sum())
    power = np.abs(np.fft.rfft2(signal, (side, side))) ** 2 - floor
    twice = np.full(power.shape, 2.0)
    twice[:, 0] = 1.0  # frequencies and their mirror images; the first column holds both
    spread = (2 * np.maximum(power, 0.0) * floor + floor**2) * (side**2 * float((variance**2).sum()) / floor**2)
    cycles, angle = _frequencies(patch, side)
    coarse = cycles < LOWEST_CYCLES
    contrast = float((twice * power)[coarse].sum())
    if contrast <= _SURE * math.sqrt(float((twice**2 * spread)[coarse].sum())):
        return None
    band = np.floor(BANDS_PER_OCTAVE * np.log2(np.maximum(cycles, 1e-9) / LOWEST_CYCLES)).astype(int)
    fine = (band >= 0) & (band < count)
    weight = (twice * cycles**2 / contrast)[fine]
    return _Spectrum(
        bands=_sums(band[fine], weight * power[fine], count),
        band_variances=_sums(band[fine], weight**2 * spread[fine], count),
        band_noise=_sums(band[fine], weight * floor, count),
        sectors=_by_direction(angle[fine] * (SECTORS / math.pi), weight * power[fine]),
        sector_variance=float((weight**2 * spread[fine]).sum()) / SECTORS,
    )


def _sums(classes: NDArray[np.int64], values: Floats, count: int) -> Floats:
    """The sum of the values in each of `count` classes."""
    return np.bincount(classes, values, count).astype(np.float64)


def _by_direction(place: Floats, values: Floats) -> Floats:
    """The sum of the values in each sector; `place` counts sectors, and what lies between two is shared by them."""
    low = np.floor(place).astype(np.int64)
    part = place - low
    return _sums(low % SECTORS, (1 - part) * values, SECTORS) + _sums((low + 1) % SECTORS, part * values, SECTORS)


def _levelled(patch: Patch, noise: PixelNoise) -> tuple[Floats, Floats] | None:
    """The windowed light against its mean, and the variance of each sample; None if there is nothing to see."""
    window = np.where(patch.count > 0, patch.window, 0.0)
    mean = float((window * patch.light).sum() / window.sum())
    clipped = float(window[patch.light >= _SATURATED].sum() / window.sum())
    if mean <= 0 or clipped > _MOST_CLIPPED:
        return None
    top = min(BRIGHTEST * mean, _SATURATED)
    light = np.minimum(patch.light, top)
    mean = float((window * light).sum() / window.sum())
    variance = np.where(patch.light < top, noise.variance(light), 0.0) / np.maximum(patch.count, 1.0)
    return window * (light / mean - 1), (window / mean) ** 2 * variance


def _frequencies(patch: Patch, side: int) -> tuple[Floats, Floats]:
    """Of each coefficient: cycles per eye distance, and its angle clockwise from the line of the eyes."""
    x, y = np.fft.rfftfreq(side)[None, :], np.fft.fftfreq(side)[:, None]
    along = (x * patch.along[0] + y * patch.along[1]) * patch.samples
    across = (x * patch.across[0] + y * patch.across[1]) * patch.samples
    return np.hypot(along, across), np.arctan2(across, along)
