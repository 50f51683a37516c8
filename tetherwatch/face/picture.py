"""The picture that faces are looked for in: small, upright, and equally bright however the frame was exposed."""

import numpy as np
from numpy.typing import NDArray
from PIL import Image

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

Picture = NDArray[np.uint8]


def detection_picture(frame: Frame, orientation: int) -> Picture:
    """An upright sRGB picture (rows x columns x 3) of a frame; `orientation` is the Exif code that turns it upright.

    Brightness is evened out from place to place too, so that a face is drawn alike before black and before white.
    """
    first = {site.channel: site for site in reversed(frame.sites)}
    sites = [first.get(channel) or first.get("y") or frame.sites[0] for channel in ("r", "g", "b")]
    planes = [_logarithmic(frame, site) for site in sites]
    around = _surroundings(planes[1])
    evened = np.stack([_DRAWN[np.asarray(plane, np.int16) - around] for plane in planes], axis=-1)
    return np.ascontiguousarray(turned(evened, orientation))


def _logarithmic(frame: Frame, site: Site) -> Image.Image:
    """One channel, small, in codes of `_CODES_PER_STOP`. Light is averaged before, so that noise does not darken it."""
    pitch = max(1, max(site.values.shape) // (_SAMPLES * LONGEST_SIDE))
    scale = min(1.0, LONGEST_SIDE / max(frame.height, frame.width))
    size = (round(frame.width * scale), round(frame.height * scale))
    values = Image.fromarray(site.values[::pitch, ::pitch].astype(np.float32))
    means = np.rint(np.asarray(values.resize(size, Image.Resampling.BOX))).astype(np.uint16)
    return Image.fromarray(_codes(frame, site)[means])


def _codes(frame: Frame, site: Site) -> Picture:
    """The logarithmic code of each code of a site."""
    if frame.curve == "sRGB":
        light = picture_table()
    else:
        light = raw_table(code_count(site.values), site.black, site.white) * frame.neutral.get(site.channel, 1.0)
    stops = np.log2(np.maximum(light, 2.0**-_STOPS)) + _STOPS
    codes: Picture = np.minimum(np.rint(_CODES_PER_STOP * stops), 255).astype(np.uint8)
    return codes


def _surroundings(plane: Image.Image) -> NDArray[np.int16]:
    """The brightness around each place, in codes: between the mean of the light and the mean of its logarithm.

    The first is nearly that of the brightest things there, the second that of what there is most of.
    """
    scale = _CELLS / max(plane.size)
    cells = (max(1, round(plane.width * scale)), max(1, round(plane.height * scale)))
    codes = np.asarray(plane.resize(cells, Image.Resampling.BOX), np.float32)
    light = Image.fromarray(_LIGHT[np.asarray(plane.reduce(4))]).resize(cells, Image.Resampling.BOX)
    both = (codes + _CODES_PER_STOP * (np.log2(np.asarray(light)) + _STOPS)) / 2
    smooth = Image.fromarray(both.astype(np.float32)).resize(plane.size, Image.Resampling.BICUBIC)
    around: NDArray[np.int16] = np.rint(np.asarray(smooth)).astype(np.int16)
    return around


def _drawn_codes() -> Picture:
    """The sRGB code of each difference from the surroundings, -256 to 255, negative ones last as numpy counts them."""
    difference = np.concatenate([np.arange(256), np.arange(-256, 0)])
    light = _MIDDLE * 2.0 ** (difference / _CODES_PER_STOP)
    return np.rint(255 * linear_to_srgb(light * (1 + light / 4) / (1 + light))).astype(np.uint8)


_LIGHT = 2.0 ** (np.arange(256) / _CODES_PER_STOP - _STOPS).astype(np.float32)
_DRAWN = _drawn_codes()
