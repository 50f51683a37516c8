"""Simulated shoots through several lighting setups, with the truth about each frame."""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta

from benchmarks.captures import STARTED_AT
from benchmarks.shoot import FOLDER, obey
from benchmarks.stage import HEADS, Colour, Lighting, Sight, StageOdd, paint, read
from benchmarks.studio import Light
from tetherwatch.advise.library import load_plan
from tetherwatch.advise.records import Plan
from tetherwatch.exposure.dial import Dial
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Aim, AreaKind
from tetherwatch.session.records import FrameRecord
from tetherwatch.session.session import Session
from tetherwatch.watch.records import Capture, Metered

PLANS = ("studio-portrait", "window-portrait")
AREAS: tuple[AreaKind, ...] = ("face", "card", "frame")

SETUPS = (2, 9)
FRAMES_A_VISIT = (6, 18)
_RETURN_CHANCE = 0.35
_NO_PAUSE_CHANCE = 0.15
_BETWEEN_S, _PAUSE_S = (2.0, 12.0), (60.0, 400.0)

KEYS, BEHINDS, TINT_STOPS = (-3.4, 0.4), (-2.0, 1.0), 0.2
KEY_APART, TINT_APART = 0.6, 0.4
"""Two setups differ by at least one of these, in stops: in what falls on the person, whom every picture shows."""

SCATTER_STOPS, RETURNED_STOPS = 0.04, 0.06
"""Standard deviations: of each frame's exposure, and of a key that is set up again."""

_WARDROBE_CHANCE, _FRAMING_CHANCE, _ODD_CHANCE, _DIAL_CHANCE, _BALANCE_CHANCE = 0.05, 0.12, 0.06, 0.04, 0.03
_CHANGING_PAUSE_CHANCE = 0.6
_HEEDED_CHANCE = 0.9
_CALM_CHANCE = 0.03
_TURNED_BEFORE_CHANCE, _CARD_FRAMES = 0.3, 2
DRIFTS, DRIFT_FRAMES = (1.0, 3.0), (70, 110)
"""Stops per 10 minutes, and frames, of shoots that are only about drift."""

_DRIFT_CHANCE, _DRIFT_A_SECOND = 0.3, 0.3 / 600

CLOTHES: tuple[Colour, ...] = (
    (0.03, 0.03, 0.03),
    (0.85, 0.85, 0.82),
    (0.18, 0.18, 0.18),
    (0.45, 0.08, 0.07),
    (0.06, 0.12, 0.30),
    (0.35, 0.32, 0.25),
)
BACKDROPS: tuple[Colour, ...] = ((0.30, 0.30, 0.31), (0.08, 0.08, 0.08), (0.70, 0.70, 0.70), (0.35, 0.20, 0.12))


@dataclass(frozen=True, slots=True)
class Take:
    """One frame in truth. `setup` counts from 1; `begins`: it is the first of a visit to it, `returns`: not the first
    visit; `restyled`: clothes or framing are others than in the frame before. `lighting`: as it stood, drift included.
    """

    setup: int
    begins: bool
    returns: bool
    restyled: bool
    odd: StageOdd | None
    lighting: Lighting
    record: FrameRecord


@dataclass(frozen=True, slots=True)
class Played:
    """A shoot that was played to its end. `found` are the setups of the frames as the session saw them in the end."""

    seed: int
    plan: Plan
    takes: tuple[Take, ...]
    found: tuple[int, ...]
    session: Session


@dataclass(frozen=True, slots=True)
class Corner:
    """A setup as it was built: its light and what stands in it."""

    lighting: Lighting
    sight: Sight


def play(seed: int) -> Played:
    """One shoot through several setups; the same seed gives the same one."""
    rng = random.Random(seed)
    plan = load_plan(rng.choice(PLANS))
    plan = replace(plan, aim=replace(plan.aim, area=rng.choice(AREAS)))
    shoot = _Shoot(rng, plan)
    return _played(seed, shoot, shoot.takes())


def play_drift(seed: int) -> tuple[Played, float]:
    """One setup by a window whose light drifts, and by how much in stops per 10 minutes."""
    rng = random.Random(seed)
    plan = load_plan("window-portrait")
    shoot = _Shoot(rng, replace(plan, aim=replace(plan.aim, area=rng.choice(AREAS))), calm=True)
    slope = math.copysign(rng.uniform(*DRIFTS), rng.random() - 0.5)
    takes = shoot.visit(1, False, shoot.built(), rng.randint(*DRIFT_FRAMES), slope / 600)
    return _played(seed, shoot, takes), slope


