"""Frozen records as plain JSON values and back, by their type hints, so that what is recalled equals what was kept.

A field that a newer program added takes its default when an older record is read; one that it dropped is passed over.
"""

import types
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from enum import Enum
from functools import cache
from typing import Any, Literal, TypeVar, Union, cast, get_args, get_origin, get_type_hints

T = TypeVar("T")

_PLAIN = frozenset({bool, float, int, str, type(None)})

CODEC_ERRORS = (AttributeError, KeyError, TypeError, ValueError)
"""What reading something else than a record may raise."""


def to_plain(value: object) -> Any:
    """A record, or anything that one may hold, as lists, dicts with text keys, text, numbers, booleans and None."""
    if type(value) in _PLAIN:  # first, because most of a frame is the counts of its histograms
        return value
    if isinstance(value, Enum):
        return value.value
    if is_dataclass(value):
        return {field.name: to_plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {to_plain(key): to_plain(each) for key, each in value.items()}
    if isinstance(value, (tuple, list)):
        return [to_plain(each) for each in value]
    return value.isoformat() if isinstance(value, datetime) else value


def from_plain(kind: type[T], plain: Any) -> T:
    """The record of type `kind` that this was made of. Raises one of CODEC_ERRORS if it was none."""
    return cast(T, _made(kind, plain))


def fields_from_plain(kind: type, plain: Mapping[str, Any]) -> dict[str, Any]:
    """The fields of a record of type `kind` that are there, by name. Raises like `from_plain`."""
    return {name: _made(hint, plain[name]) for name, hint in _hints(kind).items() if name in plain}


def _made(kind: Any, plain: Any) -> Any:
    origin, parts = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return None if plain is None else _made(next(part for part in parts if part is not type(None)), plain)
    if origin is tuple:
        if parts[-1] is ... and parts[0] in _PLAIN:  # the counts of histograms
            return tuple(plain)
        each = [parts[0]] * len(plain) if parts[-1] is ... else parts
        return tuple(_made(part, value) for part, value in zip(each, plain, strict=True))
    if origin is Literal or kind is Any:
        return plain
    if origin is not None:
        return {_made(parts[0], key): _made(parts[1], value) for key, value in plain.items()}
    return _made_of_class(kind, plain)


def _made_of_class(kind: type, plain: Any) -> Any:
    if is_dataclass(kind):
        return kind(**fields_from_plain(kind, plain))
    if issubclass(kind, Enum):
        return kind(plain)
    return datetime.fromisoformat(plain) if kind is datetime else plain


@cache
def _hints(kind: type) -> dict[str, Any]:
    hints = get_type_hints(kind)
    return {field.name: hints[field.name] for field in fields(cast(Any, kind)) if field.init}
