"""The cascade: windows at many sizes are proposed, then refined, then judged with their eyes (source: `face.networks`).

Boxes are float64 arrays (windows x 4) of left, top, right, bottom in pixels of the picture.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tetherwatch.face.networks import Networks
from tetherwatch.face.picture import Picture
from tetherwatch.face.views import (
    OUTPUT_SIDE,
    WINDOW,
    Boxes,
    Eyes,
    cut_out,
    eyes_seen,
    pyramid,
    signal,
    turned_view,
    view_step,
)
from tetherwatch.face.weights import Floats32
from tetherwatch.meter.records import Box, Face, Point

Indices = NDArray[np.intp]

_APART = 2
_LEAST_SCORES = (0.6, 0.6, 0.8)
"""After each of the three networks. In the source 0.6, 0.7, 0.7: here more is looked at, and fewer things are taken for
faces."""

_VIEWS = (1.0, 1.15, 1.3)
"""Sizes of the views in which the eyes of a face are looked for again, by the size of the face."""

_OVERLAP = 0.5
_SAME_WINDOW = 0.7

_TILT = math.radians(25)
"""How far boxes are turned where no face was seen in them."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """A face as the output network sees it, in pixels."""

    box: Boxes
    score: float
    eyes: Eyes


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
        seen = self._judged(image, boxes)
        if not seen:
            seen = [one for tilt in (-_TILT, _TILT) for one in self._judged_turned(image, boxes, tilt)]
        if not seen:
            return ()
        found, scores = np.stack([one.box for one in seen]), np.array([one.score for one in seen])
        kept = strongest(found, scores, _SAME_WINDOW, smaller=True)
        faces = [_face(seen[i], self._eyes(image, seen[i]), image.size) for i in kept]
        return tuple(sorted(faces, key=lambda face: face.box.area, reverse=True))

    def _judged(self, image: Image.Image, boxes: Boxes) -> list[_Seen]:
        """Which of the boxes are faces."""
        scores, shifts, marks = self._networks.output(cut_out(image, boxes, OUTPUT_SIDE))
        moved = _moved(boxes, shifts.T)
        return [
            _Seen(moved[i], float(scores[i]), _eyes_in(marks[:, i], boxes[i]))
            for i in np.flatnonzero(scores > _LEAST_SCORES[2])
        ]

    def _judged_turned(self, image: Image.Image, boxes: Boxes, tilt: float) -> list[_Seen]:
        """Which of the boxes are faces tilted by about so much: small ones are often missed unless turned upright."""
        middles, steps = (boxes[:, :2] + boxes[:, 2:]) / 2, [view_step(box, 1.0, tilt) for box in boxes]
        views = [turned_view(image, middle, step) for middle, step in zip(middles, steps, strict=True)]
        scores, _, marks = self._networks.output(signal(np.stack(views)))
        return [
            _Seen(boxes[i], float(scores[i]), eyes_seen(marks[:, i], middles[i], steps[i]))
            for i in np.flatnonzero(scores > _LEAST_SCORES[2])
        ]

    def _eyes(self, image: Image.Image, seen: _Seen) -> Eyes:
        """The eyes (2 x 2: x, y in pixels) once more, in views of the face that are turned upright.

        The network draws the eyes of a tilted face towards those of an upright one; some views more even out the rest.
        """
        smaller = max(1, int(np.max(seen.box[2:] - seen.box[:2]) / OUTPUT_SIDE))
        near, box = image.reduce(smaller), seen.box / smaller
        middle, tilt = (box[:2] + box[2:]) / 2, math.atan2(*(seen.eyes[1] - seen.eyes[0])[::-1])
        steps = [view_step(box, scale, tilt) for scale in _VIEWS]
        views = np.stack([turned_view(near, middle, step) for step in steps])
        marks = self._networks.output(signal(views))[2].T
        eyes = [eyes_seen(mark, middle, step) for mark, step in zip(marks, steps, strict=True)]
        mean: Eyes = smaller * np.mean(eyes, axis=0)
        return mean

    def _proposed(self, image: Image.Image) -> Boxes:
        boxes, scores, shifts = [], [], []
        for scale, picture in pyramid(image):
            score, shift = (part[..., 0, :, :] for part in self._networks.proposal(picture[:, np.newaxis]))
            places = np.argwhere(score > _LEAST_SCORES[0])
            corners = places * (_APART / scale)
            windows = np.hstack([corners, corners + WINDOW / scale])
            likely = tuple(places.T)
            kept = strongest(windows, score[likely], _OVERLAP)
            boxes.append(windows[kept])
            scores.append(score[likely][kept])
            shifts.append(shift.transpose(1, 2, 0)[likely][kept])
        if not boxes:
            return np.empty((0, 4))
        moved = _squared(_moved(np.concatenate(boxes), np.concatenate(shifts)))
        return moved[strongest(moved, np.concatenate(scores), _SAME_WINDOW)]

    def _refined(self, image: Image.Image, boxes: Boxes) -> Boxes:
        if not len(boxes):
            return boxes
        scores, shifts = self._networks.refinement(cut_out(image, boxes, 24))
        sure = np.flatnonzero(scores > _LEAST_SCORES[1])
        moved = _squared(_moved(boxes[sure], shifts.T[sure]))
        return moved[strongest(moved, scores[sure], _SAME_WINDOW)]


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


def _face(seen: _Seen, eyes: Eyes, size: tuple[int, int]) -> Face:
    """A face relative to the picture's size."""
    left, top, right, bottom = (float(value) for value in seen.box / (*size, *size))
    left_eye, right_eye = sorted((Point(*place) for place in (eyes / size).tolist()), key=lambda eye: eye.x)
    return Face(Box(max(left, 0.0), max(top, 0.0), min(right, 1.0), min(bottom, 1.0)), left_eye, right_eye, seen.score)
