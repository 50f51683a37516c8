"""The three networks of a cascaded face detector, worked out in numpy.

They are small enough (7,000 to 390,000 numbers) to need no library for neural networks. Arrays are float32 of shape
(channels, pictures, columns, rows): columns before rows, as the networks were trained. Pictures enter in -1..1.
Source: K. Zhang et al., "Joint Face Detection and Alignment Using Multitask Cascaded Convolutional Networks", IEEE
Signal Processing Letters 23 (2016); the names are those in the file of weights.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tetherwatch.face.weights import Floats32, Weights, read_weights

_WINDOW_BYTES = 1 << 20
"""Windows of a picture that are held at a time. They fill a cache; all of them would take tens of MiB."""

_REFINED_AT_ONCE, _OUTPUT_AT_ONCE = 32, 8
"""Pictures that a network looks at together, however many there are: each takes 0.1 and 0.6 MiB."""


@dataclass(frozen=True, slots=True)
class Networks:
    """`proposal` looks at every place of a picture, `refinement` at 24 x 24 and `output` at 48 x 48 pixels."""

    proposal_weights: Weights
    refinement_weights: Weights
    output_weights: Weights

    @classmethod
    def load(cls) -> "Networks":
        """Read all weights. Raises MissingExtraError if they are not installed."""
        return cls(*map(read_weights, ("pnet", "rnet", "onet")))

    def proposal(self, pictures: Floats32) -> tuple[Floats32, Floats32]:
        """Scores and box corrections (4, ...) of each window of 12 x 12 pixels, two pixels apart."""
        net = self.proposal_weights
        x = _pooled(_layer(net, pictures, "conv2d", "p_re_lu_initializer_8"), 2)
        x = _layer(net, x, "conv2d_1", "p_re_lu_1_initializer_6")
        x = _layer(net, x, "conv2d_2", "p_re_lu_2_initializer_3")
        return _scores(_convolved(net, x, "conv2d_3")), _convolved(net, x, "conv2d_4")

    def refinement(self, pictures: Floats32) -> tuple[Floats32, Floats32]:
        """Scores and box corrections (4 x pictures)."""
        parts = zip(*map(self._refinement, _groups(pictures, _REFINED_AT_ONCE)), strict=True)
        scores, shifts = (np.concatenate(part, axis=-1) for part in parts)
        return scores, shifts

    def _refinement(self, pictures: Floats32) -> tuple[Floats32, Floats32]:
        net = self.refinement_weights
        x = _pooled(_layer(net, pictures, "conv2d_5", "p_re_lu_3_initializer_14"), 3)
        x = _pooled(_layer(net, x, "conv2d_6", "p_re_lu_4_initializer_12"), 3)
        x = _joined(net, _layer(net, x, "conv2d_7", "p_re_lu_5_initializer_10"), "dense")
        return _scores(_weighted(net, x, "dense_1")), _weighted(net, x, "dense_2")

    def output(self, pictures: Floats32) -> tuple[Floats32, Floats32, Floats32]:
        """Scores, box corrections (4 x pictures), and landmarks (10 x pictures): five x, then five y, of eyes (left
        one first), nose and corners of the mouth, as parts of the box."""
        parts = zip(*map(self._output, _groups(pictures, _OUTPUT_AT_ONCE)), strict=True)
        scores, shifts, marks = (np.concatenate(part, axis=-1) for part in parts)
        return scores, shifts, marks

    def _output(self, pictures: Floats32) -> tuple[Floats32, Floats32, Floats32]:
        net = self.output_weights
        x = _pooled(_layer(net, pictures, "conv2d_8", "p_re_lu_7_initializer_22"), 3)
        x = _pooled(_layer(net, x, "conv2d_9", "p_re_lu_8_initializer_20"), 3)
        x = _pooled(_layer(net, x, "conv2d_10", "p_re_lu_9_initializer_18"), 2)
        x = _joined(net, _layer(net, x, "conv2d_11", "p_re_lu_10_initializer_16"), "dense_3")
        return _scores(_weighted(net, x, "dense_4")), _weighted(net, x, "dense_5"), _weighted(net, x, "dense_6")


def _groups(pictures: Floats32, count: int) -> Iterator[Floats32]:
    return (pictures[:, first : first + count] for first in range(0, pictures.shape[1], count))


def _layer(net: Weights, x: Floats32, name: str, slope: str) -> Floats32:
    return _rectified(_convolved(net, x, name), net[slope])


def _joined(net: Weights, x: Floats32, name: str) -> Floats32:
    """All there is of each picture, channels last, weighted together."""
    flat = x.transpose(2, 3, 0, 1).reshape(-1, x.shape[1])
    return _rectified(_weighted(net, flat, name), net["slope"])


def _convolved(net: Weights, x: Floats32, name: str) -> Floats32:
    """Each window of x weighted by a kernel (channels out, channels in, columns, rows)."""
    kernel = net[f"{name}/kernel:0"]
    outputs, channels, width, height = kernel.shape
    pictures, columns, rows = x.shape[1], x.shape[2] - width + 1, x.shape[3] - height + 1
    weights = kernel.reshape(outputs, -1)
    y = np.empty((outputs, pictures, columns, rows), np.float32)
    strip = max(1, _WINDOW_BYTES // (4 * weights.shape[1] * pictures * rows))
    for left in range(0, columns, strip):
        wide = min(strip, columns - left)
        windows = np.empty((channels, width * height, pictures, wide, rows), np.float32)
        for place, (i, j) in enumerate(np.ndindex(width, height)):
            windows[:, place] = x[:, :, left + i : left + i + wide, j : j + rows]
        part = weights @ windows.reshape(weights.shape[1], -1)
        y[:, :, left : left + wide] = part.reshape(outputs, pictures, wide, rows)
    y += net[f"{name}/bias:0"].reshape(-1, 1, 1, 1)
    return y


def _weighted(net: Weights, x: Floats32, name: str) -> Floats32:
    y: Floats32 = net[f"{name}/kernel:0"].T @ x + net[f"{name}/bias:0"][:, np.newaxis]
    return y


def _rectified(x: Floats32, slope: Floats32) -> Floats32:
    """Values below zero times a slope for each channel; changes x."""
    below = np.minimum(x, np.float32(0))
    below *= slope.reshape(-1, *(1,) * (x.ndim - 1)) - 1
    x += below
    return x


def _pooled(x: Floats32, size: int) -> Floats32:
    """The largest of each window of `size`, two apart; a window may hang over the far edges."""
    columns, rows = (1 - (size - length) // 2 for length in x.shape[2:])
    result: Floats32 = x[:, :, : 2 * columns : 2, : 2 * rows : 2].copy()
    for i, j in np.ndindex(size, size):
        shifted = x[:, :, i : i + 2 * columns : 2, j : j + 2 * rows : 2]
        part = result[:, :, : shifted.shape[2], : shifted.shape[3]]
        np.maximum(part, shifted, out=part)
    return result


def _scores(x: Floats32) -> Floats32:
    """How sure the network is that this is a face: the second of two outputs against the first."""
    y: Floats32 = 1 / (1 + np.exp(x[0] - x[1]))
    return y
