"""Signal to noise, dynamic range and colour noise from a rung's photon transfer.

Sources: EMVA 1288 release 4 (SNR, electrons for a wanted SNR); ISO 15739 (dynamic range down to signal = temporal
noise; noise of luma and chroma); ISO 12232:2019 6.3 (viewing condition, primaries). The weights of the chroma parts
differ between editions and were quoted from memory, so they are parameters.
"""

import math
from collections.abc import Mapping

from tetherwatch.frame.records import Channel
from tetherwatch.ladder.records import Figure, Output
from tetherwatch.ladder.transfer import Transfer

VIEWING_PIXELS_PER_CM = 70.0
"""Pixels per cm of a print seen from 25 cm for which ISO 12232 states its grades (30 pixels a degree)."""

SHADOW_STOPS = -3.0

_LUMA: Mapping[Channel, float] = {"r": 0.2125, "g": 0.7154, "b": 0.0721}
"""ISO 12232 (primaries of ITU-R BT.709, first edition)."""


def snr(transfer: Transfer, signal: float) -> Figure:
    """Signal to temporal noise of a pixel at a signal in codes above black."""
    variance = transfer.variance(signal)
    value = signal / math.sqrt(variance)
    return Figure(value, value * transfer.variance_error(signal) / variance / 2)


def electrons_for(wanted: float, noise_e: float) -> float:
    """Electrons at which signal over noise is `wanted`, with `noise_e` electrons in the dark (EMVA 1288)."""
    return (wanted**2 + math.sqrt(wanted**4 + 4 * wanted**2 * noise_e**2)) / 2


def dynamic_range(transfer: Transfer, saturation: float) -> Figure:
    """Stops from `saturation` (codes above black) down to signal = noise (ISO 15739, temporal noise)."""
    floor_e = electrons_for(1.0, math.sqrt(max(transfer.dark, 0.0)) / transfer.gain)
    signal = floor_e * transfer.gain
    slope = 2 * signal - transfer.gain  # of signal^2 = K signal + dark, the level where they meet
    error = transfer.variance_error(signal) / slope / signal / math.log(2)
    return Figure(math.log2(saturation / signal), error)


def viewing_scale(output: Output, longer_side: int) -> float:
    """What seeing the picture at its output size does to SNR: a picture of more pixels than are seen averages them.

    ISO 12232 asks of a print with P pixels per cm 70 / P of the SNR (6.3, notes); a web picture shows one pixel for
    `longer_side` / size of ours along each side.
    """
    if output.kind == "web":
        return longer_side / output.size
    return longer_side / output.size / VIEWING_PIXELS_PER_CM


def scaled(figure: Figure, factor: float) -> Figure:
    """A figure in another unit."""
    return Figure(figure.value * factor, figure.uncertainty * factor)


def colour_snr(
    transfers: Mapping[Channel, Transfer], neutral: Mapping[Channel, float], signal: float, weights: tuple[float, float]
) -> Figure | None:
    """Luminance over noise sigma(D) at a neutral grey whose green lies at `signal` codes above black.

    sigma(D)^2 = sigma(Y)^2 + c1 sigma(R-Y)^2 + c2 sigma(B-Y)^2 with `weights` c1, c2 (ISO 12232, ISO 15739), of pixels
    before any processing but white balance (`neutral`: gains). None unless there are three colours.
    """
    if not set(_LUMA) <= set(transfers):
        return None
    gains = {channel: neutral.get(channel, 1.0) for channel in _LUMA}
    deviations = {c: gain * math.sqrt(transfers[c].variance(signal / gain)) for c, gain in gains.items()}
    value = signal / weighted_noise(*_luma_and_chroma(deviations), weights)
    relative = max(t.variance_error(signal / gains[c]) / t.variance(signal / gains[c]) for c, t in transfers.items())
    return Figure(value, value * relative / 2)


def weighted_noise(luma: float, red: float, blue: float, weights: tuple[float, float]) -> float:
    """sigma(D) of the standard deviations of Y, R-Y and B-Y (ISO 12232, ISO 15739)."""
    return math.sqrt(luma**2 + weights[0] * red**2 + weights[1] * blue**2)


def _luma_and_chroma(sigma: Mapping[Channel, float]) -> tuple[float, float, float]:
    """Standard deviations of Y, R-Y and B-Y of independent noise `sigma` in r, g, b."""

    def deviation(less: Channel | None) -> float:
        return math.sqrt(sum((float(c == less) - luma) ** 2 * sigma[c] ** 2 for c, luma in _LUMA.items()))

    return deviation(None), deviation("r"), deviation("b")
