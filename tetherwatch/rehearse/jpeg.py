"""Render a raw mosaic as a picture: white balance and the sRGB curve, nothing else, so that mid-grey lands at code 118.

Curve: IEC 61966-2-1. A cell of 2x2 pixels gives one colour; no colour matrix is needed, for the simulated sensor has
the primaries of sRGB.
"""

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tetherwatch.inplace import put_in_place
from tetherwatch.rehearse.camera import GREY_SHARE, Camera
from tetherwatch.rehearse.files import jpeg_bytes, with_tags
from tetherwatch.rehearse.scene import GREY


def render(mosaic: NDArray[np.uint16], camera: Camera, every: int = 1) -> NDArray[np.uint8]:
    """The picture (rows x columns x 3) of every `every`-th cell of the mosaic in both directions."""
    pitch = 2 * every
    greens = np.add(mosaic[0::pitch, 1::pitch], mosaic[1::pitch, 0::pitch], dtype=np.uint32)
    red, green, blue = (_curve(camera, response) for response in camera.response)
    planes = (red[::2][mosaic[0::pitch, 0::pitch]], green[greens], blue[::2][mosaic[1::pitch, 1::pitch]])
    return np.stack(planes, axis=-1)


def write_jpeg(path: Path, mosaic: NDArray[np.uint16], camera: Camera, tags: Mapping[str, str]) -> None:
    """Write the picture with as many pixels as the mosaic and Exif `tags` (by exiv2 key) to `path`."""
    picture = render(mosaic, camera).repeat(2, axis=0).repeat(2, axis=1)
    put_in_place(path, with_tags(jpeg_bytes(picture), tags))


def _curve(camera: Camera, response: float) -> NDArray[np.uint8]:
    """The 8-bit code for each sum of two raw codes."""
    saturation = camera.white - camera.black
    signal = np.arange(2 * camera.white + 1) / 2 - camera.black
    linear = np.clip(signal / saturation / response * (GREY / GREY_SHARE), 0, 1)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * encoded), np.uint8)
