"""Picture to JPEG, and metadata into a finished file."""

import io
from collections.abc import Mapping

import exiv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

_QUALITY = 92


def jpeg_bytes(picture: NDArray[np.uint8]) -> bytes:
    """`picture` (rows x columns x 3, sRGB) as a JPEG file without metadata."""
    buffer = io.BytesIO()
    Image.fromarray(picture).save(buffer, "JPEG", quality=_QUALITY)
    return buffer.getvalue()


def with_tags(picture: bytes, tags: Mapping[str, str]) -> bytes:
    """A copy of a DNG or JPEG file with Exif entries set, by exiv2 key; the pixels stay as they are."""
    if not tags:
        return picture
    image = exiv2.ImageFactory.open(picture)
    image.readMetadata()
    data = image.exifData()
    for key, text in tags.items():
        data[key] = text
    image.writeMetadata()
    stored = image.io()
    stored.open()
    try:
        return bytes(stored.mmap())
    finally:
        stored.munmap()
        stored.close()
