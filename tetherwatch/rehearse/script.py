"""What happens in a rehearsal, frame by frame: the light, the flash, and the settings a photographer uses unaided."""

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from tetherwatch.rehearse.light import LightKind

SceneName = Literal["steady", "sunset", "moves", "misfires"]

WRONG_START_STOPS = -4 / 3
"""How far a new lighting setup is off before anyone has metered it."""

SUNSET_FALL_STOPS = 0.15
"""Light lost from one frame to the next, until night has fallen."""

_NIGHT_STOPS = -10.0
_UNNOTICED_FRAMES = 2
_FRAMES_A_SETUP = 4
_SETUP_STOPS = (0.0, -1.0, 1.0)
_FRAMES_A_MISFIRE = 8


@dataclass(frozen=True, slots=True)
class Moment:
    """One frame of a script.

    `light_stops`: light against what the starting settings need (negative: darker). `correction_stops`: how much
    brighter than at the start an unaided photographer has set the camera. `setup` counts lighting setups from 1.
    """

    light_stops: float
    fired: bool = True
    correction_stops: float = 0.0
    setup: int = 1


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
        shots.append(_found_out(frame_of_setup, light_stops, setup=which + 1))
    return tuple(shots)


def _misfires(frames: int, rng: random.Random) -> tuple[Moment, ...]:
    """One frame in eight without flash, never the first or last of its eight: so never two in a row."""
    shots: list[Moment] = []
    while len(shots) < frames:
        missed = rng.randrange(1, _FRAMES_A_MISFIRE - 1)
        shots += [Moment(0.0, fired=index != missed) for index in range(_FRAMES_A_MISFIRE)]
    return tuple(shots[:frames])


_SCRIPTS: dict[SceneName, Callable[[int, random.Random], tuple[Moment, ...]]] = {
    "steady": _steady,
    "sunset": _sunset,
    "moves": _moves,
    "misfires": _misfires,
}
