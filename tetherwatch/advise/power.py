"""The power of a flash head, as its dial states it: full fractions of two, and tenths of a stop between them."""

import math
import re

from tetherwatch.exposure.stops import Setting, brightness, value_at

LIGHT_STEP = 0.1
"""Stops: what the power controls and hand meters of the trade resolve (common practice)."""

_SPELLING = re.compile(r"1/(1|2|4|8|16|32|64|128|256)(?: ?\+ ?(0\.[0-9]))?")


def parse_power(text: str) -> float:
    """Read "1/1" to "1/256", or with tenths of a stop more: "1/8 +0.3". ValueError for anything else."""
    found = _SPELLING.fullmatch(text.strip())
    if found is None:
        raise ValueError(f'{text!r} is not a power: write it as "1/1" to "1/256", or "1/8 +0.3"')
    stops = -math.log2(int(found[1])) + float(found[2] or 0)
    if stops > 0:
        raise ValueError(f"{text!r} is more than full power")
    return value_at(Setting.LIGHT, stops)


def power_label(power: float) -> str:
    """A part of full power as the dial states it: "1/4", "1/8 +0.3"."""
    tenths = round(brightness(Setting.LIGHT, power) / LIGHT_STEP)
    whole = tenths // 10
    rest = tenths - 10 * whole
    return f"1/{2**-whole}" + (f" +0.{rest}" if rest else "")


def distance_factor(move_stops: float) -> float:
    """How many times its distance a small lamp must stand for a move: inverse square law, 2^(-move / 2).

    Holds for lamps that are small against their distance; a large soft light nearby falls off more slowly.
    """
    return float(2.0 ** (-move_stops / 2))
