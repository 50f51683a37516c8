"""The sizes of picture that are read at all."""

from tetherwatch.frame.faults import CaptureError, Fault

PIXEL_LIMIT = 200_000_000
"""Larger pictures are refused before any memory is taken for them."""

MEMORY_LIMIT = 12 * PIXEL_LIMIT
"""Bytes a process that reads captures may take, programs and mapped files not counted.

Measured with 200 megapixels: 0.5 GB for a mosaic, 1.6 GB for raw colour planes, 2.0 GB for a damaged progressive JPEG.
"""

SHORTEST_SIDE = 16
"""Pixels; smaller pictures are icons or damage."""


def check_size(width: int, height: int) -> None:
    """Raise `CaptureError` (TOO_SMALL, TOO_LARGE) for a picture of so many pixels that is not worth or safe reading."""
    if min(width, height) < SHORTEST_SIDE:
        raise CaptureError(Fault.TOO_SMALL, f"{width} x {height} pixels")
    if width * height > PIXEL_LIMIT:
        raise CaptureError(Fault.TOO_LARGE, f"{width} x {height} pixels")
