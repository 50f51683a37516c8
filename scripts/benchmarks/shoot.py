"""Simulated sessions: a photographer, a camera and changing light, with the real rules giving the calls."""

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from benchmarks.captures import STARTED_AT
from benchmarks.studio import CARD_WIDTH, Exposed, Light, OddKind, Scene, expose, read
from tetherwatch.advise.library import load_plan, shipped_names
from tetherwatch.advise.records import Allowed, Call, LightKind, Plan
from tetherwatch.exposure.dial import Dial, Step, parse_value, snap
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Box, Thumbnail
from tetherwatch.session.records import FrameRecord
from tetherwatch.session.session import Session
from tetherwatch.watch.records import Capture, Metered

EPSILON = 1e-6
MOVES = ("brighter", "darker")
FRAMES = 14
FOLDER = Path("rehearsed")
DIALS = (Step.THIRD, Step.THIRD, Step.HALF, Step.FULL)
"""Thirds twice: most cameras have them."""

THUMBNAIL = Thumbnail(1, 1, b"\0\0\0", b"\0", Box(0.0, 0.0, 1.0, 1.0))

SPREAD_STOPS = (0.03, 0.05)
READING_STOPS = (0.01, 0.03)
WRONG_STOPS = 2.5
"""How far a session starts and a new setup is off at most."""

SHARES: dict[LightKind, tuple[float, float]] = {"flash": (0.0, 0.002), "continuous": (1.0, 1.0), "mixed": (0.15, 0.7)}
"""Continuous part of the light at the first settings."""

ODD_STOPS: dict[OddKind, tuple[float, float]] = {
    "misfire": (0.0, 0.0),
    "weak pop": (1.2, 2.5),
    "blocked light": (1.2, 3.5),
    "cap": (0.0, 0.0),
    "card": (-2.0, 1.5),
}
_SEEN_STOPS = 1.2
"""Loss from which a missing flash stands out under mixed light."""

_EXACT_PART, _MIXED_PART, _WRONG_CLAIM_PART, _STEADY_PART = 0.25, 0.25, 0.04, 0.6
_SETUP_CHANCE, _ODD_CHANCE, _IGNORED_CHANCE, _OWN_START_CHANCE = 0.08, 0.12, 0.06, 0.5
_PAUSE_S, _BETWEEN_S = (120.0, 600.0), (2.0, 8.0)
_DRIFT_STOPS = 0.1


@dataclass(frozen=True, slots=True)
class Cast:
    """What a session is played with. `light` is that in truth, `drift_stops` its change from frame to frame.

    `spread_stops` and `reading_stops`: standard deviations, of exposure and of metering; 0 is exact.
    """

    plan: Plan
    start: Settings
    light: Light
    scene: Scene
    spread_stops: float
    reading_stops: float
    drift_stops: float
    ignored_chance: float

    @property
    def claimed_right(self) -> bool:
        """Whether the plan's light is the one there is."""
        return self.plan.light == self.light.kind


@dataclass(frozen=True, slots=True)
class Shot:
    """One frame in truth, and what the session made of it.

    `power`: of the light, in stops, as the calls moved it. `same_light`: since the frame before, the lasting light did
    not change but as asked, and nothing was moved because of an odd frame. `hidden`: something odd that a change just
    asked for may explain as well: light to be turned, or under mixed light a lever of which nobody knows how much it
    does. `obeyed`: the photographer did what the call says.
    """

    settings: Settings
    power: float
    exposed: Exposed
    odd: OddKind | None
    hidden: bool
    same_light: bool
    record: FrameRecord
    obeyed: bool


@dataclass(frozen=True, slots=True)
class Played:
    """A session that was played to its end."""

    seed: int
    cast: Cast
    shots: tuple[Shot, ...]


def play(seed: int, frames: int = FRAMES) -> Played:
    """One session; the same seed gives the same one."""
    rng = random.Random(seed)
    chosen = cast(rng)
    return Played(seed, chosen, tuple(_shots(chosen, rng, frames)))


def cast(rng: random.Random) -> Cast:
    """Any shipped plan on any dial, in its own light or mixed light, now and then claimed wrongly."""
    plan = replace(load_plan(rng.choice(shipped_names())), step=rng.choice(DIALS))
    if rng.random() < _MIXED_PART:
        plan = replace(plan, light="mixed")
    kinds = [kind for kind in SHARES if kind != plan.light]
    kind = rng.choice(kinds) if rng.random() < _WRONG_CLAIM_PART else plan.light
    start = Settings(*(_start(rng, plan.allowed(setting), plan.step) for setting in CAMERA_SETTINGS))
    exact = rng.random() < _EXACT_PART
    level = plan.aim.from_grey_stops + rng.uniform(-WRONG_STOPS, WRONG_STOPS)
    drifts = kind != "flash" and rng.random() > _STEADY_PART
    return Cast(
        plan=plan,
        start=start,
        light=Light.giving(kind, start, level, rng.uniform(*SHARES[kind])),
        scene=_scene(rng, plan),
        spread_stops=0.0 if exact else rng.uniform(*SPREAD_STOPS),
        reading_stops=0.0 if exact else rng.uniform(*READING_STOPS),
        drift_stops=rng.uniform(-_DRIFT_STOPS, _DRIFT_STOPS) if drifts else 0.0,
        ignored_chance=0.0 if rng.random() < 0.5 else _IGNORED_CHANCE,
    )


