"""Frozen records as plain JSON values and back, by their type hints, so that what is recalled equals what was kept.

A field that a newer program added takes its default when an older record is read; one that it dropped is passed over.
The text between is made by `json`, not by msgspec: names that no encoding explains must come back as they were.
"""

from collections.abc import Mapping
from functools import cache
from typing import Any, TypeVar, get_type_hints

from msgspec import convert, to_builtins

T = TypeVar("T")

CODEC_ERRORS = (AttributeError, KeyError, TypeError, ValueError)
"""What reading something else than a record may raise."""


def to_plain(value: object) -> Any:
    """A record, or anything that one may hold, as lists, dicts with text keys, text, numbers, booleans and None."""
    return to_builtins(value, str_keys=True, enc_hook=_plainer)


def from_plain(kind: type[T], plain: Any) -> T:
    """The record of type `kind` that this was made of. Raises one of CODEC_ERRORS if it was none."""
    return convert(plain, kind)


def fields_from_plain(kind: type, plain: Mapping[str, Any]) -> dict[str, Any]:
    """The fields of a record of type `kind` that are there, by name. Raises like `from_plain`."""
    return {name: convert(plain[name], hint) for name, hint in _hints(kind).items() if name in plain}


def _plainer(value: Any) -> Any:
    """What msgspec does not take as it is: a mapping that is no dict, and a float of numpy's."""
    return dict(value) if isinstance(value, Mapping) else float(value)


_hints = cache(get_type_hints)
