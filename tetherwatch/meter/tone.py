"""From codes to linear light, and from code counts to tone histograms.

Sources: IEC 61966-2-1 (sRGB curve); ITU-R BT.709 luminance weights for linear sRGB.
"""

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel
from tetherwatch.meter.histogram import Counts
from tetherwatch.meter.records import BINS_PER_STOP, STOPS_SHOWN, ToneHistogram

Floats = NDArray[np.float64]

PICTURE_GREY = 0.18
"""Mid-grey as linear light of an sRGB rendering: code 118."""

LUMINANCE: dict[Channel, float] = {"r": 0.2126, "g": 0.7152, "b": 0.0722, "y": 1.0}
"""Weights of linear sRGB channels (ITU-R BT.709); a grey picture is its own luminance."""

MAX_PICTURE_CODE = 255.0


def srgb_to_linear(encoded: Floats) -> Floats:
    """Linear light 0..1 of encoded values 0..1 (IEC 61966-2-1)."""
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(linear: Floats) -> Floats:
    """Encoded values 0..1 of linear light, which is limited to 0..1 first (IEC 61966-2-1)."""
    light = np.clip(linear, 0.0, 1.0)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def raw_table(codes: int, black: float, saturation: float) -> Floats:
    """Linear light of each raw code: 0 at black (negative below), 1 at saturation and above."""
    light = (np.arange(codes, dtype=np.float64) - black) / (saturation - black)
    np.minimum(light, 1.0, out=light)
    return light


def picture_table() -> Floats:
    """Linear light of each 8-bit sRGB code, 0..1."""
    return srgb_to_linear(np.arange(256) / MAX_PICTURE_CODE)


def tone_histogram(channel: Channel, counts: Counts, light: Floats) -> ToneHistogram:
    """Count pixels by stops below saturation; `light` (1 = saturation) goes with `counts`, in any order."""
    bins = BINS_PER_STOP * STOPS_SHOWN
    clipped = light >= 1.0
    dark = light <= 2.0**-STOPS_SHOWN
    shown = ~(clipped | dark) & (counts > 0)
    index = np.floor(-np.log2(light[shown]) * BINS_PER_STOP).astype(np.intp)
    binned = np.bincount(np.minimum(index, bins - 1), weights=counts[shown], minlength=bins)
    return ToneHistogram(
        channel=channel,
        counts=tuple(int(count) for count in binned),
        clipped=int(counts[clipped].sum()),
        below=int(counts[dark].sum()),
    )


def merged(parts: list[ToneHistogram]) -> ToneHistogram:
    """One histogram of several of the same channel."""
    return ToneHistogram(
        channel=parts[0].channel,
        counts=tuple(map(sum, zip(*(part.counts for part in parts), strict=True))),
        clipped=sum(part.clipped for part in parts),
        below=sum(part.below for part in parts),
    )
