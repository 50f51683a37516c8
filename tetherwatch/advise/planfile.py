"""Plan text (TOML) becomes a `Plan`, or one `PlanError` that names every mistake with its key and line."""

import re
from collections.abc import Mapping
from typing import Any

import tomli
from pydantic import ValidationError

from tetherwatch.advise.planmodel import PlanModel
from tetherwatch.advise.planrules import resolve_plan
from tetherwatch.advise.records import Plan
from tetherwatch.errors import PlanError, PlanProblem


def parse_plan(text: str, source: str, ceiling_iso: float | None = None) -> Plan:
    """Read and check a plan. `ceiling_iso` is what "ceiling" stands for; None takes a cautious default and notes it.

    Raises PlanError with all problems of the file together.
    """
    lines = key_lines(text)
    try:
        model = PlanModel.model_validate(tomli.loads(text))
    except tomli.TOMLDecodeError as error:
        raise PlanError(source, (_syntax_problem(error),)) from None
    except ValidationError as error:
        problems = tuple(_model_problem(dict(detail), lines) for detail in error.errors(include_url=False))
        raise PlanError(source, _without_repeats(problems)) from None
    plan, mistakes = resolve_plan(model, source, ceiling_iso)
    if plan is None:
        raise PlanError(source, tuple(PlanProblem(key, line_of(key, lines), what) for key, what in mistakes))
    return plan


def _syntax_problem(error: tomli.TOMLDecodeError) -> PlanProblem:
    found = re.search(r"at line (\d+)", str(error))
    what = re.sub(r"\s*\(at .*\)$", "", str(error))
    return PlanProblem("", int(found.group(1)) if found else None, f"not valid TOML: {what}")


_MESSAGES = {
    "extra_forbidden": "unknown key",
    "missing": "missing",
}


def _model_problem(detail: Mapping[str, Any], lines: Mapping[str, int]) -> PlanProblem:
    names = [str(part) for part in detail["loc"] if not str(part).startswith(("function-", "list[", "constrained-"))]
    key = ".".join(name for name in names if name not in ("str", "int", "float"))
    what = _MESSAGES.get(detail["type"]) or _lower_first(detail["msg"]).replace("Input", "it")
    return PlanProblem(key, line_of(key, lines), what)


def _lower_first(text: str) -> str:
    return text.replace("Input ", "it ", 1) if text.startswith("Input ") else text[:1].lower() + text[1:]


def _without_repeats(problems: tuple[PlanProblem, ...]) -> tuple[PlanProblem, ...]:
    """One problem a key: a value that fits none of several types is reported once."""
    return tuple({problem.key: problem for problem in reversed(problems)}.values())[::-1]


def key_lines(text: str) -> dict[str, int]:
    """Line numbers (from 1) of the tables and keys of a TOML text, by dotted name."""
    lines: dict[str, int] = {}
    table = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if header := re.match(r"\s*\[+\s*([\w.\-\"' ]+?)\s*\]+", line):
            table = header.group(1).replace('"', "").replace("'", "") + "."
            lines.setdefault(table[:-1], number)
        elif key := re.match(r"\s*([\w.\-]+|\"[^\"]+\"|'[^']+')\s*=", line):
            lines.setdefault(table + key.group(1).strip("\"'"), number)
    return lines


def line_of(key: str, lines: Mapping[str, int]) -> int | None:
    """The line of a dotted key, or of the closest table around it."""
    while key:
        if key in lines:
            return lines[key]
        key = key.rpartition(".")[0]
    return None
