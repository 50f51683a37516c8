"""What an odd frame looks like: small rules, each a sentence that names it and says what to do.

Figures are common practice without a source unless one is named.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from tetherwatch.advise.likeness import ALIKE_STOPS, alike, brights_change, contrast, is_black, light_change
from tetherwatch.advise.records import Finding, Plan, Shot
from tetherwatch.advise.words import stops_text

SUDDEN_STOPS = 1.0
"""Light that changes by this much from one frame to the next did not drift."""

GONE_STOPS = 4.0
"""A loss that leaves the room's own light: nobody turns a flash down this far without being asked."""

UNLIT_STOPS = 5.0
"""A first frame this much too dark under flash was more likely taken without it."""

UNPROVEN_STOPS = 0.5
"""A change under flash that is odd with a single frame to go by: five times what makers claim it repeats to."""

SCATTER_TIMES = 1.5
"""A change under flash is odd from this many times the range of the last frames' light on (judgement)."""

_CARD_STOPS = 0.7
_SUBJECT_STOPS = 1.5
"""Contrast of a picture that a card fills, at most, and of one that shows more than that, at least."""


@dataclass(frozen=True, slots=True)
class Case:
    """A frame and what it is to be judged by.

    `usual`: the last few frames of this setup that were not odd, oldest first; empty at its start. `odd`: the
    frame directly before, if that was odd. `change`: light that came (negative: went) since the last usual frame, in
    stops, less what the last call asked for; None if not known. `by_hand`: a setting was moved that no call asked for.
    """

    plan: Plan
    shot: Shot
    usual: tuple[Shot, ...]
    odd: Shot | None
    change: float | None
    by_hand: bool

    @property
    def flash(self) -> bool:
        """Whether there is a flash in the light."""
        return self.plan.light != "continuous"

    @property
    def lost(self) -> float:
        """Stops of light lost; negative where light was gained, 0 where it is not known."""
        return 0.0 if self.change is None else -self.change

    @property
    def least(self) -> float:
        """The change of light, up or down, that is odd: less where a flash has shown how well it repeats."""
        lights = [light_change(self.plan, self.usual[-1], shot) for shot in self.usual]
        known = [light for light in lights if light is not None]
        if not self.flash:
            return SUDDEN_STOPS
        if len(known) < 2:
            return UNPROVEN_STOPS
        return min(max(ALIKE_STOPS, SCATTER_TIMES * (max(known) - min(known))), SUDDEN_STOPS)


Rule = Callable[[Case], str | None]
Named = tuple[str, Rule]
"""A rule with the stable name of what it finds."""

MISFIRES = frozenset({"gone", "unlit", "misfire", "weak"})
"""What is odd about a frame whose flash failed it."""


def named(case: Case) -> Finding | None:
    """What is odd about a frame, by its stable name and in one sentence; None if nothing is."""
    lasting = _first(_LASTING, case)
    if lasting is not None or (case.odd is not None and alike(case.plan, case.odd, case.shot)):
        return lasting
    return _first(_ONCE, case)


def _first(rules: Iterable[Named], case: Case) -> Finding | None:
    found = ((kind, rule(case)) for kind, rule in rules)
    return next((Finding(kind, reason) for kind, reason in found if reason is not None), None)


def _black(case: Case) -> str | None:
    if not is_black(case.shot.reading):
        return None
    flash = ", see that the flash fires," if case.flash else ""
    return f"The whole picture is black: take the cap off the lens{flash} and shoot again."


def _gone(case: Case) -> str | None:
    if not case.flash or case.lost < GONE_STOPS:
        return None
    return f"{stops_text(case.lost)} of light are gone: the flash did not fire; see that it does and shoot again."


def _unlit(case: Case) -> str | None:
    dark = -case.shot.reading.offset_stops
    if case.plan.light != "flash" or case.usual or dark < UNLIT_STOPS:
        return None
    return f"The first frame is {stops_text(dark)} too dark, as without flash: see that it fires and shoot again."


def _card(case: Case) -> str | None:
    if case.by_hand or not case.usual or case.plan.aim.area == "card":
        return None
    if contrast(case.shot.reading) > _CARD_STOPS or contrast(case.usual[-1].reading) < _SUBJECT_STOPS:
        return None
    return "The picture is one even tone, as if a test card filled it: shoot the subject before moving anything."


def _blocked(case: Case) -> str | None:
    if case.by_hand or case.lost < case.least:
        return None
    rest = brights_change(case.plan, case.usual[-1], case.shot)
    if rest is None or abs(rest) > min(ALIKE_STOPS, case.lost / 3):
        return None
    return (
        f"The metered area lost {stops_text(case.lost)}, the rest of the picture did not: "
        "see what stands in its light and shoot again."
    )


def _misfire(case: Case) -> str | None:
    if not case.flash or case.lost < SUDDEN_STOPS:
        return None
    return (
        f"The frames before had {stops_text(case.lost)} more light: "
        "see that the flash fires, and shoot again before moving anything."
    )


def _weak(case: Case) -> str | None:
    if case.by_hand or case.lost < case.least or not case.flash:
        return None
    return f"The flash gave {stops_text(case.lost)} less than before: let it recharge, then shoot again."


def _glint(case: Case) -> str | None:
    if case.by_hand or -case.lost < case.least:
        return None
    cause = "a reflection, or a flash that fired twice" if case.flash else "a reflection or a lamp"
    return f"{stops_text(-case.lost)} more light than before: look for {cause}, and shoot again."


def _dimmed(case: Case) -> str | None:
    if case.by_hand or case.flash or case.lost < SUDDEN_STOPS:
        return None
    return f"{stops_text(case.lost)} of light went at once: see whether a lamp is out, and shoot again."


_LASTING: tuple[Named, ...] = (("black", _black), ("gone", _gone))
"""Odd however often they come."""

_ONCE: tuple[Named, ...] = (
    ("unlit", _unlit),
    ("card", _card),
    ("blocked", _blocked),
    ("misfire", _misfire),
    ("weak", _weak),
    ("glint", _glint),
    ("dimmed", _dimmed),
)
"""Odd only until a second frame agrees: then it is how things are now."""
