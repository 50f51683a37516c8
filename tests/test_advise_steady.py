"""One odd frame moves nothing."""

from dataclasses import replace

import pytest
from advise_records import GOOD, reading
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Call, LightKind
from tetherwatch.advise.steady import MISFIRE_STOPS, odd_frame
from tetherwatch.exposure.stops import Setting

CONTINUOUS = parse_plan(GOOD, "mine.toml", 3200.0)
FLASH = replace(CONTINUOUS, light="flash")
lights = st.floats(-5, 20)


@pytest.mark.parametrize(("lost", "odd"), [(0.0, False), (0.99, False), (1.0, True), (6.0, True), (-3.0, False)])
def test_a_stop_of_light_gone_is_odd(lost: float, odd: bool) -> None:
    """One stop less light than the frame before is a flash that failed; less of a loss, or more light, is not."""
    call = odd_frame(FLASH, reading(0.0, light_value=8.0), reading(-lost, light_value=8.0 - lost))
    assert (call is not None and call.kind == "check") == odd


def test_the_words_of_a_lost_flash() -> None:
    """The sentence says how much light is gone and what to do, and nothing moves."""
    call = odd_frame(FLASH, reading(0.0, light_value=8.0), reading(-3.0, light_value=5.0))
    assert call == Call(
        "check",
        "The frame before had 3.00 stops more light: shoot again before moving anything, and see that the flash fires.",
    )


@given(lights, lights, st.floats(-8, 8), st.floats(-8, 8))
def test_only_the_light_counts(before: float, now: float, offset_before: float, offset: float) -> None:
    """What the camera did in between does not matter: the same loss of light gives the same answer."""
    call = odd_frame(FLASH, reading(offset_before, light_value=before), reading(offset, light_value=now))
    assert (call is not None) == (before - now >= MISFIRE_STOPS)


@pytest.mark.parametrize(("light", "odd"), [("continuous", False), ("mixed", True), ("flash", True)])
def test_only_flashes_misfire(light: LightKind, odd: bool) -> None:
    """A cloud is called like any other change; mixed light has a flash in it."""
    plan = replace(CONTINUOUS, light=light)
    assert (odd_frame(plan, reading(0.0, light_value=8.0), reading(-3.0, light_value=5.0)) is not None) == odd


@pytest.mark.parametrize(("before", "now"), [(None, 5.0), (8.0, None), (None, None)])
def test_unknown_light_is_not_judged(before: float | None, now: float | None) -> None:
    """Where a setting is unknown the light is too, and nothing is concluded from it."""
    assert odd_frame(FLASH, reading(0.0, light_value=before), reading(-3.0, light_value=now)) is None


def test_the_first_frame_is_never_odd() -> None:
    """There is nothing to compare it with."""
    assert odd_frame(FLASH, None, reading(-9.0, light_value=-2.0)) is None


@pytest.mark.parametrize(
    ("asked", "odd"),
    [
        (Call("darker", "", Setting.LIGHT, move_stops=-2.0), False),
        (Call("darker", "", Setting.LIGHT, move_stops=-0.9), True),
        (Call("darker", "", Setting.ISO, "400", "100", -2.0), True),
        (Call("darker", "", Setting.ISO, "400", "100", -2.0, left_stops=-2.0), False),
        (Call("blocked", "", left_stops=-2.0), False),
        (Call("brighter", "", Setting.LIGHT, move_stops=2.0), True),
        (Call("brighter", "", Setting.ISO, "100", "400", 2.0, left_stops=2.0), True),
        (Call("hold", ""), True),
    ],
)
def test_light_that_was_asked_away_is_not_lost(asked: Call, odd: bool) -> None:
    """Heads turned down because the last call said so are no misfire; more light asked for does not excuse less."""
    lost = odd_frame(FLASH, reading(2.0, light_value=8.0), reading(0.0, light_value=6.0), asked)
    assert (lost is not None) == odd


@given(st.floats(0, 6))
def test_asked_or_not_a_lamp_that_stays_as_it_is_is_not_odd(asked: float) -> None:
    """A call that was not followed does not turn the next frame into a misfire."""
    for sign in (-1, 1):
        call = Call("darker", "", Setting.LIGHT, move_stops=sign * asked)
        assert odd_frame(FLASH, reading(2.0, light_value=8.0), reading(2.0, light_value=8.0), call) is None
