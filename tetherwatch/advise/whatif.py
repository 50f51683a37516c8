"""What if: the outcome of settings that nobody has moved yet."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from tetherwatch.advise.call import predict
from tetherwatch.advise.effects import effect
from tetherwatch.advise.hazards import hazards
from tetherwatch.advise.levers import EPSILON, room
from tetherwatch.advise.records import Finding, Knowledge, Plan, Predicted, Shot
from tetherwatch.advise.words import name
from tetherwatch.errors import UsageError
from tetherwatch.exposure.dial import Step, parse_value, snap
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness, value_at

MOST_STOPS = 20.0
"""Further than any setting of a camera reaches."""

_STOPS = re.compile(r"[+-](?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_SPELLINGS = "write iso=800, aperture=f/4, shutter=1/500 or light=+1; a sign means stops"


@dataclass(frozen=True, slots=True)
class Try:
    """A move to think through: a camera setting to `value`, or any setting by `stops`. The other one is None."""

    setting: Setting
    value: float | None = None
    stops: float | None = None


@dataclass(frozen=True, slots=True)
class Tried:
    """The outcome of a what-if.

    `moves` are the stops of each setting tried, `settings` the camera's afterwards. `between` bounds the offset where
    the kind of light leaves it open, darkest first; `predicted` is then its middle, with the clipping of the brightest.
    `uncertainty_stops` is one standard uncertainty of the offset, that of the reading included.
    `inside` the tolerance is None where that cannot be told. `outside` names what would stand outside the plan.
    """

    moves: Mapping[Setting, float]
    settings: Settings
    predicted: Predicted
    uncertainty_stops: float
    between: tuple[float, float] | None
    inside: bool | None
    outside: tuple[Setting, ...]
    hazards: tuple[Finding, ...]
    notes: tuple[str, ...] = ()


def parse_try(text: str) -> Try:
    """Read "iso=800", "aperture=f/4", "shutter=1/500", "light=+1". Raises UsageError for anything else."""
    key, _, wanted = (part.strip() for part in text.partition("="))
    try:
        setting = Setting(key.lower())
        if _STOPS.fullmatch(wanted):
            return Try(setting, stops=_reachable(float(wanted)))
        if setting in CAMERA_SETTINGS:
            return Try(setting, value=parse_value(setting, wanted))
    except ValueError:
        pass
    raise UsageError(f"{text!r} cannot be tried", _SPELLINGS)


def _reachable(stops: float) -> float:
    if abs(stops) > MOST_STOPS:
        raise ValueError("further than any setting reaches")
    return stops


def tried(plan: Plan, shot: Shot, tries: Sequence[Try], knowledge: Knowledge) -> Tried:
    """What the picture would read after all of `tries` together.

    Raises UsageError where one setting is tried twice, or where the capture does not say where one stands.
    """
    if len({one.setting for one in tries}) < len(tries):
        raise UsageError("a setting is tried twice", "give each setting once")
    after, moves = shot.metadata.settings, dict[Setting, float]()
    for one in tries:
        after, moves[one.setting] = _applied(after, one, plan.step)
    predicted, between = _outcome(plan, shot, moves, knowledge)
    return Tried(
        moves=moves,
        settings=after,
        predicted=predicted,
        uncertainty_stops=math.hypot(shot.reading.uncertainty_stops, predicted.uncertainty_stops),
        between=between,
        inside=_inside(plan, *(between or (predicted.offset_stops, predicted.offset_stops))),
        outside=_outside(plan, after, moves, knowledge),
        hazards=hazards(plan, replace(shot.metadata, settings=after)),
        notes=_notes(plan, moves, between),
    )


def _applied(settings: Settings, one: Try, step: Step) -> tuple[Settings, float]:
    """The settings with one move made, and its stops. A value is taken for the dial step it stands for."""
    if one.setting not in CAMERA_SETTINGS:
        return settings, one.stops or 0.0
    here = settings.get(one.setting)
    if here is None:
        raise UsageError(
            f"the capture does not say where the {name(one.setting)} stands, so no move of it can be computed",
            "try another setting, or light=+1",
        )
    start = brightness(one.setting, here)
    if one.value is None:
        stops = one.stops or 0.0
        return settings.with_value(one.setting, value_at(one.setting, start + stops)), stops
    there = snap(one.setting, one.value, step)
    return settings.with_value(one.setting, there), brightness(one.setting, there) - start


def _outcome(
    plan: Plan, shot: Shot, moves: Mapping[Setting, float], knowledge: Knowledge
) -> tuple[Predicted, tuple[float, float] | None]:
    """The prediction, and its bounds where the mixture of the light is not known."""
    shutter, light = moves.get(Setting.SHUTTER, 0.0), moves.get(Setting.LIGHT, 0.0)
    rest = sum(moves.values()) - shutter - light
    if plan.light != "mixed":
        rest += effect(plan, Setting.SHUTTER, shutter, knowledge).value + light
        return predict(shot.reading, rest), None
    # The shutter acts on one part of the light and the lamp on the other: what they share moves both.
    between = effect(plan, Setting.SHUTTER, shutter - light, knowledge)
    middle = replace(predict(shot.reading, rest + light + between.value), uncertainty_stops=between.uncertainty)
    if knowledge.ambient is not None or abs(shutter - light) < EPSILON:
        return middle, None
    darkest, brightest = (predict(shot.reading, rest + stops) for stops in sorted((shutter, light)))
    open_ = replace(brightest, offset_stops=middle.offset_stops, uncertainty_stops=middle.uncertainty_stops)
    return open_, (darkest.offset_stops, brightest.offset_stops)


def _inside(plan: Plan, darkest: float, brightest: float) -> bool | None:
    """Whether all offsets from `darkest` to `brightest` are inside the tolerance, none (False), or some (None)."""
    most = plan.aim.tolerance_stops + EPSILON
    if -most <= darkest and brightest <= most:
        return True
    return False if brightest < -most or darkest > most else None


def _outside(
    plan: Plan, settings: Settings, moves: Mapping[Setting, float], knowledge: Knowledge
) -> tuple[Setting, ...]:
    places = [(plan.allowed(setting), settings.get(setting)) for setting in CAMERA_SETTINGS]
    if plan.power is not None and knowledge.power is not None:
        places.append((plan.power, knowledge.power * 2.0 ** moves.get(Setting.LIGHT, 0.0)))
    return tuple(allowed.setting for allowed, value in places if value is not None and room(allowed, value).outside)


def _notes(plan: Plan, moves: Mapping[Setting, float], between: tuple[float, float] | None) -> tuple[str, ...]:
    """What makes the outcome other than the sum of the moves."""
    if plan.light == "flash" and abs(moves.get(Setting.SHUTTER, 0.0)) > EPSILON:
        return ("under flash the shutter moves nothing",)
    if between is not None:
        return ("how much of the mixed light is flash is not known yet",)
    return ()
