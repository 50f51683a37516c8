"""How much of the light the shutter acts on, worked out from frames in which only the shutter moved.

Flash is over long before the shutter closes, so its exposure does not depend on the time; continuous light's does. With
a the continuous part at the first frame's time, moving the shutter by d stops moves the level by

    o = log2((1 - a) + a 2^d)        hence        a = (2^o - 1) / (2^d - 1)

(exposures of two lights add linearly). The repeatability of light and reading bounds how well a is known.
"""

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise, takewhile

from tetherwatch.advise.likeness import ALIKE_STOPS, moves, paused, setting_moves, unexplained
from tetherwatch.advise.records import Estimate, Finding, Plan, Shot
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting

_REPEAT_STOPS = 0.08
"""Standard uncertainty of a difference between two frames of unchanged light: makers claim 0.05 to 0.1 stop for flash,
and a raw reading repeats to 0.03."""

_LEAST_MOVE = 0.3
"""Stops the shutter must have moved for its effect to be told from scatter."""

_LOOK_BACK = 24
"""Frames: an older mixture is another setup's."""

_DOUBT = 4.0
"""Standard uncertainties between the plan's claim and what the frames show before the user is told."""

_TOLD_APART = 0.5


def level_after(ambient: float, shutter_stops: float) -> float:
    """Change of level in stops when the shutter moves by `shutter_stops`; `ambient` is the continuous part, 0 to 1.

    At most 2^-20 of the light is ever left, so that the answer stays finite where all light is taken away.
    """
    return math.log2(max((1 - ambient) + ambient * 2.0**shutter_stops, 2.0**-20))


def moved_alone(before: Settings, after: Settings) -> tuple[Setting, float] | None:
    """The one camera setting that differs and its stops; None if none does, several do, or one is unknown."""
    if before.brightness_stops is None or after.brightness_stops is None:
        return None
    moves = (setting_moves(before, after) or {}).items()
    moved = [(setting, stops) for setting, stops in moves if abs(stops) > 1e-6]
    return moved[0] if len(moved) == 1 else None


def ambient_part(shots: Sequence[Shot]) -> Estimate | None:
    """The continuous part of the light at the newest shot's shutter time, from pairs where only the shutter moved.

    None where no such pair is among the last frames under the light of the newest. `shots` are in order of time, newest
    last.
    """
    newest = shots[-1].metadata.settings.shutter_s if shots else None
    if newest is None:
        return None
    pairs = (_from_pair(*pair, newest) for pair in _since_light_changed(shots[-_LOOK_BACK:]))
    return _combined([estimate for estimate in pairs if estimate is not None])


def _since_light_changed(shots: Sequence[Shot]) -> Iterator[tuple[Shot, Shot]]:
    """Frames one after the other, back to where another light began."""
    return takewhile(lambda pair: _same_light(*pair), reversed(list(pairwise(shots))))


def _same_light(before: Shot, after: Shot) -> bool:
    """Whether the settings explain what the level did, whatever part of the light the shutter acts on."""
    moved = moves(before, after)
    if paused(before, after) or moved is None or before.metadata.settings.brightness_stops is None:
        return False
    change = after.reading.level_stops - before.reading.level_stops
    return abs(unexplained("mixed", moved, change)) <= ALIKE_STOPS


def _from_pair(before: Shot, after: Shot, shutter_s: float) -> Estimate | None:
    """The part at `shutter_s`, from one pair."""
    moved = moved_alone(before.metadata.settings, after.metadata.settings)
    start_s = before.metadata.settings.shutter_s
    if moved is None or start_s is None or moved[0] is not Setting.SHUTTER or abs(moved[1]) < _LEAST_MOVE:
        return None
    shutter_stops = moved[1]
    level_stops = after.reading.level_stops - before.reading.level_stops
    part = min(max((2.0**level_stops - 1) / (2.0**shutter_stops - 1), 0.0), 1.0)
    uncertainty = math.log(2) * 2.0**level_stops * _REPEAT_STOPS / abs(2.0**shutter_stops - 1)
    return _carried(Estimate(part, uncertainty), math.log2(shutter_s / start_s))


def _carried(estimate: Estimate, shutter_stops: float) -> Estimate:
    """The same mixture seen at another shutter time: a 2^d / ((1 - a) + a 2^d)."""
    gain = 2.0**shutter_stops
    total = (1 - estimate.value) + estimate.value * gain
    return Estimate(estimate.value * gain / total, estimate.uncertainty * gain / total**2)


def _combined(estimates: list[Estimate]) -> Estimate | None:
    """Mean weighted by inverse variance."""
    if not estimates:
        return None
    weights = [1 / estimate.uncertainty**2 for estimate in estimates]
    mean = sum(weight * estimate.value for weight, estimate in zip(weights, estimates, strict=True)) / sum(weights)
    return Estimate(mean, math.sqrt(1 / sum(weights)))


def claim_doubted(plan: Plan, shots: Sequence[Shot]) -> Finding | None:
    """What to tell when the frames show another kind of light than the plan claims. The plan is never overruled."""
    ambient = ambient_part(shots)
    moved = moved_alone(shots[-2].metadata.settings, shots[-1].metadata.settings) if len(shots) > 1 else None
    if ambient is None or moved is None or moved[0] is not Setting.SHUTTER or plan.light == "mixed":
        return None
    claimed = 0.0 if plan.light == "flash" else 1.0
    apart = abs(ambient.value - claimed)
    if apart < max(_TOLD_APART, _DOUBT * ambient.uncertainty):
        return None
    level = shots[-1].reading.level_stops - shots[-2].reading.level_stops
    shown = "continuous light" if claimed == 0.0 else "flash light"
    return Finding(
        "light",
        f"the shutter moved {abs(moved[1]):.1f} stops, the picture {abs(level):.2f}: this is {shown}; "
        "change light in the plan",
    )
