"""The trained numbers of the networks: read from the ONNX files of an installed package, whose code is never run.

ONNX is a Protocol Buffers message: a key (field number and wire type), then a number or a length and that many bytes.
Only the tensors of the graph are read; how the networks are built is in `face.networks`. Sources: the wire format of
Protocol Buffers, and onnx.proto of ONNX (graph 7; its initializers 5; of a tensor: shape 1, floats 4, name 8, raw 9).
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from tetherwatch.errors import MissingExtraError
from tetherwatch.face.package import weights_folder

Floats32 = NDArray[np.float32]
Weights = dict[str, Floats32]

_GRAPH, _TENSOR = 7, 5
_SHAPE, _FLOATS, _NAME, _RAW = 1, 4, 8, 9
_FIXED = {1: 8, 5: 4}
"""Bytes of the wire types with a fixed length."""


def read_weights(network: str) -> Weights:
    """The tensors of one network by name. Raises MissingExtraError without the package or its file."""
    folder = weights_folder()
    if folder is None:
        raise MissingExtraError("face")
    try:
        return tensors((folder / f"{network}.onnx").read_bytes())
    except OSError as error:
        raise MissingExtraError("face") from error


def tensors(content: bytes) -> Weights:
    """The tensors in the bytes of an ONNX file. Raises ValueError if it is none."""
    try:
        return dict(map(_tensor, _inside(_first(memoryview(content), _GRAPH), _TENSOR)))
    except (IndexError, ValueError) as error:
        raise ValueError("not an ONNX file") from error


def _tensor(message: memoryview) -> tuple[str, Floats32]:
    shape = [value for number, value in _fields(message) if number == _SHAPE and isinstance(value, int)]
    numbers = np.frombuffer(_first(message, _FLOATS, _RAW), "<f4")
    return bytes(_first(message, _NAME)).decode(), numbers.reshape(shape)


def _first(message: memoryview, *wanted: int) -> memoryview:
    found = next(_inside(message, *wanted), None)
    if found is None:
        raise ValueError("a field is missing")
    return found


def _inside(message: memoryview, *wanted: int) -> Iterator[memoryview]:
    return (value for number, value in _fields(message) if number in wanted and isinstance(value, memoryview))


def _fields(message: memoryview) -> Iterator[tuple[int, int | memoryview]]:
    """Field numbers with their values, which are whole numbers or bytes."""
    place = 0
    while place < len(message):
        key, place = _number(message, place)
        kind = key & 7
        if kind == 0:
            value, place = _number(message, place)
            yield key >> 3, value
            continue
        length, place = (_FIXED[kind], place) if kind in _FIXED else _number(message, place)
        yield key >> 3, message[place : place + length]
        place += length


def _number(message: memoryview, place: int) -> tuple[int, int]:
    """A number in groups of 7 bits, the lowest first, and the place after it."""
    value = shift = 0
    while True:
        byte = message[place]
        value |= (byte & 0x7F) << shift
        shift, place = shift + 7, place + 1
        if byte < 0x80:
            return value, place
