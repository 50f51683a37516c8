"""A plan as it was chosen: its whole text too, so that a session can go on under it when the file has changed."""

from contextlib import suppress
from dataclasses import dataclass

from tetherwatch.advise.library import plan_text
from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Plan
from tetherwatch.body.records import Body
from tetherwatch.errors import PlanError


@dataclass(frozen=True, slots=True)
class ChosenPlan:
    """`source` is the shipped name or the file, `ceiling_iso` the highest ISO the user gave with it, if any.

    `body` is that of the captures, if it is known: its ceiling counts where the user gave none.
    """

    source: str
    text: str
    ceiling_iso: float | None
    plan: Plan
    body: Body | None = None

    def under(self, body: Body | None) -> "ChosenPlan":
        """The same plan for captures of `body`; a measured ceiling that it has no room for is left aside."""
        measured = body.ceiling if body is not None and self.ceiling_iso is None else None
        plan = parse_plan(self.text, self.source, self.ceiling_iso)
        if body is not None and measured is not None:
            with suppress(PlanError):
                plan = parse_plan(self.text, self.source, measured.iso, body.name)
        return ChosenPlan(self.source, self.text, self.ceiling_iso, plan, body)


def chosen_plan(source: str, text: str, ceiling_iso: float | None, body: Body | None = None) -> ChosenPlan:
    """A plan by its text. Raises PlanError."""
    return ChosenPlan(source, text, ceiling_iso, parse_plan(text, source, ceiling_iso)).under(body)


def choose(name_or_path: str, ceiling_iso: float | None, body: Body | None = None) -> ChosenPlan:
    """A shipped plan by name or a plan file by path. Raises UsageError or PlanError."""
    return chosen_plan(name_or_path, plan_text(name_or_path), ceiling_iso, body)
