"""What finds faces: one interface, and the detector in use. A better one takes its place here and nowhere else."""

from functools import cache
from typing import Protocol

import numpy as np

from tetherwatch.face.picture import Picture, detection_picture
from tetherwatch.frame.records import Frame
from tetherwatch.meter.records import Face

_KEPT_BYTES = 31 << 20
"""Once a block of this size was allocated and freed, glibc keeps smaller ones for the next use (mallopt(3), "dynamic
mmap threshold") instead of fetching them from the system page by page each time: a third of the time."""


class FaceDetector(Protocol):
    """Finds faces in a picture. No network, no files of its own, one thread; it keeps nothing of a picture."""

    def find(self, rgb: Picture) -> tuple[Face, ...]:
        """The faces of an upright sRGB picture (rows x columns x 3), largest first."""
        ...


@cache
def detector() -> FaceDetector:
    """The detector, loaded once. Raises MissingExtraError without the extra `face`."""
    from tetherwatch.face.cascade import Cascade
    from tetherwatch.face.networks import Networks

    np.empty(_KEPT_BYTES, np.uint8)
    return Cascade(Networks.load())


def find_faces(frame: Frame, orientation: int) -> tuple[Face, ...]:
    """The faces in a frame, largest first; `orientation` is the Exif code that turns it upright.

    Raises MissingExtraError without the extra `face`.
    """
    return detector().find(detection_picture(frame, orientation))
