"""The cascade: windows at many sizes are proposed, then refined, then judged with their eyes (source: `face.networks`).

Boxes are float64 arrays (windows x 4) of left, top, right, bottom in pixels of the picture.
"""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tetherwatch.face.networks import Networks
from tetherwatch.face.picture import Picture
from tetherwatch.face.weights import Floats32
from tetherwatch.meter.records import Box, Face, Point

Boxes = NDArray[np.float64]
Indices = NDArray[np.intp]
Place = NDArray[np.float64]
Eyes = NDArray[np.float64]

SMALLEST_FACE = 28
"""Pixels: smaller faces are not looked for."""

_WINDOW = 12
_APART = 2
_SHRINK = 0.709
"""Size of each picture of the pyramid by that of the one before (as in the source: half its area)."""

_LEAST_SCORES = (0.6, 0.7, 0.8)
"""After each of the three networks. The last is higher than in the source (0.7): fewer things are taken for faces."""

_OUTPUT_SIDE = 48
_VIEWS = ((1.15,), (1.0, 1.15, 1.3))
"""Sizes of the views in which the eyes of a face are looked for again, by the size of the face: once roughly upright,
then more upright."""

_OVERLAP = 0.5
_SAME_WINDOW = 0.7


class Cascade:
    """Finds upright faces, tilted by up to 30 degrees or somewhat more. One thread; keeps nothing of the pictures."""

    def __init__(self, networks: Networks) -> None:
        self._networks = networks

    def find(self, rgb: Picture) -> tuple[Face, ...]:
        """The faces of an upright sRGB picture (rows x columns x 3), largest first."""
        image = Image.fromarray(rgb)
        boxes = self._refined(image, self._proposed(image))
        if not len(boxes):
            return ()
        scores, shifts, marks = self._networks.output(_cut_out(image, boxes, _OUTPUT_SIDE))
        sure = np.flatnonzero(scores > _LEAST_SCORES[2])
        boxes, scores, shifts, marks = boxes[sure], scores[sure], shifts.T[sure], marks.T[sure]
        found = _moved(boxes, shifts)
        kept = strongest(found, scores, _SAME_WINDOW, smaller=True)
        faces = [
            _face(found[i], self._eyes(image, found[i], _eyes_in(marks[i], boxes[i])), float(scores[i]), image.size)
            for i in kept
        ]
        return tuple(sorted(faces, key=lambda face: face.box.area, reverse=True))

    def _eyes(self, image: Image.Image, box: Boxes, eyes: Eyes) -> Eyes:
        """The eyes (2 x 2: x, y in pixels) once more, in views of the face that are turned upright.

        The network draws the eyes of a tilted face towards those of an upright one; some views more even out the rest.
        """
        middle, side = (box[:2] + box[2:]) / 2, float(np.max(box[2:] - box[:2]))
        for scales in _VIEWS:
            tilt = math.atan2(*(eyes[1] - eyes[0])[::-1])
            steps = [side * scale / _OUTPUT_SIDE * np.array([math.cos(tilt), math.sin(tilt)]) for scale in scales]
            views = np.stack([_turned_view(image, middle, step) for step in steps])
            marks = self._networks.output(_signal(views))[2].T
            eyes = np.mean([_eyes_seen(mark, middle, step) for mark, step in zip(marks, steps, strict=True)], axis=0)
        return eyes

    def _proposed(self, image: Image.Image) -> Boxes:
        boxes, scores, shifts = [], [], []
        for scale, picture in _pyramid(image):
            score, shift = (part[..., 0, :, :] for part in self._networks.proposal(picture[:, np.newaxis]))
            places = np.argwhere(score > _LEAST_SCORES[0])
            corners = places * (_APART / scale)
            windows = np.hstack([corners, corners + _WINDOW / scale])
            likely = tuple(places.T)
            kept = strongest(windows, score[likely], _OVERLAP)
            boxes.append(windows[kept])
            scores.append(score[likely][kept])
            shifts.append(shift.transpose(1, 2, 0)[likely][kept])
        if not boxes:
            return np.empty((0, 4))
        together = np.concatenate(boxes)
        kept = strongest(together, np.concatenate(scores), _SAME_WINDOW)
        return _squared(_moved(together[kept], np.concatenate(shifts)[kept]))

    def _refined(self, image: Image.Image, boxes: Boxes) -> Boxes:
        if not len(boxes):
            return boxes
        scores, shifts = self._networks.refinement(_cut_out(image, boxes, 24))
        sure = np.flatnonzero(scores > _LEAST_SCORES[1])
        kept = sure[strongest(boxes[sure], scores[sure], _SAME_WINDOW)]
        return _squared(_moved(boxes[kept], shifts.T[kept]))


