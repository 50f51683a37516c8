"""Colour JPEGs decoded straight into three bytes a pixel, which nothing copies."""

import numpy as np
import simplejpeg
from numpy.typing import NDArray


def decode_sound(content: bytes, height: int, width: int) -> NDArray[np.uint8] | None:
    """The pixels of a JPEG whose head states this size, rows x columns x 3.

    None if anything about it is not as it should be, which includes damage that other decoders pass over in silence.
    """
    pixels = np.empty((height, width, 3), np.uint8)
    try:
        decoded: NDArray[np.uint8] = simplejpeg.decode_jpeg(content, buffer=pixels)
    except ValueError:
        return None
    return decoded if decoded.shape == pixels.shape else None
