"""A small upright picture of a frame, with its clipped areas, straight from the pixels that were metered."""

import math

import numpy as np
from numpy.typing import NDArray

from tetherwatch.body.records import Calibration
from tetherwatch.exposure.light import RAW_GREY
from tetherwatch.frame.records import Channel, Frame, Site
from tetherwatch.meter.records import Reading, Thumbnail
from tetherwatch.meter.tone import PICTURE_GREY, linear_to_srgb

LONGEST_SIDE = 120
"""Pixels."""

_SAMPLES = 3
"""Rows and columns averaged into one thumbnail pixel, enough to calm the noise of a high ISO."""

Plane = NDArray[np.float64]


def make_thumbnail(
    frame: Frame, reading: Reading, orientation: int, calibration: Calibration | None = None
) -> Thumbnail:
    """Draw the frame small, tones as exposed (not brightened), turned upright.

    `reading` is that of the same frame, `calibration` the one it was metered with.
    """
    grey_share = RAW_GREY if calibration is None else calibration.grey_share
    height, width = _size(frame)
    first = {site.channel: site for site in reversed(frame.sites)}
    planes = {channel: _tones(frame, site, reading, grey_share, (height, width)) for channel, site in first.items()}
    rgb = np.stack([planes.get(channel, planes.get("y", next(iter(planes.values())))) for channel in _RGB], axis=-1)
    clipped = np.zeros((height, width), dtype=bool)
    for channel, site in first.items():
        if reading.clipped_percent[channel] > 0:
            clipped |= _clipped(site, reading.saturation[channel], height, width)
    upright, marks = turned(np.round(rgb * 255).astype(np.uint8), orientation), turned(clipped, orientation)
    return Thumbnail(
        width=upright.shape[1],
        height=upright.shape[0],
        rgb=upright.tobytes(),
        clipped=marks.astype(np.uint8).tobytes(),
        metered=reading.metered,
    )


_RGB: tuple[Channel, ...] = ("r", "g", "b")


def turned(picture: NDArray[np.generic], orientation: int) -> NDArray[np.generic]:
    """Turn a stored picture (rows, columns, ...) upright, for an Exif orientation code 1 to 8."""
    if orientation in (2, 4, 5, 7):
        picture = np.fliplr(picture)
    return np.rot90(picture, {3: 2, 4: 2, 5: 1, 6: -1, 7: -1, 8: 1}.get(orientation, 0))


def _size(frame: Frame) -> tuple[int, int]:
    scale = min(1.0, LONGEST_SIDE / max(frame.height, frame.width))
    rows = min(site.values.shape[0] for site in frame.sites)
    columns = min(site.values.shape[1] for site in frame.sites)
    return min(rows, max(1, round(frame.height * scale))), min(columns, max(1, round(frame.width * scale)))


def _tones(frame: Frame, site: Site, reading: Reading, grey_share: float, shape: tuple[int, int]) -> Plane:
    """Encoded tones 0..1 of one channel, with a share of saturation as mid-grey; `shape` is (height, width)."""
    height, width = shape
    rows, columns = _sample(site.values.shape[0], height), _sample(site.values.shape[1], width)
    samples = site.values[np.ix_(rows, columns)].astype(np.float64)
    # One axis at a time: numpy is much slower over both at once.
    mean: Plane = samples.reshape(height, _SAMPLES, -1).mean(axis=1).reshape(height, width, _SAMPLES).mean(axis=2)
    if frame.curve == "sRGB":
        return mean / 255
    light = (mean - site.black) / (reading.saturation[site.channel] - site.black)
    return linear_to_srgb(light * frame.neutral.get(site.channel, 1.0) * PICTURE_GREY / grey_share)


def _sample(pixels: int, cells: int) -> NDArray[np.intp]:
    """Indices of `_SAMPLES` evenly spaced pixels in each of `cells` equal parts of `pixels`."""
    return ((np.arange(cells * _SAMPLES) + 0.5) * (pixels / (cells * _SAMPLES))).astype(np.intp)


def _clipped(site: Site, saturation: float, height: int, width: int) -> NDArray[np.bool_]:
    """Which thumbnail pixels hold a clipped pixel: all columns are looked at, on the sampled rows."""
    rows = _sample(site.values.shape[0], height)
    over = (site.values[rows] >= math.ceil(saturation)).reshape(height, _SAMPLES, -1).any(axis=1)
    starts = (np.arange(width) * over.shape[1] / width).astype(np.intp)
    marks: NDArray[np.bool_] = np.logical_or.reduceat(over, starts, axis=1)
    return marks
