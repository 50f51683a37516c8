"""Plan text (TOML) becomes a `Plan`, or one `PlanError` that names every mistake with its key and line."""

from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from tetherwatch.advise.planmodel import AimModel, HeadModel, OrderModel, PowerModel, RangeModel, SceneModel
from tetherwatch.advise.planrules import Given, Mistakes, Tables, resolve_plan
from tetherwatch.advise.records import Plan
from tetherwatch.errors import PlanError
from tetherwatch.toml import located, parsed, words_of

_TABLES: Mapping[str, type[BaseModel]] = {
    "aim": AimModel,
    "shutter": RangeModel,
    "aperture": RangeModel,
    "iso": RangeModel,
    "order": OrderModel,
    "power": PowerModel,
    "scene": SceneModel,
}

Model = TypeVar("Model", bound=BaseModel)


def parse_plan(text: str, source: str, ceiling_iso: float | None = None, body: str | None = None) -> Plan:
    """Read and check a plan. `ceiling_iso` is what "ceiling" stands for; None takes a cautious default and notes it.

    `body` names the profile that the ceiling is of; None is the user's own word.
    Raises PlanError with all problems of the file together, in the order of their lines.
    """
    data = parsed(text, source, PlanError)
    mistakes: Mistakes = []
    plan = resolve_plan(_tables(data, mistakes), source, Given(ceiling_iso, body), mistakes)
    if plan is None:
        raise PlanError(source, located(mistakes, text))
    return plan


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
    location = detail["loc"]
    if len(location) > 1 and isinstance(location[-1], str):  # none of the ways to write a value fits
        return "this is not a setting's value"
    return words_of(detail)
