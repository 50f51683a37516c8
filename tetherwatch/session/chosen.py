"""A plan as it was chosen: its whole text too, so that a session can go on under it when the file has changed."""

from dataclasses import dataclass

from tetherwatch.advise.library import plan_text
from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Plan


@dataclass(frozen=True, slots=True)
class ChosenPlan:
    """`source` is the shipped name or the file, `ceiling_iso` the highest ISO the user gave with it, if any."""

    source: str
    text: str
    ceiling_iso: float | None
    plan: Plan


def chosen_plan(source: str, text: str, ceiling_iso: float | None) -> ChosenPlan:
    """A plan by its text. Raises PlanError."""
    return ChosenPlan(source, text, ceiling_iso, parse_plan(text, source, ceiling_iso))


def choose(name_or_path: str, ceiling_iso: float | None) -> ChosenPlan:
    """A shipped plan by name or a plan file by path. Raises UsageError or PlanError."""
    return chosen_plan(name_or_path, plan_text(name_or_path), ceiling_iso)
