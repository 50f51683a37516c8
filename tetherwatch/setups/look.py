"""The look of a frame: its thumbnail in coarse cells, in stops, without the camera's white balance."""

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.records import Channel
from tetherwatch.meter.records import Reading, Thumbnail
from tetherwatch.meter.tone import PICTURE_GREY, picture_table
from tetherwatch.setups.records import Look, Material

ROWS, COLUMNS = 24, 36
"""Cells of a picture."""

STOPS = 0.1
"""Unit of a material's levels and colours."""

BRIGHT_STOPS, DARK_STOPS = 1.7, -4.2
"""Levels beyond which a coloured cell may be among the bright or dark ones."""

_LAYOUT = (6, 9)
_SAMPLES = 2
"""Rows and columns of the thumbnail averaged in one cell."""

_DARKEST_CODE, _BRIGHTEST_CODE = 16, 248
"""Codes of 8-bit sRGB beyond which a cell tells no level: steps are coarse there, or light is clipped."""

_PERCENTS = (50.0, 30.0, 70.0, 15.0, 85.0, 5.0, 95.0)
_PLANES: dict[Channel, int] = {"r": 0, "g": 1, "b": 2}

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]


def look_of(thumbnail: Thumbnail, reading: Reading) -> Look:
    """The look of a frame; without cells where the thumbnail has fewer pixels than they."""
    if thumbnail.width < COLUMNS or thumbnail.height < ROWS:
        return Look()
    codes = np.frombuffer(thumbnail.rgb, np.uint8).reshape(thumbnail.height, thumbnail.width, 3)
    light, table, balance = _cells(codes, ROWS, COLUMNS), picture_table(), _balance(codes, reading)
    bright = light.max(axis=-1) >= table[_BRIGHTEST_CODE]
    dark = ~bright & (light.min(axis=-1) <= table[_DARKEST_CODE])
    stops = np.log2(np.maximum(light, table[1] / 2) / PICTURE_GREY)
    if balance is None:
        return Look((), int(bright.sum()), int(dark.sum()), _layout(codes))
    colours = stops[..., 0::2] - stops[..., 1:2] - balance
    seen = np.concatenate([stops[..., 1:2], colours], axis=-1)[~(bright | dark)]
    found, counts = np.unique(np.rint(seen / STOPS).astype(int), axis=0, return_counts=True)
    materials = tuple(
        Material(int(each[0]), int(each[1]), int(each[2]), int(cells))
        for each, cells in zip(found, counts, strict=True)
    )
    return Look(materials, int(bright.sum()), int(dark.sum()), _layout(codes))


def _layout(codes: Codes) -> tuple[float | None, ...]:
    table = picture_table()
    green = _cells(codes, *_LAYOUT)[..., 1].ravel()
    seen = (green > table[_DARKEST_CODE]) & (green < table[_BRIGHTEST_CODE])
    return tuple(
        round(float(np.log2(light / PICTURE_GREY)), 2) if here else None
        for light, here in zip(green, seen, strict=True)
    )


def _cells(codes: Codes, rows: int, columns: int) -> Floats:
    """Linear light of the cells, shape (rows, columns, 3)."""
    down, across = _sampled(codes.shape[0], rows), _sampled(codes.shape[1], columns)
    light = picture_table()[codes[np.ix_(down, across)]]
    cells: Floats = light.reshape(rows, _SAMPLES, columns, _SAMPLES, 3).mean(axis=(1, 3))
    return cells


def _sampled(pixels: int, cells: int) -> NDArray[np.intp]:
    return ((np.arange(cells * _SAMPLES) + 0.5) * (pixels / (cells * _SAMPLES))).astype(np.intp)


def _balance(codes: Codes, reading: Reading) -> Floats | None:
    """Stops that white balance brightened red and blue of the thumbnail by, against green; None where that is hidden.

    White balance multiplies a channel, so that it leaves the order of its pixels: the same part of them is darker than
    a level before and after. A part is chosen whose level is neither clipped nor black in any channel.
    """
    tones = {each.channel: each for each in reading.tones}
    if not set(_PLANES) <= set(tones):
        return np.zeros(2)
    for percent in _PERCENTS:
        shown = [float(np.percentile(codes[..., plane], percent)) for plane in _PLANES.values()]
        if min(shown) > _DARKEST_CODE and max(shown) < _BRIGHTEST_CODE:
            light = np.interp(shown, np.arange(256), picture_table())
            red, green, blue = np.log2(light) + [tones[channel].percentile(percent) for channel in _PLANES]
            return np.array([red - green, blue - green])
    return None
