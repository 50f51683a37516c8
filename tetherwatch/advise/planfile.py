"""Plan text (TOML) becomes a `Plan`, or one `PlanError` that names every mistake with its key and line."""

import re
from collections.abc import Mapping
from typing import Any, TypeVar

import tomli
from pydantic import BaseModel, ValidationError

from tetherwatch.advise.planmodel import AimModel, HeadModel, OrderModel, RangeModel
from tetherwatch.advise.planrules import Mistakes, Tables, resolve_plan
from tetherwatch.advise.records import Plan
from tetherwatch.errors import PlanError, PlanProblem

_TABLES: Mapping[str, type[BaseModel]] = {
    "aim": AimModel,
    "shutter": RangeModel,
    "aperture": RangeModel,
    "iso": RangeModel,
    "order": OrderModel,
}

Model = TypeVar("Model", bound=BaseModel)


def parse_plan(text: str, source: str, ceiling_iso: float | None = None) -> Plan:
    """Read and check a plan. `ceiling_iso` is what "ceiling" stands for; None takes a cautious default and notes it.

    Raises PlanError with all problems of the file together, in the order of their lines.
    """
    try:
        data = tomli.loads(text)
    except (tomli.TOMLDecodeError, RecursionError) as error:
        raise PlanError(source, (_syntax_problem(str(error)),)) from None
    mistakes: Mistakes = []
    plan = resolve_plan(_tables(data, mistakes), source, ceiling_iso, mistakes)
    if plan is None or mistakes:
        raise PlanError(source, _located(mistakes, key_lines(text)))
    return plan


def _tables(data: dict[str, Any], mistakes: Mistakes) -> Tables:
    """Check each table by itself, so that a mistake in one does not hide those in another."""
    head = {key: value for key, value in data.items() if key not in _TABLES}
    return Tables(
        head=_checked(HeadModel, head, "", mistakes),
        aim=_checked(AimModel, data.get("aim", {}), "aim", mistakes),
        shutter=_checked(RangeModel, data.get("shutter"), "shutter", mistakes),
        aperture=_checked(RangeModel, data.get("aperture"), "aperture", mistakes),
        iso=_checked(RangeModel, data.get("iso"), "iso", mistakes),
        order=_checked(OrderModel, data.get("order"), "order", mistakes),
    )


def _checked(model: type[Model], table: object, name: str, mistakes: Mistakes) -> Model | None:
    if table is None:
        mistakes.append((name, f"the table [{name}] is missing"))
        return None
    try:
        return model.model_validate(table)
    except ValidationError as error:
        found = {_key(name, detail["loc"]): _message(dict(detail)) for detail in error.errors(include_url=False)}
        mistakes.extend(found.items())
        return None


def _key(table: str, location: tuple[str | int, ...]) -> str:
    """Dotted key without list positions and without the names of the types tried."""
    names = [part for part in location if isinstance(part, str) and part not in ("str", "int", "float")]
    return ".".join(filter(None, [table, *names]))


def _message(detail: dict[str, Any]) -> str:
    fixed = {
        "extra_forbidden": "unknown key",
        "missing": "this key is missing",
        "model_type": "this should be a table",
        "string_too_short": "this may not be empty",
    }
    kind, context = detail["type"], detail.get("ctx", {})
    if kind in fixed:
        return fixed[kind]
    if kind in ("too_short", "too_long"):
        wanted = context.get("min_length", context.get("max_length"))
        return f"it needs {'at least ' if wanted == 1 else ''}{wanted}, not {context.get('actual_length')}"
    if kind in ("string_type", "int_type", "float_type") and detail["loc"][-1] in ("str", "int", "float"):
        return "this is not a setting's value"
    return str(detail["msg"]).replace("Input", "it", 1)


def _syntax_problem(message: str) -> PlanProblem:
    found = re.search(r"at line (\d+)", message)
    what = re.sub(r"\s*\(at .*\)$", "", message)
    return PlanProblem("", int(found.group(1)) if found else None, f"not valid TOML: {what}")


def _located(mistakes: Mistakes, lines: Mapping[str, int]) -> tuple[PlanProblem, ...]:
    problems = [PlanProblem(key, line_of(key, lines), what) for key, what in mistakes]
    return tuple(sorted(problems, key=lambda problem: problem.line or 0))


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
