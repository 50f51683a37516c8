"""Plan text (TOML) becomes a `Plan`, or one `PlanError` that names every mistake with its key and line."""

import re
from collections.abc import Mapping
from typing import Any, TypeVar

import tomli
from pydantic import BaseModel, ValidationError

from tetherwatch.advise.planmodel import AimModel, HeadModel, OrderModel, PowerModel, RangeModel, SceneModel
from tetherwatch.advise.planrules import Mistakes, Tables, resolve_plan
from tetherwatch.advise.records import Plan
from tetherwatch.errors import PlanError, PlanProblem

_TABLES: Mapping[str, type[BaseModel]] = {
    "aim": AimModel,
    "shutter": RangeModel,
    "aperture": RangeModel,
    "iso": RangeModel,
    "order": OrderModel,
    "power": PowerModel,
    "scene": SceneModel,
}

_NAME = r"(?:[\w.\- \t]|\"[^\"]*\"|'[^']*')+"
_HEADER = re.compile(rf"\s*\[+({_NAME})\]+\s*(?:#|$)")
_KEY = re.compile(rf"\s*({_NAME})=")
_LONG_STRING = re.compile(r"""("{3}|'{3}).*?\1""", re.DOTALL)

Model = TypeVar("Model", bound=BaseModel)


def parse_plan(text: str, source: str, ceiling_iso: float | None = None) -> Plan:
    """Read and check a plan. `ceiling_iso` is what "ceiling" stands for; None takes a cautious default and notes it.

    Raises PlanError with all problems of the file together, in the order of their lines.
    """
    data = _parsed(text, source)
    mistakes: Mistakes = []
    plan = resolve_plan(_tables(data, mistakes), source, ceiling_iso, mistakes)
    if plan is None:
        raise PlanError(source, _located(mistakes, key_lines(text)))
    return plan


def _parsed(text: str, source: str) -> dict[str, Any]:
    try:
        return tomli.loads(text)
    except tomli.TOMLDecodeError as error:
        problem = _syntax_problem(str(error))
    except RecursionError:
        problem = PlanProblem("", None, "not a plan: it is nested too deeply")
    except ValueError:
        problem = PlanProblem("", None, "not a plan: a number or date in it is out of range")
    raise PlanError(source, (problem,))


def _tables(data: dict[str, Any], mistakes: Mistakes) -> Tables:
    head = {key: value for key, value in data.items() if key not in _TABLES}
    return Tables(
        head=_checked(HeadModel, head, "", mistakes),
        aim=_checked(AimModel, data.get("aim", {}), "aim", mistakes),
        shutter=_checked(RangeModel, data.get("shutter"), "shutter", mistakes),
        aperture=_checked(RangeModel, data.get("aperture"), "aperture", mistakes),
        iso=_checked(RangeModel, data.get("iso"), "iso", mistakes),
        order=_checked(OrderModel, data.get("order"), "order", mistakes),
        power=_checked(PowerModel, data["power"], "power", mistakes) if "power" in data else None,
        scene=_checked(SceneModel, data.get("scene", {}), "scene", mistakes),
    )


def _checked(model: type[Model], table: object, name: str, mistakes: Mistakes) -> Model:
    """The keys of a table that are right by themselves; the others are noted and None."""
    if not isinstance(table, dict):
        what = f"the table [{name}] is missing" if table is None else "this should be a table"
        mistakes.append((name, what))
        return model.model_construct(None, **dict.fromkeys(model.model_fields))
    try:
        return model.model_validate(table)
    except ValidationError as error:
        wrong = {str(detail["loc"][0]): _message(dict(detail)) for detail in error.errors(include_url=False)}
    mistakes.extend((f"{name}.{key}" if name else key, what) for key, what in wrong.items())
    kept = {key: value for key, value in table.items() if key not in wrong}
    return model.model_construct(None, **{**dict.fromkeys(wrong.keys() & model.model_fields.keys()), **kept})


def _message(detail: dict[str, Any]) -> str:
    fixed = {
        "extra_forbidden": "unknown key",
        "missing": "this key is missing",
        "string_too_short": "this may not be empty",
    }
    kind, context, location = detail["type"], detail.get("ctx", {}), detail["loc"]
    if kind in fixed:
        return fixed[kind]
    if kind in ("too_short", "too_long"):
        wanted = context.get("min_length", context.get("max_length"))
        return f"it needs {'at least ' if wanted == 1 else ''}{wanted}, not {context.get('actual_length')}"
    if len(location) > 1 and isinstance(location[-1], str):  # none of the ways to write a value fits
        return "this is not a setting's value"
    return re.sub("^(Input|String|List)", "it", str(detail["msg"]))


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
    for number, line in enumerate(_without_long_strings(text).split("\n"), start=1):
        if header := _HEADER.match(line):
            table = _plain(header.group(1)) + "."
            lines.setdefault(table[:-1], number)
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
