"""One odd frame moves nothing, what lasts is called, and no call is taken back at once."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import pytest
from advise_records import GOOD, reading, tones
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule

from tetherwatch.advise.call import make_call
from tetherwatch.advise.likeness import PAUSE_S
from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Call, LightKind, Plan, Shot
from tetherwatch.advise.steady import LOOK_BACK, odd_frame, settled
from tetherwatch.exposure.dial import parse_value, snap
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import ToneHistogram

_MINE = parse_plan(GOOD, "mine.toml", 3200.0)
LEVERS = (Setting.ISO, Setting.LIGHT)
CONTINUOUS = replace(_MINE, aim=replace(_MINE.aim, area="box"), brighter=LEVERS, darker=LEVERS)
FLASH = replace(CONTINUOUS, light="flash")
MIXED = replace(CONTINUOUS, light="mixed")
PLANS: dict[LightKind, Plan] = {"continuous": CONTINUOUS, "flash": FLASH, "mixed": MIXED}

BASE = Settings(2.0**-8, 2.0**1.5, 400.0)
"""Right under a light of 9 stops."""

RIGHT = 9.0
BARE_STOPS: dict[LightKind, float] = {"continuous": -2.0, "flash": -7.0, "mixed": -2.0}
Look = Literal["scene", "card", "black"]
GREY_BELOW = 2.96


def picture(level: float, look: Look) -> ToneHistogram:
    """Shadows to lights around a grey at `level`; or one tone; or nothing but noise at the black level."""
    parts = {-3: 30, -1: 30, 0: 20, 1: 20} if look == "scene" else {0: 100}
    bins = {min(max(round(12 * (GREY_BELOW - level - part)), 0), 167): count for part, count in parts.items()}
    return tones(bins, below=0) if look != "black" else tones({140: 20}, below=80)


def frame(
    light: float = RIGHT, at: float = 0.0, set_to: Settings = BASE, rest: float | None = None, look: Look = "scene",
    serial: str = "77",
) -> Shot:  # fmt: skip
    """A frame whose metered area is under `light`, the rest of the picture under another if given, taken at a time."""
    known = set_to.brightness_stops
    brightness = -RIGHT if known is None else known
    level = -14.0 if look == "black" else light + brightness
    whole = picture((light if rest is None else rest) + brightness, look)
    measured = reading(level, light_value=None if known is None else level - brightness)
    measured = replace(measured, area="box", tones=(whole,), crushed_percent=84.0 if look == "black" else 1.0)
    return Shot(Metadata(settings=set_to, serial=serial), measured, at)


def paced(*lights: float) -> list[Shot]:
    """Frames under these lights, four seconds apart."""
    return [frame(light, 4.0 * index) for index, light in enumerate(lights)]


def found_odd(plan: Plan, shots: Sequence[Shot]) -> list[bool]:
    """Which frames were odd when they were taken, each after the calls of those before it."""
    found: list[bool] = []
    asked: Call | None = None
    for place, shot in enumerate(shots):
        odd = odd_frame(plan, shots[:place], found, shot, asked) is not None
        asked = asked if odd else make_call(plan, shot.metadata.settings, shot.reading)
        found.append(odd)
    return found


def reason(plan: Plan, shots: Sequence[Shot], asked: Call | None = None) -> str | None:
    """What is odd about the last of some frames."""
    call = odd_frame(plan, shots[:-1], found_odd(plan, shots[:-1]), shots[-1], asked)
    assert call is None or (call.kind, call.setting, call.move_stops) == ("check", None, 0.0)
    return None if call is None else call.reason


NAMES = {
    "black": "whole picture is black",
    "gone": "the flash did not fire",
    "unlit": "as without flash",
    "card": "one even tone",
    "blocked": "the rest of the picture did not",
    "misfire": "see that the flash fires, and shoot again",
    "weak": "let it recharge",
    "glint": "more light than before",
    "out": "whether a lamp is out",
}
"""A piece of the sentence that names each oddity."""


def name(plan: Plan, shots: Sequence[Shot], asked: Call | None = None) -> str | None:
    """Which oddity the last of some frames is said to be."""
    said = reason(plan, shots, asked)
    return said and next(name for name, piece in NAMES.items() if piece in said)


SITUATIONS: dict[str, tuple[list[Shot], dict[LightKind, str]]] = {
    "nothing happens": (paced(9, 9, 9), {}),
    "flash gone": (paced(9, 9, 2), {"flash": "gone", "mixed": "gone", "continuous": "out"}),
    "two stops gone": (paced(9, 9, 7), {"flash": "misfire", "mixed": "misfire", "continuous": "out"}),
    "two stops gone, second frame": (paced(9, 7), {"flash": "misfire", "mixed": "misfire", "continuous": "out"}),
    "not recharged": (paced(9, 9, 8.4), {"flash": "weak", "mixed": "weak"}),
    "not recharged, one frame to go by": (paced(9, 8.4), {"flash": "weak", "mixed": "weak"}),
    "perhaps not recharged, one frame to go by": (paced(9, 8.6), {}),
    "a flash that scatters": (paced(9, 9.25, 8.97, 9.2, 8.8), {}),
    "a reflection": (paced(9, 9, 10.5), {"flash": "glint", "mixed": "glint", "continuous": "glint"}),
    "a little more": (paced(9, 9, 9.5), {"flash": "glint", "mixed": "glint"}),
    "two misfires": (paced(9, 9, 2, 2), {"flash": "gone", "mixed": "gone"}),
    "seven misfires": (paced(9, 9, *[2] * 7), {"flash": "gone", "mixed": "gone"}),
    "misfire, good": (paced(9, 9, 2, 9), {}),
    "misfire, good, misfire": (paced(9, 9, 2, 9, 2), {"flash": "gone", "mixed": "gone", "continuous": "out"}),
    "misfire, weak": (paced(9, 9, 2, 8.3), {"flash": "weak", "mixed": "weak"}),
    "weak twice, unlike": (paced(9, 9, 8.4, 7.8), {"flash": "misfire", "mixed": "misfire"}),
    "darker and stays so": (paced(9, 9, 6, 6.1), {}),
    "darker, stays, brighter again": (paced(9, 9, 6, 6.1, 9),
                                      {"flash": "glint", "mixed": "glint", "continuous": "glint"}),
    "brighter and stays so": (paced(9, 9, 11, 10.9), {}),
    "dark at the start": (paced(2), {"flash": "unlit"}),
    "dark at the start, and stays so": (paced(2, 2), {}),
    "dark at the start, then lit": (paced(2, 9), {"mixed": "glint", "continuous": "glint"}),
    "fades": (paced(9, 8.6, 8.2, 7.8), {}),
    "cap on": ([*paced(9, 9), frame(at=8, look="black")], dict.fromkeys(PLANS, "black")),
    "cap stays on": ([*paced(9, 9), *(frame(at=8 + i, look="black") for i in range(5))], dict.fromkeys(PLANS, "black")),
    "cap on at the start": ([frame(look="black")], dict.fromkeys(PLANS, "black")),
    "cap off again": ([*paced(9, 9), frame(at=8, look="black"), frame(at=9)], {}),
    "card": ([*paced(9, 9), frame(9.2, 8, look="card")], dict.fromkeys(PLANS, "card")),
    "card at the start": ([frame(look="card")], {}),
    "even from the start": ([frame(9, i, look="card") for i in range(3)], {}),
    "card, then the subject": ([*paced(9, 9), frame(9, 8, look="card"), frame(9, 9)], {}),
    "light blocked": ([*paced(9, 9), frame(7, 8, rest=9)], dict.fromkeys(PLANS, "blocked")),
    "half blocked": ([*paced(9, 9), frame(8.4, 8, rest=9)], {"flash": "blocked", "mixed": "blocked"}),
    "another setup, darker": ([*paced(9, 9), frame(7, 5 + PAUSE_S)], {}),
    "another setup, brighter": ([*paced(9, 9), frame(12, 5 + PAUSE_S)], {}),
    "another setup, unlit": ([*paced(9, 9), frame(2, 5 + PAUSE_S)], {"flash": "unlit"}),
    "no pause yet": ([*paced(9, 9), frame(7, 4 + PAUSE_S)],
                     {"flash": "misfire", "mixed": "misfire", "continuous": "out"}),
    "another camera": ([*paced(9, 9), frame(7, 8, serial="78")], {}),
    "two cameras in turn": ([frame(9 - i % 2 * 1.5, i, serial=str(i % 2)) for i in range(6)], {}),
}  # fmt: skip
"""Frames, and what the last is taken for under each kind of light; nothing where a kind is not given."""


@pytest.mark.parametrize("light", PLANS)
@pytest.mark.parametrize("situation", SITUATIONS)
def test_odd_frames_are_told_apart(situation: str, light: LightKind) -> None:
    """Each situation is named for what it is under each kind of light, and what is not odd is called."""
    shots, names = SITUATIONS[situation]
    assert name(PLANS[light], shots) == names.get(light)


def test_a_lasting_loss_of_the_whole_flash_is_called_after_a_pause() -> None:
    """A light really turned far down is said to be unlit once, and then called."""
    turned_down = [*paced(9, 9, 4, 4), frame(4, 100), frame(4, 104)]
    assert [name(FLASH, turned_down[:count]) for count in (3, 4, 5, 6)] == ["gone", "gone", "unlit", None]


@pytest.mark.parametrize(
    ("iso", "shutter", "light", "names"),
    [
        (800.0, 2.0**-8, 6.0, {"flash": "misfire", "mixed": "misfire"}),
        (800.0, 2.0**-8, 8.4, {}),
        (800.0, 2.0**-8, 11.0, {}),
        (400.0, 2.0**-6, 7.0, {}),
        (400.0, 2.0**-6, 6.0, {"flash": "misfire", "mixed": "misfire"}),
        (400.0, 2.0**-6, 9.0, {}),
    ],
)
def test_a_setting_moved_by_hand(iso: float, shutter: float, light: float, names: dict[LightKind, str | None]) -> None:
    """It shows that a change is meant; only a flash that fails does not ask what the photographer means.

    Under flash a slower shutter does little, and that is no loss of light.
    """
    moved = frame(light, 8, set_to=Settings(shutter, 2.0**1.5, iso))
    for kind, plan in PLANS.items():
        assert name(plan, [*paced(9, 9), moved]) == names.get(kind)


def test_a_misfire_right_after_a_followed_call_is_seen() -> None:
    """The call moved the ISO, so the light value, not the level, tells that the flash is gone."""
    shots = [*paced(7, 7), frame(0, 8, set_to=replace(BASE, iso=1600.0))]
    asked = Call("brighter", "", Setting.ISO, "400", "1600", 2.0)
    assert name(FLASH, shots, asked) == "gone"
    assert name(FLASH, [*shots[:-1], frame(6.4, 8, set_to=replace(BASE, iso=1600.0))], asked) == "weak"


def test_the_card_is_no_test_frame_where_the_card_is_metered() -> None:
    """Under such a plan it may fill the picture."""
    plan = replace(FLASH, aim=replace(FLASH.aim, area="card"))
    assert reason(plan, [*paced(9, 9), frame(9.0, 8, look="card")]) is None


@pytest.mark.parametrize(
    ("asked", "odd"),
    [
        (Call("darker", "", Setting.LIGHT, move_stops=-2.0), False),
        (Call("darker", "", Setting.LIGHT, move_stops=-0.9), True),
        (Call("darker", "", Setting.ISO, "400", "100", -2.0), True),
        (Call("darker", "", Setting.ISO, "400", "100", -2.0, left_stops=-2.0), True),
        (Call("darker", "", Setting.LIGHT, move_stops=-1.5, left_stops=-0.5), False),
        (Call("blocked", "", left_stops=-2.0), False),
        (Call("brighter", "", Setting.LIGHT, move_stops=2.0), True),
        (Call("brighter", "", Setting.ISO, "100", "400", 2.0, left_stops=2.0), True),
        (Call("hold", ""), True),
    ],
)
def test_light_that_was_asked_away_is_not_lost(asked: Call, odd: bool) -> None:
    """Heads turned down because the last call said so are no misfire; more light asked for does not excuse less."""
    assert (reason(FLASH, paced(11, 9), asked) is not None) == odd


def test_light_that_was_asked_for_is_no_reflection() -> None:
    """Nor is more light odd that the last call asked for."""
    asked = Call("brighter", "", Setting.LIGHT, move_stops=2.0)
    assert name(FLASH, paced(7, 9)) == "glint"
    assert reason(FLASH, paced(7, 9), asked) is None


def test_light_asked_away_earlier_does_not_make_later_frames_odd() -> None:
    """Heads that were turned down because a call said so are how things are from then on."""
    by_light = replace(FLASH, darker=(Setting.LIGHT,))
    assert reason(by_light, paced(14, 9, 9)) is None


def test_an_unknown_setting_is_taken_to_stand_still() -> None:
    """An old lens tells no aperture: the level alone then shows that the flash is gone."""
    old = Settings(2.0**-8, None, 400.0)
    shots = [frame(light, at, set_to=old) for at, light in enumerate((9, 9, 2))]
    assert name(FLASH, shots) == "gone"
    assert reason(FLASH, [*shots[:2], frame(2, 3)]) is None


@given(st.lists(st.floats(0, 20), max_size=40), st.sampled_from(list(PLANS)))
def test_only_the_last_frames_count(lights: list[float], light: LightKind) -> None:
    """A long session gives the same answer as its last frames."""
    *history, shot = paced(*lights, 9)
    found = found_odd(PLANS[light], history)
    last = odd_frame(PLANS[light], history[-LOOK_BACK:], found[-LOOK_BACK:], shot)
    assert odd_frame(PLANS[light], history, found, shot) == last


SMALL = Call("darker", "", Setting.ISO, "500", "400", -1 / 3)


def test_a_call_is_not_taken_back_by_scatter() -> None:
    """Right after ISO went up, a frame slightly too bright is held; a real error or another light is called."""
    up = replace(BASE, iso=800.0)
    before = [frame(8, 0), frame(8.15, 4, set_to=up)]
    assert settled(FLASH, before, frame(8.25, 8, set_to=up), SMALL).kind == "hold"
    assert settled(CONTINUOUS, [frame(8.15, 0)], frame(8.22, 8, set_to=up), SMALL).kind == "hold"
    assert settled(CONTINUOUS, before, frame(8.3, 8, set_to=up), SMALL) == SMALL
    onward = replace(SMALL, kind="brighter", move_stops=1 / 3)
    assert settled(CONTINUOUS, before, frame(7.75, 8, set_to=up), onward) == onward
    assert settled(FLASH, before, frame(8.5, 8, set_to=up), SMALL) == SMALL
    assert settled(FLASH, before, frame(8.25, 200, set_to=up), SMALL) == SMALL  # another setup
    assert settled(CONTINUOUS, [frame(8, 0), *(frame(8.22, i, set_to=up) for i in range(3))],
                   frame(8.22, 9, set_to=up), SMALL) == SMALL  # fmt: skip


def test_scatter_of_a_flash_is_held_once() -> None:
    """The frame before was right at the same settings; two frames in a row that are off are called."""
    off = frame(9.25, 8)
    assert settled(FLASH, paced(9, 9), off, SMALL).reason == (
        "The metered box is 0.25 stops too bright, no more than frames of the same light differ."
    )
    assert settled(FLASH, [*paced(9, 9), off], frame(9.25, 12), SMALL) == SMALL
    assert settled(FLASH, paced(9, 9), frame(9.25, 100), SMALL) == SMALL
    assert settled(FLASH, [], off, SMALL) == SMALL


def test_scatter_of_continuous_light_is_held_once_while_it_does_not_drift() -> None:
    """A tenth of a stop beyond the tolerance, once; light that goes the same way twice is followed at once."""
    assert settled(CONTINUOUS, paced(9, 9), frame(9.25, 8), SMALL).kind == "hold"
    assert settled(CONTINUOUS, paced(9, 9), frame(9.3, 8), SMALL) == SMALL
    assert settled(CONTINUOUS, [*paced(9, 9), frame(9.25, 8)], frame(9.25, 12), SMALL) == SMALL
    assert settled(CONTINUOUS, paced(9, 9.12), frame(9.25, 8), SMALL) == SMALL


SCATTER = st.floats(-0.08, 0.08)


class Shoot(RuleBasedStateMachine):
    """An obedient photographer under a light that scatters, with odd frames one at a time and setups that change."""

    plan = FLASH
    scatter = 1.0

    def __init__(self) -> None:
        super().__init__()
        self.settings = BASE
        self.light, self.time, self.age, self.epoch = RIGHT, 0.0, 0, 0
        self.history: list[Shot] = []
        self.found_odd: list[bool] = []
        self.sound: list[tuple[Call, Shot]] = []
        self.moves: list[tuple[str, int]] = []

    def judge(self, shot: Shot) -> Call:
        """The call for a frame, as a session makes it; obeyed."""
        asked = self.sound[-1][0] if self.sound else None
        call = odd_frame(self.plan, self.history, self.found_odd, shot, asked)
        odd = call is not None
        if call is None:
            earlier = [each for _, each in self.sound]
            made = make_call(self.plan, shot.metadata.settings, shot.reading)
            call = settled(self.plan, earlier, shot, made)
            self.sound.append((call, shot))
        self.history.append(shot)
        self.found_odd.append(odd)
        self._obey(call)
        self.moves.append((call.kind, self.epoch))
        assert not self._flutters(), self.moves
        self.time += 4.0
        self.age = 0 if odd else self.age + 1
        return call

    def _obey(self, call: Call) -> None:
        if call.kind in ("brighter", "darker") and call.setting is Setting.LIGHT:
            self.light += call.move_stops
        elif call.kind in ("brighter", "darker"):
            assert call.setting is Setting.ISO and call.to_label
            self.settings = replace(self.settings, iso=snap(Setting.ISO, parse_value(Setting.ISO, call.to_label)))

    def _flutters(self) -> bool:
        """Whether the last call takes back one of the three before it, under unchanged light."""
        *before, (kind, epoch) = self.moves[-4:]
        opposite = {"brighter": "darker", "darker": "brighter"}.get(kind)
        return (opposite, epoch) in before

    @rule(scatter=SCATTER)
    def shoot(self, scatter: float) -> None:
        """An ordinary frame."""
        self.judge(frame(self.light + self.scatter * scatter, self.time, self.settings))

    def _light_is_asked_for(self) -> bool:
        """Whether the last call may change the light itself: an odd frame may then pass for the answer to it."""
        asked = self.sound[-1][0] if self.sound else None
        return asked is not None and (asked.setting is Setting.LIGHT or asked.left_stops != 0)

    @precondition(lambda self: self.age >= 4 and not self._light_is_asked_for())
    @rule(scatter=SCATTER, after=SCATTER, odd=st.sampled_from(["misfire", "weak", "glint", "blocked", "cap", "card"]))
    def odd(self, scatter: float, after: float, odd: str) -> None:
        """One odd frame in steady light moves nothing, and the good frame after it is not odd."""
        light = self.light + self.scatter * scatter
        weak = -0.7 if self.plan.light == "flash" else -1.2  # half a stop, and the scatter of two frames
        lights = {"misfire": BARE_STOPS[self.plan.light], "weak": weak, "glint": 1.2, "blocked": -2.0}
        look: Look = "black" if odd == "cap" else "card" if odd == "card" else "scene"
        rest = light if odd == "blocked" else None
        shot = frame(light + lights.get(odd, 0.0), self.time, self.settings, rest, look)
        assert self.judge(shot).kind == "check"
        assert self.judge(frame(self.light + self.scatter * after, self.time, self.settings)).kind != "check"

    @rule(light=st.floats(6.0, 12.0), scatter=SCATTER)
    def new_setup(self, light: float, scatter: float) -> None:
        """The first frame after a pause is called at once."""
        self.time += 2 * PAUSE_S
        self.light, self.age, self.epoch = light, 0, self.epoch + 1
        shot = frame(light + self.scatter * scatter, self.time, self.settings)
        call = self.judge(shot)
        assert (call.kind == "check") == (self.plan.light == "flash" and shot.reading.offset_stops <= -5.0)

    @precondition(lambda self: self.age >= 1)
    @rule(change=st.floats(-3.5, 3.5), scatters=st.tuples(SCATTER, SCATTER))
    def another_light(self, change: float, scatters: tuple[float, float]) -> None:
        """Light that changes without a pause and stays is called at its second frame at the latest."""
        light = min(max(self.light + change, 6.0), 12.0)
        self.light, self.epoch = light, self.epoch + 1
        first = self.judge(frame(light + self.scatter * scatters[0], self.time, self.settings))
        if first.kind == "check":
            assert self.judge(frame(light + self.scatter * scatters[1], self.time, self.settings)).kind != "check"


class ContinuousShoot(Shoot):
    """The same under lamps or daylight, which scatter half as much."""

    plan = CONTINUOUS
    scatter = 0.5


class MixedShoot(Shoot):
    """The same under flash and daylight."""

    plan = MIXED


TestFlash = Shoot.TestCase
TestContinuous = ContinuousShoot.TestCase
TestMixed = MixedShoot.TestCase
TestFlash.settings = TestContinuous.settings = TestMixed.settings = examples(max_examples=60, stateful_step_count=30)
