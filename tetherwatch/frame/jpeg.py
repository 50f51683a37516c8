"""Colour JPEGs decoded straight into three bytes a pixel, which nothing copies."""

import mmap
import os
import shutil
from typing import BinaryIO

import numpy as np
import simplejpeg
from numpy.typing import NDArray


def decode_sound(file: BinaryIO, height: int, width: int) -> NDArray[np.uint8] | None:
    """The pixels of an open JPEG whose head states this size, rows x columns x 3.

    None if anything about it is not as it should be, which includes damage that other decoders pass over in silence.
    """
    pixels = np.empty((height, width, 3), np.uint8)
    size = file.seek(0, os.SEEK_END)
    file.seek(0)
    # Memory of its own, which is gone once the pixels are there: the allocator would keep it for later.
    with mmap.mmap(-1, size) as content:
        try:
            shutil.copyfileobj(file, content)
            decoded: NDArray[np.uint8] = simplejpeg.decode_jpeg(content, buffer=pixels)
        except ValueError:
            return None
    return decoded if decoded.shape == pixels.shape else None
