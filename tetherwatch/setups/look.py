"""The look of a frame: its thumbnail in coarse cells, in stops, without the camera's white balance."""

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel
from tetherwatch.meter.records import Reading, Thumbnail, ToneHistogram
from tetherwatch.meter.tone import PICTURE_GREY, picture_table
from tetherwatch.setups.records import Look, Material

ROWS, COLUMNS = 24, 36
"""Cells of a picture."""

STOPS = 0.1
"""Unit of a material's levels and colours."""

_LAYOUT = (6, 9)
_SAMPLES = 2
"""Rows and columns of the thumbnail averaged in one cell."""

_DARKEST_CODE, _BRIGHTEST_CODE = 16, 248
"""Codes of 8-bit sRGB beyond which a cell tells no level: steps are coarse there, or light is clipped."""

DARKEST_STOPS, BRIGHTEST_STOPS = (
    float(stops) for stops in np.log2(picture_table()[[_DARKEST_CODE, _BRIGHTEST_CODE]] / PICTURE_GREY)
)
"""The same as levels of a channel of the thumbnail against mid-grey."""

_PERCENTS = np.arange(2.0, 99.0, 2.0)
"""Parts of a picture at whose levels its white balance is looked for."""

_PLANES: dict[Channel, int] = {"r": 0, "g": 1, "b": 2}

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]


def look_of(thumbnail: Thumbnail, reading: Reading) -> Look:
    """The look of a frame; without cells where the thumbnail has fewer pixels than they."""
    if thumbnail.width < COLUMNS or thumbnail.height < ROWS:
        return Look()
    codes = np.frombuffer(thumbnail.rgb, np.uint8).reshape(thumbnail.height, thumbnail.width, 3)
    samples, balance = _samples(codes, ROWS, COLUMNS), _balance(codes, reading)
    # One sample that is clipped falsifies the colour of its cell.
    bright = samples.max(axis=(1, 3, 4)) >= _BRIGHTEST_CODE
    dark = ~bright & (samples.min(axis=(1, 3, 4)) <= _DARKEST_CODE)
    if balance is None:
        return Look((), int(bright.sum()), int(dark.sum()), _layout(codes))
    light = picture_table()[samples].mean(axis=(1, 3))
    stops = np.log2(light[~(bright | dark)] / PICTURE_GREY)
    seen = np.concatenate([stops[:, 1:2], stops[:, 0::2] - stops[:, 1:2] - balance], axis=-1)
    found, counts = np.unique(np.rint(seen / STOPS).astype(int), axis=0, return_counts=True)
    materials = tuple(
        Material(int(each[0]), int(each[1]), int(each[2]), int(cells))
        for each, cells in zip(found, counts, strict=True)
    )
    red, blue = (round(float(each), 2) for each in balance)
    return Look(materials, int(bright.sum()), int(dark.sum()), _layout(codes), (red, blue))


def _layout(codes: Codes) -> tuple[float | None, ...]:
    table = picture_table()
    green = table[_samples(codes, *_LAYOUT)[..., 1]].mean(axis=(1, 3)).ravel()
    seen = (green > table[_DARKEST_CODE]) & (green < table[_BRIGHTEST_CODE])
    return tuple(
        round(float(np.log2(light / PICTURE_GREY)), 2) if here else None
        for light, here in zip(green, seen, strict=True)
    )


def _samples(codes: Codes, rows: int, columns: int) -> Codes:
    """Samples of the cells, shape (rows, `_SAMPLES`, columns, `_SAMPLES`, 3)."""
    taken: Codes = codes[np.ix_(_sampled(codes.shape[0], rows), _sampled(codes.shape[1], columns))]
    return taken.reshape(rows, _SAMPLES, columns, _SAMPLES, 3)


def _sampled(pixels: int, cells: int) -> NDArray[np.intp]:
    return ((np.arange(cells * _SAMPLES) + 0.5) * (pixels / (cells * _SAMPLES))).astype(np.intp)


def _balance(codes: Codes, reading: Reading) -> Floats | None:
    """Stops that white balance brightened red and blue of the thumbnail by, against green; None where that is hidden.

    White balance multiplies a channel, so that it leaves the order of its pixels: the same part of them is darker than
    a level before and after. The median over many parts counts, since between two materials a level means little.
    """
    tones = {each.channel: each for each in reading.tones}
    if not set(_PLANES) <= set(tones):
        return np.zeros(2)
    gains = [_gain(codes[..., plane], tones[channel]) for channel, plane in _PLANES.items()]
    red, green, blue = gains
    return None if red is None or green is None or blue is None else np.array([red - green, blue - green])


def _gain(codes: Codes, tones: ToneHistogram) -> float | None:
    """Stops from a channel's light to that of the thumbnail; None where all of it is clipped or black."""
    shown = np.percentile(codes, _PERCENTS)
    told = (shown > _DARKEST_CODE) & (shown < _BRIGHTEST_CODE)
    if not told.any():
        return None
    light = np.log2(np.interp(shown[told], np.arange(256), picture_table()))
    return float(np.median(light + [tones.percentile(percent) for percent in _PERCENTS[told]]))
