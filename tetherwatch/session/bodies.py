"""Which bodies a session's captures may be of, and what is said once it is known which they are."""

from dataclasses import dataclass
from pathlib import Path

from tetherwatch.body.library import Library, body_named, read_library
from tetherwatch.body.matching import Bodies, Found, fresh
from tetherwatch.body.records import Body
from tetherwatch.errors import BodyError
from tetherwatch.exposure.dial import label
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.session.chosen import ChosenPlan
from tetherwatch.text import display_name
from tetherwatch.watch.records import Problem


@dataclass(frozen=True, slots=True)
class Shelf:
    """All profiles at a start, and the one that the user named, if any."""

    library: Library
    named: Body | None

    def candidates(self, kept: Body | None = None) -> Bodies:
        """What captures may be of: the named body, or the one that the session `kept`, goes before all others.

        What was measured since takes the place of what was kept.
        """
        if self.named is not None:
            others = (body for body in self.library.bodies if body.name != self.named.name)
            return Bodies((self.named, *others), self.named.name)
        return Bodies(fresh(self.library.bodies, kept), None if kept is None else kept.name)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What is wrong with profiles that cannot be used."""
        return tuple(map(broken_profile, self.library.broken))


def take_stock(named: str | None) -> Shelf:
    """Read the user's profiles. Raises UsageError or BodyError for the one `named` by its name or file."""
    return Shelf(read_library(), None if named is None else body_named(named))


def broken_profile(error: BodyError) -> Problem:
    """A profile that cannot be used: its first mistake, and that the shoot goes on."""
    first, more = error.problems[0], len(error.problems) - 1
    place = ", ".join(filter(None, ["" if first.line is None else f"line {first.line}", display_name(first.key)]))
    what = f"{place}: {first.problem}" if place else first.problem
    rest = f", and {more} more" if more else ""
    return Problem(
        Path(error.source),
        f"this body profile is not used: {display_name(what)}{rest}",
        "mend it, or take it away; metering goes on without it",
    )


def body_sentence(chosen: ChosenPlan, bodies: Bodies, metadata: Metadata, found: Found) -> str | None:
    """What is known of the body of a capture, and whose ceiling counts; None where there is nothing to say."""
    camera = "a camera that it does not name" if metadata.camera is None else metadata.camera
    if found.body is not None:
        figures = f"{_ceiling_words(chosen, found.body)}{_grey_words(found.body)}"
        return f"body profile {found.body.name}, {found.by}: {figures}"
    if bodies.preferred is not None:
        return f"body profile {bodies.preferred} is of another camera than this capture, which is of {camera}"
    if not bodies.known:
        return None
    return f"{found.by} ({camera}): {_ceiling_words(chosen, None)}"


def _ceiling_words(chosen: ChosenPlan, body: Body | None) -> str:
    plan = chosen.plan
    here = label(Setting.ISO, plan.ceiling_iso, plan.step)
    if chosen.ceiling_iso is not None:
        return f"your ceiling, ISO {here}, stays"
    if not plan.ceiling_assumed:
        return f"ceiling ISO {here}"
    if body is not None and body.ceiling is not None:
        measured = label(Setting.ISO, body.ceiling.iso, plan.step)
        return f"the plan has no room for its ceiling, ISO {measured}, so ISO {here} is assumed"
    return f"ceiling ISO {here} is assumed"


def _grey_words(body: Body) -> str:
    return "" if body.grey is None else f", grey at {body.grey.stops:+.2f} stops"
