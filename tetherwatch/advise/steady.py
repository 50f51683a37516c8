"""One odd frame moves nothing: where the light is suddenly gone, the frame is to be shot again first."""

from tetherwatch.advise.records import Call, Plan
from tetherwatch.advise.words import stops_text
from tetherwatch.meter.records import Reading

MISFIRE_STOPS = 1.0
"""A flash that fires is repeatable to about a tenth of a stop, so a frame this much darker had no flash, or had it
blocked (common practice, no source)."""


def odd_frame(plan: Plan, before: Reading | None, reading: Reading) -> Call | None:
    """A `check` call if this frame lost its light against the one before it; None otherwise.

    Light values are compared, so it does not matter whether the settings changed. A second dark frame in a row is no
    longer odd: it is called like any other. None under continuous light, and where a setting is unknown.
    """
    if plan.light == "continuous" or before is None or before.light_value is None or reading.light_value is None:
        return None
    lost = before.light_value - reading.light_value
    if lost < MISFIRE_STOPS:
        return None
    return Call("check", f"{stops_text(lost)} less light than the frame before: did the flash fire? Shoot again first")
