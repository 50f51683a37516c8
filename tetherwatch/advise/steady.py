"""One odd frame moves nothing: where the light is suddenly gone, the frame is to be shot again first."""

from collections.abc import Sequence

from tetherwatch.advise.records import Call, Plan, Shot
from tetherwatch.advise.words import stops_text
from tetherwatch.exposure.stops import Setting

MISFIRE_STOPS = 1.0
"""A flash that fires is repeatable to about a tenth of a stop, so a frame this much darker had no flash, or had it
blocked (common practice, no source)."""


def odd_frame(plan: Plan, history: Sequence[Shot], shot: Shot, asked: Call | None = None) -> Call | None:
    """A `check` call if this frame lost its light against the one before it; None otherwise.

    Light values are compared, so it does not matter whether the settings changed. `asked` is the call of the frame
    before: light that it asked to be taken away is not lost. A second dark frame in a row is no longer odd: it is
    called like any other. None under continuous light, and where a setting is unknown.
    """
    before, reading = history[-1].reading if history else None, shot.reading
    if plan.light == "continuous" or before is None or before.light_value is None or reading.light_value is None:
        return None
    lost = before.light_value - reading.light_value
    if lost - _taken_away(asked) < MISFIRE_STOPS:
        return None
    return Call(
        "check",
        f"The frame before had {stops_text(lost)} more light: shoot again before moving anything, "
        "and see that the flash fires.",
    )


def _taken_away(asked: Call | None) -> float:
    """Stops of light that a call asked to take away, at most: its own move, and what it left to do."""
    if asked is None:
        return 0.0
    by_light = asked.move_stops if asked.setting is Setting.LIGHT else 0.0
    return max(0.0, -by_light) + max(0.0, -asked.left_stops)
