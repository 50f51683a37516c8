"""The tables of a TOML file, each key checked by itself against its type, so that all mistakes come together."""

import re
from collections.abc import Callable, Iterator
from datetime import date
from inspect import signature
from typing import Any, Literal, get_args, get_origin

from msgspec import Meta, Struct, ValidationError, convert

Mistakes = list[tuple[str, str]]
"""(dotted key, what is wrong) pairs."""

_NAMES = {"str": "string", "float": "number", "int": "integer", "bool": "boolean", "array": "list", "object": "table"}
_SIGNS = {">": "greater than", ">=": "greater than or equal to", "<": "less than", "<=": "less than or equal to"}


def keys_of(shape: Callable[..., object], table: object, name: str, mistakes: Mistakes) -> dict[str, Any]:
    """The keys of a table called `name` that are there, or must be, by the arguments of `shape`.

    Each that is wrong by itself, or missing, is None and added to `mistakes`; so is every unknown key. An argument that
    is a Struct is a table in the table.
    """
    known = signature(shape).parameters
    if not isinstance(table, dict):
        mistakes.append((name, f"the table [{name}] is missing" if table is None else "this should be a table"))
        return dict.fromkeys(known)
    place = f"{name}." if name else ""
    keys = {}
    for key, argument in known.items():
        if key in table or argument.default is argument.empty:
            keys[key] = _checked(argument.annotation, table.get(key), place + key, mistakes)
    mistakes.extend((place + key, "unknown key") for key in table if key not in known)
    return keys


def _checked(kind: Any, value: object, key: str, mistakes: Mistakes) -> Any:
    if isinstance(kind, type) and issubclass(kind, Struct):
        return kind(**keys_of(kind, value, key, mistakes))
    if value is None:
        mistakes.append((key, "this key is missing"))
        return None
    try:
        return convert(value, kind, builtin_types=(date,))  # a date is one already, never text
    except ValidationError as error:
        mistakes.append((key, _words(kind, value, str(error))))
        return None


def _words(kind: Any, value: object, message: str) -> str:
    """What msgspec found wrong with a value, in words that fit any file: it knows other names, and gives no choices."""
    message = message.partition(" - at ")[0].replace(" | null", "")
    message = message.replace("Number out of range", "Expected `float`, got `int`")  # more than any float can hold
    if found := re.fullmatch(r"Expected `(\w+)` of length ([<>=]*) ?(\d+)(?:, got (\d+))?", message):
        return _length_words(*found.groups())
    if not message.startswith("Expected `array`") and (own := _own_words(kind, message)):
        return own
    if found := re.fullmatch(r"Expected `(\w+)`, got .*", message):
        return f"it should be a valid {_NAMES.get(found[1], found[1])}"
    if value != value:
        return "it should be a finite number"
    if found := re.fullmatch(r"Expected `\w+` ([<>]=?) (.+)", message):
        return f"it should be {_SIGNS[found[1]]} {float(found[2]):.15g}"
    return message


def _length_words(what: str, sign: str, wanted: str, actual: str | None) -> str:
    if sign == "<=":
        return f"it should have at most {wanted} characters"
    if what == "str":
        return "this may not be empty"
    return f"it needs {wanted}, not {actual}" if actual else f"it needs at least {wanted}, not 0"


def _own_words(kind: Any, message: str) -> str | None:
    """What a type says of its values: by the description of its Meta, or by its Literal."""
    parts = tuple(_parts(kind))
    for described in (part.description for part in parts if isinstance(part, Meta) and part.description):
        return f"this is not {described}"
    for choices in (get_args(part) for part in parts if get_origin(part) is Literal):
        if message.startswith(("Invalid enum value", f"Expected `{type(choices[0]).__name__}`")):
            return f"it should be {', '.join(map(repr, choices[:-1]))} or {choices[-1]!r}"
    return None


def _parts(kind: Any) -> Iterator[Any]:
    """A type, and all that it is made of."""
    yield kind
    for part in get_args(kind):
        yield from _parts(part)
