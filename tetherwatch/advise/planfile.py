"""Plan text (TOML) becomes a `Plan`, or one `PlanError` that names every mistake with its key and line."""

from tetherwatch.advise.planmodel import PlanModel
from tetherwatch.advise.planrules import Given, resolve_plan
from tetherwatch.advise.records import Plan
from tetherwatch.errors import PlanError
from tetherwatch.tables import Mistakes, keys_of
from tetherwatch.toml import located, parsed


def parse_plan(text: str, source: str, ceiling_iso: float | None = None, body: str | None = None) -> Plan:
    """Read and check a plan. `ceiling_iso` is what "ceiling" stands for; None takes a cautious default and notes it.

    `body` names the profile that the ceiling is of; None is the user's own word.
    Raises PlanError with all problems of the file together, in the order of their lines.
    """
    mistakes: Mistakes = []
    model = PlanModel(**keys_of(PlanModel, parsed(text, source, PlanError), "", mistakes))
    plan = resolve_plan(model, source, Given(ceiling_iso, body), mistakes)
    if plan is None:
        raise PlanError(source, located(mistakes, text))
    return plan
