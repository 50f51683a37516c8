"""Whole sessions under any plan: what the calls never do, whatever light, camera and photographer do."""

import math
from datetime import timedelta

from advise_records import plans
from benchmarks.captures import STARTED_AT
from benchmarks.shoot import FOLDER, MOVES, Cast, obey, positions, take
from benchmarks.studio import CARD_WIDTH, Light, OddKind, Scene, expose
from hypothesis import assume
from hypothesis import settings as examples
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from tetherwatch.advise.records import Call, Plan
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness
from tetherwatch.meter.records import Reading
from tetherwatch.session.session import Session

EPSILON = 1e-6
SCENE = Scene(CARD_WIDTH, rest_width=1.4, rest_stops=-0.5)
SHARES = {"flash": st.just(0.0), "continuous": st.just(1.0), "mixed": st.floats(0.1, 0.9)}
READABLE = (-9.0, 2.5)
"""Levels, in stops against mid-grey, that a reading of a card tells exactly."""

FLUTTER_FRAMES = 3
LOST_LEAST = 1.2
LOST = st.floats(1.3, 4.0)
PAUSE = timedelta(minutes=4)


def inside(plan: Plan, settings: Settings) -> bool:
    """Whether every camera setting stands where the plan allows it."""
    for setting in CAMERA_SETTINGS:
        value, allowed = settings.get(setting), plan.allowed(setting)
        ends = brightness(setting, allowed.darkest) - EPSILON, brightness(setting, allowed.brightest) + EPSILON
        if value is None or not ends[0] <= brightness(setting, value) <= ends[1]:
            return False
    return True


def has_room(plan: Plan, settings: Settings, needed: float) -> bool:
    """Whether a lever of the order can go at all where it is needed: a light without stated power always can."""
    for setting in plan.levers(needed):
        value = None if setting is Setting.LIGHT else settings.get(setting)
        if value is None:
            return True
        here = brightness(setting, value)
        stops = [brightness(setting, there) - here for there in positions(plan.allowed(setting), plan.step)]
        if any(move * needed > EPSILON for move in stops):
            return True
    return False


class AnyShoot(RuleBasedStateMachine):
    """An exact camera in any light of the plan's kind; a photographer who does as called, or nothing."""

    @initialize(plan=plans(), data=st.data(), off=st.floats(-4, 4))
    def begin(self, plan: Plan, data: st.DataObject, off: float) -> None:
        """Any plan, from any settings that it allows."""
        ranges = [plan.allowed(setting) for setting in CAMERA_SETTINGS]
        dials = [positions(allowed, plan.step) or [allowed.start] for allowed in ranges]
        self.settings = Settings(*(data.draw(st.sampled_from(values)) for values in dials))
        self.light = Light.giving(plan.light, self.settings, off, data.draw(SHARES[plan.light]))
        self.cast = Cast(plan, self.settings, self.light, SCENE, 0.0, 0.0, 0.0, 0.0)
        self.session = Session(FOLDER, plan)
        self.plan = plan
        self.moment = STARTED_AT
        self.taken = 0
        self.forget()

    @rule()
    def obeyed(self) -> None:
        """A frame, and what it calls for is done: it is no worse then, and right if all of it could be done."""
        call, reading = self.shoot()
        settings, light, _ = obey(call, self.settings, self.light, self.plan.step)
        self.check_effect(call, reading, light.level(settings))
        self.done = self.done or self.does_all(call, reading)
        self.settings, self.light = settings, light
        assert inside(self.plan, self.settings)

    @rule()
    def ignored(self) -> None:
        """A frame whose call is not followed."""
        self.shoot()

    @rule(off=st.floats(-4, 4))
    def new_setup(self, off: float) -> None:
        """Minutes later the light is another."""
        self.moment += PAUSE
        self.light = self.light.changed(off - self.light.level(self.settings))
        self.forget()

    @rule(stops=st.floats(-0.25, 0.25))
    def drift(self, stops: float) -> None:
        """The light changes a little."""
        self.light = self.light.changed(stops)
        self.forget()

    @precondition(lambda self: self.usual >= 2 and not self.asked)
    @rule(kind=st.sampled_from(["misfire", "weak pop", "blocked light", "cap"]), lost=LOST)
    def odd_frame(self, kind: OddKind, lost: float) -> None:
        """One frame that something is wrong with moves nothing, where no light was asked for that could explain it.

        Two in a row would be how things are.
        """
        level = self.light.level(self.settings)
        exposed = expose(self.light, self.settings, SCENE, kind, lost)
        assume(level - exposed.area > LOST_LEAST and READABLE[0] + 5 <= level <= READABLE[1])
        call, _ = self.shoot(kind, lost)
        assert call.kind not in MOVES

    def forget(self) -> None:
        """Nothing was seen of the light as it is now."""
        self.kinds, self.usual, self.asked, self.done = [], 0, False, False

    def shoot(self, odd: OddKind | None = None, lost: float = 0.0) -> tuple[Call, Reading]:
        """One frame, with what holds for any call."""
        self.moment += timedelta(seconds=4)
        self.taken += 1
        exposed = expose(self.light, self.settings, SCENE, odd, lost)
        record = take(self.session, self.taken, self.settings, exposed, self.cast, 0.0, self.moment)
        call, reading = record.call, record.reading
        self.check_words(call, reading)
        if odd is None:
            self.check_history(call)
        self.usual = 0 if odd else self.usual + 1
        self.asked = bool(call.move_stops or call.left_stops)
        return call, reading

    def check_words(self, call: Call, reading: Reading) -> None:
        """One setting or none, in the direction of its word, against what was read; blocked without room only."""
        assert (call.setting is None) == (call.kind in ("hold", "blocked", "check"))
        if call.kind in MOVES:
            assert (call.move_stops > 0) == (call.kind == "brighter") == (reading.offset_stops < 0)
        if call.kind == "blocked":
            assert not has_room(self.plan, self.settings, -reading.offset_stops)

    def does_all(self, call: Call, reading: Reading) -> bool:
        """Whether one setting was enough: all of the light is acted on, to end inside the tolerance."""
        if call.predicted is None or self.partly(call) or reading.area_clipped_percent:
            return False
        return abs(call.predicted.offset_stops) <= self.plan.aim.tolerance_stops

    def partly(self, call: Call) -> bool:
        """Whether the lever acts on a part of the light only."""
        return self.plan.light == "mixed" and call.setting in (Setting.SHUTTER, Setting.LIGHT)

    def check_history(self, call: Call) -> None:
        """The same light never gets a call and its opposite, nor a second one where the first did all."""
        recent = self.kinds[-FLUTTER_FRAMES:]
        assert {*recent, call.kind} & set(MOVES) != set(MOVES) or call.kind not in MOVES
        assert not self.done or call.kind == "hold"
        self.kinds.append(call.kind)

    def check_effect(self, call: Call, reading: Reading, after: float) -> None:
        """A followed call never leads further from the aim; what it promises for all of the light comes true."""
        before = reading.level_stops
        if call.kind not in MOVES or not READABLE[0] <= min(before, after) <= max(before, after) <= READABLE[1]:
            return
        assert abs(after) <= abs(before) + EPSILON
        assert call.predicted is not None
        if not self.partly(call):
            assert math.isclose(after, call.predicted.offset_stops, abs_tol=0.01)


AnyShoot.TestCase.settings = examples(max_examples=60, stateful_step_count=20)
TestAnyShoot = AnyShoot.TestCase
