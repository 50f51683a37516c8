"""What happens in a rehearsal, frame by frame: the light, the flash, and the settings a photographer uses unaided."""

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, get_args

from tetherwatch.rehearse.light import LightKind

SceneName = Literal["steady", "sunset", "moves", "misfires"]

Odd = Literal["misfire", "weak", "blocked", "cap", "card"]
"""What may be wrong with a single frame: no flash, a flash that had not recharged, something dark between light and
subject, the cap on the lens, a card that fills the picture."""

WRONG_START_STOPS = -4 / 3
"""How far a new lighting setup is off before anyone has metered it."""

SUNSET_FALL_STOPS = 0.15
"""Light lost from one frame to the next, until night has fallen."""

_NIGHT_STOPS = -10.0
_UNNOTICED_FRAMES = 2
_FRAMES_A_SETUP = 4
_SETUP_STOPS = (0.0, -1.0, 1.0)
_FRAMES_AN_ODD_ONE = 8

MOVING_LIGHTS_S = 240.0
"""Pause before a new setup, by the camera's clock."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One frame of a script.

    `light_stops`: light against what the starting settings need (negative: darker). `correction_stops`: how much
    brighter than at the start an unaided photographer has set the camera. `setup` counts lighting setups from 1.
    `pause_s` passes before the frame, beside the usual time between two.
    """

    light_stops: float
    odd: Odd | None = None
    correction_stops: float = 0.0
    setup: int = 1
    pause_s: float = 0.0


SCENE_LIGHTS: dict[SceneName, tuple[LightKind, ...]] = {
    "steady": ("flash", "continuous", "mixed"),
    "sunset": ("continuous",),
    "moves": ("flash", "continuous", "mixed"),
    "misfires": ("flash", "mixed"),
}
"""The kinds of light each scene can play under, the usual one first."""


def moments(scene: SceneName, frames: int, seed: int) -> tuple[Moment, ...]:
    """The script of `frames` frames; the same seed gives the same script."""
    return _SCRIPTS[scene](frames, random.Random(seed))


def _steady(frames: int, _: random.Random) -> tuple[Moment, ...]:
    return tuple(_found_out(index, WRONG_START_STOPS, setup=1) for index in range(frames))


def _found_out(frame_of_setup: int, light_stops: float, setup: int) -> Moment:
    """A setup whose light is off; an unaided photographer notices after some frames."""
    noticed = frame_of_setup >= _UNNOTICED_FRAMES
    return Moment(light_stops, correction_stops=-light_stops if noticed else 0.0, setup=setup)


def _sunset(frames: int, _: random.Random) -> tuple[Moment, ...]:
    return tuple(Moment(max(-SUNSET_FALL_STOPS * index, _NIGHT_STOPS)) for index in range(frames))


def _moves(frames: int, _: random.Random) -> tuple[Moment, ...]:
    shots = []
    for index in range(frames):
        turn, frame_of_setup = divmod(index, _FRAMES_A_SETUP)
        which = turn % len(_SETUP_STOPS)
        light_stops = WRONG_START_STOPS + _SETUP_STOPS[which]
        moment = _found_out(frame_of_setup, light_stops, setup=which + 1)
        shots.append(replace(moment, pause_s=MOVING_LIGHTS_S if turn and not frame_of_setup else 0.0))
    return tuple(shots)


def _misfires(frames: int, rng: random.Random) -> tuple[Moment, ...]:
    """One odd frame in eight, never the first or last of its eight: so never two in a row. All kinds take turns."""
    shots: list[Moment] = []
    kinds: list[Odd] = []
    while len(shots) < frames:
        kinds = kinds or rng.sample(get_args(Odd), k=len(get_args(Odd)))
        place, odd = rng.randrange(1, _FRAMES_AN_ODD_ONE - 1), kinds.pop()
        shots += [Moment(0.0, odd=odd if index == place else None) for index in range(_FRAMES_AN_ODD_ONE)]
    return tuple(shots[:frames])


_SCRIPTS: dict[SceneName, Callable[[int, random.Random], tuple[Moment, ...]]] = {
    "steady": _steady,
    "sunset": _sunset,
    "moves": _moves,
    "misfires": _misfires,
}
