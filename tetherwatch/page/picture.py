"""Pixels to a picture that lies inside the page."""

import base64
import io
from dataclasses import dataclass
from typing import Literal

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray
from PIL import Image

_PHOTO_QUALITY = 85


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as a data URI, with its size in pixels and what it shows in words."""

    uri: Markup
    width: int
    height: int
    alt: str


def embedded(rgb: NDArray[np.uint8], alt: str, form: Literal["exact", "photo"] = "exact") -> Picture:
    """A picture of shape (height, width, 3) in sRGB; "exact" keeps every pixel (PNG), "photo" is smaller (JPEG)."""
    height, width, _ = rgb.shape
    buffer = io.BytesIO()
    picture = Image.fromarray(np.ascontiguousarray(rgb))
    if form == "exact":
        picture.save(buffer, "PNG")
    else:
        picture.save(buffer, "JPEG", quality=_PHOTO_QUALITY)
    kind = "png" if form == "exact" else "jpeg"
    uri = Markup(f"data:image/{kind};base64,{base64.b64encode(buffer.getvalue()).decode()}")
    return Picture(uri, width, height, alt)