def _pyramid(image: Image.Image) -> Iterator[tuple[float, Floats32]]:
    """The picture made smaller step by step, with the scale, until a window covers it."""
    scale = _WINDOW / SMALLEST_FACE
    while min(image.size) * scale >= _WINDOW:
        size = (round(image.width * scale), round(image.height * scale))
        yield scale, _signal(np.asarray(image.resize(size, Image.Resampling.BOX)))
        scale *= _SHRINK


def _cut_out(image: Image.Image, boxes: Boxes, side: int) -> Floats32:
    """Each box as a square picture for a network; what lies outside of the picture is black."""
    shape = (side, side)
    cuts = [image.crop(tuple(box)).resize(shape, Image.Resampling.BOX) for box in np.rint(boxes).astype(int).tolist()]
    return _signal(np.stack([np.asarray(cut) for cut in cuts]))


def _signal(pixels: Picture) -> Floats32:
    """Pixels (..., rows, columns, 3) as a network takes them: (3, ..., columns, rows)."""
    turned = np.moveaxis(pixels.swapaxes(-3, -2), -1, 0)
    signal: Floats32 = (turned.astype(np.float32, order="C") - np.float32(127.5)) * np.float32(1 / 128)
    return signal


def strongest(boxes: Boxes, scores: NDArray[np.floating], overlap: float, smaller: bool = False) -> Indices:
    """Indices of the boxes with the highest scores, of which no two overlap by more than `overlap`.

    The overlap is their common area as a part of what both cover, or with `smaller` of the smaller box.
    """
    order = np.argsort(scores, kind="stable")[::-1]
    areas = np.prod(boxes[:, 2:] - boxes[:, :2], axis=1)
    kept: list[int] = []
    while order.size:
        best, order = order[0], order[1:]
        kept.append(int(best))
        sides = np.minimum(boxes[order, 2:], boxes[best, 2:]) - np.maximum(boxes[order, :2], boxes[best, :2])
        common = np.prod(np.maximum(sides, 0), axis=1)
        both = np.minimum(areas[order], areas[best]) if smaller else areas[order] + areas[best] - common
        order = order[common <= overlap * both]
    return np.array(kept, np.intp)


def _moved(boxes: Boxes, shifts: Floats32) -> Boxes:
    """Boxes with each edge moved by a part of the box's size."""
    sides = boxes[:, 2:] - boxes[:, :2]
    return boxes + shifts * np.hstack([sides, sides])


def _squared(boxes: Boxes) -> Boxes:
    """The smallest squares around the same centres."""
    middle = (boxes[:, :2] + boxes[:, 2:]) / 2
    half = np.max(boxes[:, 2:] - boxes[:, :2], axis=1, keepdims=True) / 2
    return np.hstack([middle - half, middle + half])


def _eyes_in(marks: Floats32, box: Boxes) -> Eyes:
    """The eyes (2 x 2: x, y), of landmarks that are parts of a box."""
    return box[:2] + np.stack([marks[:2], marks[5:7]], axis=1) * (box[2:] - box[:2])


def _turned_view(image: Image.Image, middle: Place, step: Place) -> Picture:
    """A square around `middle` as the network takes it, whose rows run along `step`, a pixel of it each."""
    finer = max(1, math.ceil(float(np.hypot(*step))))
    across, down = step / finer, np.array([-step[1], step[0]]) / finer
    side = _OUTPUT_SIDE * finer
    corner = middle - (across + down) * (side / 2)
    matrix = (across[0], down[0], corner[0], across[1], down[1], corner[1])
    view = image.transform((side, side), Image.Transform.AFFINE, matrix, Image.Resampling.BILINEAR)
    return np.asarray(view.reduce(finer))


def _eyes_seen(marks: Floats32, middle: Place, step: Place) -> Eyes:
    """The eyes of a turned view, in pixels of the picture."""
    x, y = ((marks[part] - 0.5) * _OUTPUT_SIDE for part in (slice(0, 2), slice(5, 7)))
    eyes: Eyes = middle + x[:, np.newaxis] * step + y[:, np.newaxis] * np.array([-step[1], step[0]])
    return eyes


def _face(box: Boxes, eyes: Eyes, score: float, size: tuple[int, int]) -> Face:
    """A face relative to the picture's size."""
    left, top, right, bottom = (float(value) for value in box / (*size, *size))
    left_eye, right_eye = sorted((Point(*place) for place in (eyes / size).tolist()), key=lambda eye: eye.x)
    return Face(Box(max(left, 0.0), max(top, 0.0), min(right, 1.0), min(bottom, 1.0)), left_eye, right_eye, score)
