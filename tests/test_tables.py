"""Tables of TOML files: each key is checked by itself, and what is wrong with it is said in plain words."""

from datetime import date, datetime
from typing import Annotated, Any, Literal

import pytest
from msgspec import Meta, Struct

from tetherwatch.tables import Mistakes, keys_of

Small = Annotated[float, Meta(gt=0, lt=1e9)]


class Inner(Struct, frozen=True):
    """A table in the table."""

    deep: int | None


def shape(
    text: Annotated[str, Meta(min_length=1, max_length=5)] | None = None,
    size: Small | None = None,
    count: Annotated[int, Meta(ge=1)] = 1,
    share: Annotated[float, Meta(ge=0, le=1)] = 0.5,
    is_on: bool = False,
    day: date | None = None,
    pair: tuple[Small, Small] | None = None,
    some: Annotated[list[Literal["a", "b", "c"]], Meta(min_length=1)] | None = None,
    mains: Literal[50, 60] | None = None,
    value: Annotated[str | Small, Meta(description="a setting's value")] | None = None,
    by_channel: dict[Literal["r", "g"], Small] | None = None,
) -> None:
    """The keys that the table below may have."""


def words(key: str, value: object) -> str:
    """What is said of a key that is wrong, and of nothing else."""
    mistakes: Mistakes = []
    assert keys_of(shape, {key: value, "share": 1}, "table", mistakes) == {key: None, "share": 1.0}
    ((place, what),) = mistakes
    assert place == f"table.{key}"
    return what


WRONG: list[tuple[str, Any, str]] = [
    ("text", 5, "it should be a valid string"),
    ("text", date(2026, 1, 1), "it should be a valid string"),
    ("text", "", "this may not be empty"),
    ("text", "abcdef", "it should have at most 5 characters"),
    ("size", "1", "it should be a valid number"),
    ("size", True, "it should be a valid number"),
    ("size", 10**400, "it should be a valid number"),
    ("size", 0, "it should be greater than 0"),
    ("size", float("inf"), "it should be less than 1000000000"),
    ("size", float("nan"), "it should be a finite number"),
    ("count", 1.0, "it should be a valid integer"),
    ("count", 0, "it should be greater than or equal to 1"),
    ("is_on", 1, "it should be a valid boolean"),
    ("day", "2026-01-01", "it should be a valid date"),
    ("day", datetime(2026, 1, 1), "it should be a valid date"),
    ("pair", 5, "it should be a valid list"),
    ("pair", [1], "it needs 2, not 1"),
    ("pair", [1, 2, 3], "it needs 2, not 3"),
    ("pair", [1, "2"], "it should be a valid number"),
    ("some", [], "it needs at least 1, not 0"),
    ("some", "a", "it should be a valid list"),
    ("some", ["a", "z"], "it should be 'a', 'b' or 'c'"),
    ("some", [5], "it should be 'a', 'b' or 'c'"),
    ("mains", 55, "it should be 50 or 60"),
    ("mains", "50", "it should be 50 or 60"),
    ("mains", True, "it should be 50 or 60"),
    ("value", [], "this is not a setting's value"),
    ("value", -1, "this is not a setting's value"),
    ("by_channel", 5, "it should be a valid table"),
    ("by_channel", {"g": 0}, "it should be greater than 0"),
    ("by_channel", {"x": 1}, "it should be 'r' or 'g'"),
]


@pytest.mark.parametrize(("key", "value", "what"), WRONG, ids=[f"{key} {value!s:.20}" for key, value, _ in WRONG])
def test_a_wrong_key_is_none_and_said_in_plain_words(key: str, value: object, what: str) -> None:
    """Whatever is wrong with it, in words that do not hang on the library that found it; what is beside it is kept."""
    assert words(key, value) == what


def test_a_right_key_is_kept_in_its_type() -> None:
    """A whole number does for any number, a list for a tuple; a key that is not there is not in the answer."""
    table = {"size": 5, "pair": [1, 2.5], "day": date(2026, 1, 1), "by_channel": {"g": 1}, "value": "1/250"}
    mistakes: Mistakes = []
    keys = keys_of(shape, table, "", mistakes)
    assert (keys, mistakes) == ({**table, "pair": (1.0, 2.5)}, [])
    assert type(keys["size"]) is float


class Outer(Struct, frozen=True):
    """A table with another in it, which must be there."""

    inner: Inner
    name: str | None


@pytest.mark.parametrize(
    ("table", "mistakes"),
    [
        ({"name": "x"}, [("inner", "the table [inner] is missing")]),
        ({"inner": 5, "name": "x"}, [("inner", "this should be a table")]),
        ({"inner": {}}, [("inner.deep", "this key is missing"), ("name", "this key is missing")]),
        ({"inner": {"deep": 1.5, "high": 1}, "name": "x"},
         [("inner.deep", "it should be a valid integer"), ("inner.high", "unknown key")]),
    ],
)  # fmt: skip
def test_a_table_in_a_table_is_always_made(table: dict[str, object], mistakes: Mistakes) -> None:
    """However wrong it is: what is wrong in it has its dotted key, and is None."""
    found: Mistakes = []
    keys = keys_of(Outer, table, "", found)
    assert found == mistakes
    assert keys["inner"] == Inner(None)
