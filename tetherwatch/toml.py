"""TOML files that a user writes: read, and every mistake in them named with its key and line."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

import tomli

from tetherwatch.errors import FileError, Mistake

_NAME = r"(?:[\w.\- \t]|\"[^\"]*\"|'[^']*')+"
_HEADER = re.compile(rf"\s*(\[+)({_NAME})\]+\s*(?:#|$)")
_KEY = re.compile(rf"\s*({_NAME})=")
_LONG_STRING = re.compile(r"""("{3}|'{3}).*?\1""", re.DOTALL)


def parsed(text: str, source: str, error: type[FileError]) -> dict[str, Any]:
    """The keys and tables of a text. Raises `error` where it is no TOML."""
    try:
        return tomli.loads(text)
    except tomli.TOMLDecodeError as wrong:
        problem = _syntax_mistake(str(wrong))
    except RecursionError:
        problem = Mistake("", None, f"not a {error.kind}: it is nested too deeply")
    except ValueError:
        problem = Mistake("", None, f"not a {error.kind}: a number or date in it is out of range")
    raise error(source, (problem,))


def _syntax_mistake(message: str) -> Mistake:
    found = re.search(r"at line (\d+)", message)
    what = re.sub(r"\s*\(at .*\)$", "", message)
    return Mistake("", int(found.group(1)) if found else None, f"not valid TOML: {what}")


def located(mistakes: Iterable[tuple[str, str]], text: str) -> tuple[Mistake, ...]:
    """(dotted key, what is wrong) pairs with their lines, in the order of these."""
    lines = key_lines(text)
    problems = [Mistake(key, line_of(key, lines), what) for key, what in mistakes]
    return tuple(sorted(problems, key=lambda problem: problem.line or 0))


def key_lines(text: str) -> dict[str, int]:
    """Line numbers (from 1) of the tables and keys of a TOML text, by dotted name.

    The tables of an array are numbered from 1: `noise.2.iso`.
    """
    lines: dict[str, int] = {}
    count = Counter[str]()
    table = ""
    for number, line in enumerate(_without_long_strings(text).split("\n"), start=1):
        if header := _HEADER.match(line):
            name = _plain(header.group(2))
            lines.setdefault(name, number)
            if header.group(1) == "[[":
                count[name] += 1
                name = f"{name}.{count[name]}"
                lines.setdefault(name, number)
            table = f"{name}."
        elif key := _KEY.match(line):
            lines.setdefault(table + _plain(key.group(1)), number)
    return lines


def _without_long_strings(text: str) -> str:
    """What stands inside a string of several lines is no key, whatever it looks like."""
    return _LONG_STRING.sub(lambda found: "\n" * found.group().count("\n"), text)


def _plain(name: str) -> str:
    """A name without quotes and spaces, which TOML allows around its parts."""
    return re.sub(r"[\"'\s]", "", name)


def line_of(key: str, lines: Mapping[str, int]) -> int | None:
    """The line of a dotted key, or of the closest table around it."""
    name = _plain(key)
    while name:
        if name in lines:
            return lines[name]
        name = name.rpartition(".")[0]
    return None
