"""The picture that faces are looked for in: small, upright, and equally bright however the frame was exposed."""

import math

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops

from tetherwatch.frame.records import Frame, Site
from tetherwatch.meter.histogram import code_count
from tetherwatch.meter.thumbnail import turned
from tetherwatch.meter.tone import linear_to_srgb, picture_table, raw_table

LONGEST_SIDE = 640
"""Pixels. A larger picture costs time and loses close-ups; a smaller one loses small faces."""

_SAMPLES = 2
"""Rows and columns of a site that are averaged into one pixel of the picture, about."""

_STOPS, _CODES_PER_STOP = 16.0, 16.0
"""Range of light below white that is told apart, and how finely: a byte holds it."""

_CELLS = 16
"""The longer side of the picture in cells, whose own brightness is taken out."""

_MIDDLE = 0.2
"""Linear light that a cell's brightness is drawn at, 1 being white."""

_EVEN = 128
"""The code of a place that is as bright as its surroundings: eight stops are drawn to either side."""

Picture = NDArray[np.uint8]
Codes = NDArray[np.uint16] | NDArray[np.uint8]


def detection_picture(frame: Frame, orientation: int) -> Picture:
    """An upright sRGB picture (rows x columns x 3) of a frame; `orientation` is the Exif code that turns it upright.

    Brightness is evened out from place to place too, so that a face is drawn alike before black and before white.
    """
    first = {site.channel: site for site in reversed(frame.sites)}
    scale = min(1.0, LONGEST_SIDE / max(frame.height, frame.width))
    size = (round(frame.width * scale), round(frame.height * scale))
    sites = [first.get(channel) or first.get("y") or frame.sites[0] for channel in ("r", "g", "b")]
    planes = [_logarithmic(frame, site, size) for site in sites]
    around = _surroundings(planes[1])
    drawn = [ImageChops.subtract(plane, around, offset=_EVEN).point(_DRAWN) for plane in planes]
    return np.ascontiguousarray(turned(np.asarray(Image.merge("RGB", drawn)), orientation))


def _logarithmic(frame: Frame, site: Site, size: tuple[int, int]) -> Image.Image:
    """One channel, small, in codes of `_CODES_PER_STOP`. Light is averaged before, so that noise does not darken it."""
    sums, samples = _sums(site.values, LONGEST_SIDE)
    means = np.asarray(Image.fromarray(sums).resize(size, Image.Resampling.BOX)) // samples
    return Image.fromarray(_codes(frame, site).take(means, mode="clip"))


def _sums(values: Codes, side: int) -> tuple[NDArray[np.int32], int]:
    """Sums of neighbouring samples, and of how many each, if there are enough to leave `side` pixels.

    Whole numbers summed in place take a third of the time that a picture of every sample in floats takes; and samples
    along one row half of that for two rows, where rows can be left out, because fetching them is what takes the time.
    """
    pitch = max(1, max(values.shape) // (_SAMPLES * side))
    block = _SAMPLES if max(values.shape) >= _SAMPLES * side else 1
    rows, columns = (max(1, length // (block * pitch)) for length in values.shape)
    square = list(np.ndindex(block, block))
    places = square if pitch == 1 else [(pitch - 1, place * pitch // block) for place in range(block**2)]
    sums = np.zeros((rows, columns), np.int32)
    for i, j in places:
        sums += values[i :: block * pitch, j :: block * pitch][:rows, :columns]
    return sums, len(places)


def _codes(frame: Frame, site: Site) -> Picture:
    """The logarithmic code of each code of a site, up to white."""
    if frame.curve == "sRGB":
        light = picture_table()
    else:
        count = min(code_count(site.values), math.ceil(site.white) + 1)
        light = raw_table(count, site.black, site.white) * frame.neutral.get(site.channel, 1.0)
    stops = np.log2(np.maximum(light, 2.0**-_STOPS), dtype=np.float32) + _STOPS
    codes: Picture = np.minimum(np.rint(_CODES_PER_STOP * stops), 255).astype(np.uint8)
    return codes


def _surroundings(plane: Image.Image) -> Image.Image:
    """The brightness around each place, in codes: between the mean of the light and the mean of its logarithm.

    The first is nearly that of the brightest things there, the second that of what there is most of.
    """
    scale = _CELLS / max(plane.size)
    cells = (max(1, round(plane.width * scale)), max(1, round(plane.height * scale)))
    codes = np.asarray(plane.resize(cells, Image.Resampling.BOX), np.float32)
    light = Image.fromarray(_LIGHT[np.asarray(plane.reduce(4))]).resize(cells, Image.Resampling.BOX)
    both = (codes + _CODES_PER_STOP * (np.log2(np.asarray(light)) + _STOPS)) / 2
    smooth = Image.fromarray(both.astype(np.float32)).resize(plane.size, Image.Resampling.BICUBIC)
    return Image.fromarray(np.clip(np.rint(np.asarray(smooth)), 0, 255).astype(np.uint8))


def _drawn_codes() -> list[int]:
    """The sRGB code of each difference from the surroundings, `_EVEN` being none."""
    light = _MIDDLE * 2.0 ** ((np.arange(256) - _EVEN) / _CODES_PER_STOP)
    drawn: list[int] = np.rint(255 * linear_to_srgb(light * (1 + light / 4) / (1 + light))).astype(int).tolist()
    return drawn


_LIGHT = 2.0 ** (np.arange(256) / _CODES_PER_STOP - _STOPS).astype(np.float32)
_DRAWN = _drawn_codes()