def _scene(rng: random.Random, plan: Plan) -> Scene:
    area_width = CARD_WIDTH if plan.aim.area == "card" else rng.uniform(0.3, 0.9)
    return Scene(area_width, rng.uniform(1.0, 1.6), rng.uniform(-1.5, 0.0))


def _start(rng: random.Random, allowed: Allowed, step: Step) -> float:
    """Where the plan starts, or anywhere else in the range."""
    inside = positions(allowed, step)
    return rng.choice(inside) if rng.random() < _OWN_START_CHANCE else allowed.start


def positions(allowed: Allowed, step: Step) -> list[float]:
    """The values of a dial inside a range, darkest first."""
    low, high = (brightness(allowed.setting, end) for end in (allowed.darkest, allowed.brightest))
    dial = Dial(allowed.setting, step)
    values = [dial.value(place) for place in dial.positions]
    return [value for value in values if low - EPSILON <= brightness(allowed.setting, value) <= high + EPSILON]


def _shots(chosen: Cast, rng: random.Random, frames: int) -> Iterator[Shot]:
    session = Session(FOLDER, chosen.plan)
    settings, light, moment = chosen.start, chosen.light, STARTED_AT
    power = 0.0 if chosen.plan.power is None else brightness(Setting.LIGHT, chosen.plan.power.start)
    usual, blocked, same_light, misled, asked = 0, 0.0, False, False, None
    for number in range(frames):
        if number:
            moment += timedelta(seconds=rng.uniform(*_BETWEEN_S))
            light = light.changed(chosen.drift_stops)
            same_light = not (chosen.drift_stops or misled)
        if number and (blocked or rng.random() < _SETUP_CHANCE):
            moment += timedelta(seconds=rng.uniform(*_PAUSE_S))
            light = light.changed(blocked or _new_setup(rng, light, settings, chosen.plan))
            usual, same_light = 0, False
        odd = _odd(rng, chosen, light, settings) if usual else None
        usual = 0 if odd else usual + 1
        exposed = _exposed(rng, chosen, light, settings, odd)
        record = take(session, number, settings, exposed, chosen, rng.gauss(0.0, chosen.reading_stops), moment)
        obeyed = rng.random() >= chosen.ignored_chance
        hidden = _is_hidden(chosen, odd, asked)
        yield Shot(settings, power, exposed, odd, hidden, same_light, record, obeyed)
        blocked = record.call.left_stops if record.call.kind == "blocked" else 0.0
        asked = record.call.setting
        misled = odd is not None and asked is not None
        if obeyed:
            settings, light, turned = obey(record.call, settings, light, chosen.plan.step)
            power += turned


def _new_setup(rng: random.Random, light: Light, settings: Settings, plan: Plan) -> float:
    return plan.aim.from_grey_stops + rng.uniform(-WRONG_STOPS, WRONG_STOPS) - light.level(settings)


def _odd(rng: random.Random, chosen: Cast, light: Light, settings: Settings) -> OddKind | None:
    """What goes wrong with one frame, if anything does."""
    if rng.random() >= _ODD_CHANCE:
        return None
    kinds: list[OddKind] = ["cap", "blocked light"]
    room_light = light.without_flash().level(settings)
    if chosen.plan.light != "continuous" and light.level(settings) - room_light > _SEEN_STOPS:
        kinds.append("misfire")
    if chosen.plan.light == chosen.light.kind == "flash":
        kinds.append("weak pop")
    if chosen.plan.aim.area != "card":
        kinds.append("card")
    return rng.choice(kinds)


def _is_hidden(chosen: Cast, odd: OddKind | None, asked: Setting | None) -> bool:
    mixed = chosen.plan.light == "mixed"
    if odd in (None, "cap", "card") or (odd == "misfire" and not mixed):
        return False
    return asked is Setting.LIGHT or (mixed and asked is Setting.SHUTTER)


def _exposed(rng: random.Random, chosen: Cast, light: Light, settings: Settings, odd: OddKind | None) -> Exposed:
    odd_stops = rng.uniform(*ODD_STOPS[odd]) if odd else 0.0
    exposed = expose(light, settings, chosen.scene, odd, odd_stops)
    spread = rng.gauss(0.0, chosen.spread_stops)
    return replace(exposed, area=exposed.area + spread, rest=exposed.rest + spread)


def take(
    session: Session,
    number: int,
    settings: Settings,
    exposed: Exposed,
    chosen: Cast,
    error_stops: float,
    moment: datetime,
) -> FrameRecord:
    """Hand one frame to the session, as the watch does with a capture that was metered."""
    capture = Capture(FOLDER / f"{number:04d}.DNG", 1, number, moment.timestamp())
    metadata = Metadata(settings=settings, program="manual", camera="Halden K2", serial="77", captured_at=moment)
    reading = read(session.plan, settings, exposed, chosen.scene, error_stops)
    record, *_ = session.take(Metered(capture, metadata, reading, THUMBNAIL))
    assert isinstance(record, FrameRecord)
    return record


def obey(call: Call, settings: Settings, light: Light, step: Step) -> tuple[Settings, Light, float]:
    """Settings and light once a call is followed, and how far the light's power was turned."""
    if call.setting is None:
        return settings, light, 0.0
    if call.setting is Setting.LIGHT:
        return settings, light.turned(call.move_stops), call.move_stops
    assert call.to_label is not None
    value = snap(call.setting, parse_value(call.setting, call.to_label), step)
    return settings.with_value(call.setting, value), light, 0.0
