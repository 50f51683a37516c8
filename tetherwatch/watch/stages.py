"""How long a capture took from its arrival to the screen, stage by stage, timed by the program itself."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Stages:
    """Seconds that a capture took; None where a stage was not timed.

    `wait_s`: from the file's last change, as far as we saw it, until a worker was given it. `decode_s`: until its
    pixels and settings were there; `meter_s`: until it was measured; `advise_s`: until the call was known.
    """

    wait_s: float | None = None
    decode_s: float | None = None
    meter_s: float | None = None
    advise_s: float | None = None


NOT_TIMED = Stages()