def _played(seed: int, shoot: "_Shoot", takes: Iterator[Take]) -> Played:
    taken, found = [], dict[int, int]()
    for take in takes:
        taken.append(take)
        found |= shoot.session.lighting.labels
    return Played(seed, shoot.plan, tuple(taken), tuple(found[take.record.number] for take in taken), shoot.session)


class _Shoot:
    """The state of a simulated shoot."""

    def __init__(self, rng: random.Random, plan: Plan, calm: bool = False) -> None:
        """`calm`: clothes stay as they are and framing seldom changes, without pauses."""
        self.calm = calm
        self.rng = rng
        self.plan = plan
        self.session = Session(FOLDER, plan)
        self.settings = Settings(plan.shutter.start, plan.aperture.start, plan.iso.start)
        self.offset = -self._brightness()
        self.corners: list[Corner] = []
        self.moment = STARTED_AT
        self.number = 0
        self.balance = (0.5, 0.7)

    def _brightness(self) -> float:
        brightness = self.settings.brightness_stops
        assert brightness is not None
        return brightness

    def takes(self) -> Iterator[Take]:
        """All frames."""
        for setup, returns in self._order():
            paused = not self.corners or self.rng.random() >= _NO_PAUSE_CHANCE
            if returns:
                corner = self._rebuilt(setup)
            else:
                corner = self.built(keep_sight=not paused)
                self.corners.append(corner)
            self.moment += timedelta(seconds=self.rng.uniform(*(_PAUSE_S if paused else _BETWEEN_S)))
            drifts = self.plan.light == "continuous" and self.rng.random() < _DRIFT_CHANCE
            drift = self.rng.uniform(-_DRIFT_A_SECOND, _DRIFT_A_SECOND) if drifts else 0.0
            yield from self.visit(setup, returns, corner, self.rng.randint(*FRAMES_A_VISIT), drift)

    def _order(self) -> Iterator[tuple[int, bool]]:
        count, built, here = self.rng.randint(*SETUPS), 0, 0
        while built < count:
            others = [setup for setup in range(1, built + 1) if setup != here]
            if others and self.rng.random() < _RETURN_CHANCE:
                here = self.rng.choice(others)
                yield here, True
            else:
                built += 1
                here = built
                yield here, False
        others = [setup for setup in range(1, built + 1) if setup != here]
        if others:
            yield self.rng.choice(others), True

    def built(self, keep_sight: bool = False) -> Corner:
        """Another light than all before."""
        while True:
            lighting = self._lighting()
            if all(_differ(lighting, corner.lighting) for corner in self.corners):
                break
        sight = self.sight if keep_sight and self.corners else self._sight()
        return Corner(lighting, sight)

    def _lighting(self) -> Lighting:
        rng = self.rng
        tint = (rng.gauss(0, TINT_STOPS), rng.gauss(0, TINT_STOPS))
        return Lighting(self.offset + rng.uniform(*KEYS), rng.uniform(*BEHINDS), tint, rng.uniform(-0.3, 0.3))

    def _sight(self) -> Sight:
        rng = self.rng
        place = (rng.uniform(-0.3, 0.3), rng.uniform(-0.2, 0.2))
        clothes = (rng.choice(CLOTHES), rng.choice(CLOTHES))
        return Sight(rng.choice(list(HEADS)), *place, *clothes, rng.choice(BACKDROPS))

    def _rebuilt(self, setup: int) -> Corner:
        """An earlier one again: its backdrop and lamps; the rest is as it comes."""
        corner = self.corners[setup - 1]
        lighting = replace(corner.lighting, key=corner.lighting.key + self.rng.gauss(0, RETURNED_STOPS))
        sight = corner.sight if self.rng.random() < 0.5 else replace(self._sight(), backdrop=corner.sight.backdrop)
        return Corner(lighting, sight)

    def visit(self, setup: int, returns: bool, corner: Corner, frames: int, drift: float) -> Iterator[Take]:
        """The frames of one visit to a setup, whose light drifts by so many stops a second."""
        rng, lighting, self.sight = self.rng, corner.lighting, corner.sight
        if rng.random() < _TURNED_BEFORE_CHANCE:
            self._turn_dial()
        for frame in range(frames):
            restyled, gap = self._restyle() if frame else (False, 0.0)
            gap += rng.uniform(*_BETWEEN_S) if frame else 0.0
            self.moment += timedelta(seconds=gap)
            lighting = replace(lighting, key=lighting.key + drift * gap)
            odd = self._odd() if frame else None
            record, turned = self._shoot(lighting, self._seen(frame), odd)
            yield Take(setup, frame == 0, returns, restyled, odd, lighting, record)
            lighting = replace(lighting, key=lighting.key + turned)
        if not returns and self.corners:
            self.corners[setup - 1] = Corner(lighting, self.sight)

    def _seen(self, frame: int) -> Sight:
        """What the camera sees: nobody stands still, and a visit begins with the card where one is metered."""
        rng, sight = self.rng, self.sight
        card = self.plan.aim.area == "card" and (self.calm or frame < _CARD_FRAMES)
        return replace(sight, right=sight.right + rng.gauss(0, 0.05), down=sight.down + rng.gauss(0, 0.03), card=card)

    def _restyle(self) -> tuple[bool, float]:
        """Clothes or framing are changed now and then, often in a pause."""
        rng, before = self.rng, self.sight
        if self.calm and rng.random() >= _CALM_CHANCE:
            return False, 0.0
        if self.calm:
            return self._reframed(), 0.0
        if rng.random() < _WARDROBE_CHANCE:
            self.sight = replace(self.sight, top=rng.choice(CLOTHES), legs=rng.choice(CLOTHES))
            return self.sight != before, rng.uniform(*_PAUSE_S) if rng.random() < _CHANGING_PAUSE_CHANCE else 0.0
        if rng.random() < _FRAMING_CHANCE:
            return self._reframed(), rng.uniform(*_PAUSE_S) if rng.random() < 0.1 else 0.0
        if rng.random() < _DIAL_CHANCE:
            self._turn_dial()
        if rng.random() < _BALANCE_CHANCE:
            self.balance = (rng.uniform(0.2, 1.2), rng.uniform(0.2, 1.2))
        return False, 0.0

    def _reframed(self) -> bool:
        place = (self.rng.uniform(-0.3, 0.3), self.rng.uniform(-0.2, 0.2))
        self.sight = replace(self.sight, framing=self.rng.choice(list(HEADS)), right=place[0], down=place[1])
        return True

    def _turn_dial(self) -> None:
        """The photographer wants another depth of field, and evens it out by ISO as far as it goes."""
        dials = {setting: Dial(setting, self.plan.step) for setting in (Setting.APERTURE, Setting.ISO)}
        stops = self.rng.choice((-1.0, 1.0))
        for setting, move in ((Setting.APERTURE, stops), (Setting.ISO, -stops)):
            value = self.settings.get(setting)
            place = None if value is None else dials[setting].position(value)
            if place is not None:
                self.settings = self.settings.with_value(
                    setting, dials[setting].value(dials[setting].move(place, move))
                )

    def _odd(self) -> StageOdd | None:
        if self.rng.random() >= _ODD_CHANCE:
            return None
        flash: list[StageOdd] = ["misfire", "weak"] if self.plan.light == "flash" else []
        return self.rng.choice([*flash, "cap", "card"])

    def _shoot(self, lighting: Lighting, sight: Sight, odd: StageOdd | None) -> tuple[FrameRecord, float]:
        rng = self.rng
        planes = paint(lighting, sight, odd, rng.uniform(-0.5, 0.5)) * 2.0 ** rng.gauss(0, SCATTER_STOPS)
        aim: Aim = self.plan.aim
        if self.plan.light == "flash" and self.settings.shutter_s is not None:
            planes = planes * 2.0 ** -_shutter_stops(self.settings, self.plan)
        reading, thumbnail = read(aim, self.settings, planes, sight, self.balance)
        self.number += 1
        moment = self.moment
        capture = Capture(FOLDER / f"{self.number:04d}.DNG", 1, self.number, moment.timestamp(), sequence=self.number)
        metadata = Metadata(
            settings=self.settings, program="manual", camera="Halden K2", serial="77", captured_at=moment
        )
        record, *_ = self.session.take(Metered(capture, metadata, reading, thumbnail))
        assert isinstance(record, FrameRecord)
        light = 0.0
        if rng.random() < _HEEDED_CHANCE:
            self.settings, _, light = obey(record.call, self.settings, Light("flash", 1.0, 1.0), self.plan.step)
            if record.call.kind == "blocked":
                light = record.call.left_stops
        return record, light


def _shutter_stops(settings: Settings, plan: Plan) -> float:
    """What the shutter did against where it started: nothing under flash, so it is taken out again."""
    assert settings.shutter_s is not None
    return math.log2(settings.shutter_s / plan.shutter.start)


def _differ(one: Lighting, other: Lighting) -> bool:
    tints = max(abs(a - b) for a, b in zip(one.tint, other.tint, strict=True))
    return abs(one.key - other.key) >= KEY_APART or tints >= TINT_APART
