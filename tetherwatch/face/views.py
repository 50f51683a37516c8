"""Parts of a picture as the networks of a cascaded face detector take them.

Boxes are float64 arrays (windows x 4) of left, top, right, bottom in pixels of the picture.
"""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tetherwatch.face.picture import Picture
from tetherwatch.face.weights import Floats32

Boxes = NDArray[np.float64]
Place = NDArray[np.float64]
Eyes = NDArray[np.float64]

SMALLEST_FACE = 28
"""Pixels: smaller faces are not looked for."""

WINDOW, OUTPUT_SIDE = 12, 48
"""Sides in pixels of what the first and the last network look at."""

_SHRINK = 0.709
"""Size of each picture of the pyramid by that of the one before (as in the source: half its area)."""


def pyramid(image: Image.Image) -> Iterator[tuple[float, Floats32]]:
    """The picture made smaller step by step, with the scale, until a window covers it; each from the last but one."""
    scale, finer, last = WINDOW / SMALLEST_FACE, image, image
    while min(image.size) * scale >= WINDOW:
        size = (round(image.width * scale), round(image.height * scale))
        finer, last = last, finer.resize(size, Image.Resampling.BOX)
        yield scale, signal(np.asarray(last))
        scale *= _SHRINK


def cut_out(image: Image.Image, boxes: Boxes, side: int) -> Floats32:
    """Each box as a square picture for a network; what lies outside of the picture is black."""
    shape = (side, side)
    edges = np.rint(boxes).astype(int).tolist()
    cuts = [image.crop(tuple(box)).resize(shape, Image.Resampling.BILINEAR) for box in edges]
    return signal(np.stack([np.asarray(cut) for cut in cuts]))


def signal(pixels: Picture) -> Floats32:
    """Pixels (..., rows, columns, 3) as a network takes them: (3, ..., columns, rows)."""
    turned = np.moveaxis(pixels.swapaxes(-3, -2), -1, 0)
    scaled: Floats32 = (turned.astype(np.float32, order="C") - np.float32(127.5)) * np.float32(1 / 128)
    return scaled


def view_step(box: Boxes, scale: float, tilt: float) -> Place:
    """From one pixel to the next in a view of a box, larger by `scale` and turned by `tilt` in radians."""
    side = float(np.max(box[2:] - box[:2])) * scale / OUTPUT_SIDE
    return side * np.array([math.cos(tilt), math.sin(tilt)])


def turned_view(image: Image.Image, middle: Place, step: Place) -> Picture:
    """A square around `middle` as the network takes it, whose rows run along `step`, a pixel of it each."""
    down = np.array([-step[1], step[0]])
    corner = middle - (step + down) * (OUTPUT_SIDE / 2)
    matrix = (step[0], down[0], corner[0], step[1], down[1], corner[1])
    shape = (OUTPUT_SIDE, OUTPUT_SIDE)
    return np.asarray(image.transform(shape, Image.Transform.AFFINE, matrix, Image.Resampling.BILINEAR))


def eyes_seen(marks: Floats32, middle: Place, step: Place) -> Eyes:
    """The eyes of a turned view, in pixels of the picture."""
    x, y = ((marks[part] - 0.5) * OUTPUT_SIDE for part in (slice(0, 2), slice(5, 7)))
    eyes: Eyes = middle + x[:, np.newaxis] * step + y[:, np.newaxis] * np.array([-step[1], step[0]])
    return eyes
