"""What levers do under flash, continuous and mixed light, and what the frames tell of the light."""

import math
from dataclasses import replace

import pytest
from advise_records import GOOD, reading
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.advise.call import make_call
from tetherwatch.advise.effects import effect, steered_by
from tetherwatch.advise.mixture import ambient_part, claim_doubted, level_after, moved_alone
from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.power import distance_factor, parse_power, power_label
from tetherwatch.advise.records import Estimate, Knowledge, Plan, Shot
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata

CONTINUOUS = parse_plan(GOOD, "mine.toml", 3200.0)
POWER = '\n[power]\nstart = "1/8"\nallow = ["1/256", "1/1"]\n'
FLASH = parse_plan(
    GOOD.replace('light = "continuous"', 'light = "flash"')
    .replace('allow = ["1/250", "1/4000"]', 'allow = ["1/250", "1/250"]')
    .replace('brighter = ["shutter", "iso"]', 'brighter = ["iso", "light"]')
    .replace('darker = ["iso", "shutter", "light"]', 'darker = ["iso", "light"]')
    + POWER,
    "flash.toml",
    400.0,
)
MIXED = replace(CONTINUOUS, light="mixed", brighter=(Setting.SHUTTER, Setting.ISO))

ambients = st.floats(0.0, 1.0)
stops = st.floats(-5.0, 5.0)


def shot(shutter_s: float, level: float, iso: float = 400.0, time_s: float = 0.0) -> Shot:
    """A frame at f/2.8 whose metered level is `level` stops from grey."""
    return Shot(Metadata(settings=Settings(shutter_s, 2.0**1.5, iso)), reading(level), time_s)


@given(ambients, stops)
def test_the_shutter_acts_on_the_continuous_part_only(ambient: float, move: float) -> None:
    """Exposures of two lights add linearly: (1 - a) + a 2^d, all flash not at all, all continuous in full."""
    change = level_after(ambient, move)
    assert change == pytest.approx(math.log2(max((1 - ambient) + ambient * 2.0**move, 2.0**-20)), abs=1e-9)
    assert min(0.0, move) - 1e-9 <= change <= max(0.0, move) + 1e-9
    assert level_after(0.0, move) == 0.0
    assert level_after(1.0, move) == pytest.approx(move)


def test_two_lights_add_as_in_a_light_meter() -> None:
    """1:1 adds a stop, a fill of half the key 0.585 on top of the key (computed from linear addition)."""
    assert level_after(0.5, 1.0) == pytest.approx(math.log2(1.5))
    assert -level_after(0.5, -20.0) == pytest.approx(1.0, abs=1e-5)


@given(ambients, st.floats(-3.0, 3.0), st.floats(-0.02, 0.02))
def test_the_mixture_is_found_from_one_shutter_move(ambient: float, move: float, error: float) -> None:
    """Within three of its own standard uncertainties, also with a reading that is off by a little."""
    if abs(move) < 0.4:
        return
    first, second = 2.0**-7, 2.0 ** (-7 + move)
    frames = [shot(first, 0.0), shot(second, level_after(ambient, move) + error)]
    found = ambient_part(frames)
    gain = 2.0**move
    expected = ambient * gain / ((1 - ambient) + ambient * gain)
    assert found is not None
    assert abs(found.value - expected) <= 3 * found.uncertainty + 1e-9


def test_more_pairs_make_the_mixture_surer() -> None:
    """The uncertainty shrinks with each further pair; pairs in which something else moved tell nothing."""
    times = [2.0**-7, 2.0**-8, 2.0**-7, 2.0**-8]
    frames = [shot(time, level_after(0.5, math.log2(time / times[0]))) for time in times]
    one, three = ambient_part(frames[:2]), ambient_part(frames)
    assert one is not None and three is not None
    assert three.uncertainty < one.uncertainty
    assert ambient_part([shot(2.0**-7, 0.0), shot(2.0**-8, 0.0, iso=800.0)]) is None
    assert ambient_part([shot(2.0**-7, 0.0)]) is None


@pytest.mark.parametrize(
    "later",
    [
        [shot(2.0**-8, 0.5, time_s=4.0)],
        [shot(2.0**-8, -1.2, time_s=4.0)],
        [shot(2.0**-8, -0.4, time_s=200.0)],
        [shot(2.0**-8, 0.5, iso=800.0, time_s=200.0), shot(2.0**-8, 0.5, iso=800.0, time_s=204.0)],
    ],
)
def test_another_light_is_another_mixture(later: list[Shot]) -> None:
    """What earlier frames told is void once light came or went by itself, and after a pause of minutes."""
    known = [shot(2.0**-7, 0.0), shot(2.0**-8, -0.4)]
    assert ambient_part(known) is not None
    assert ambient_part([*known, *later]) is None


def test_a_pair_across_a_change_of_light_tells_nothing() -> None:
    """The shutter went down a stop and the picture got brighter: that was not the shutter."""
    assert ambient_part([shot(2.0**-7, 0.0), shot(2.0**-8, 0.4)]) is None
    assert ambient_part([shot(2.0**-7, 0.0), shot(2.0**-8, -0.4, time_s=200.0)]) is None


@given(stops, ambients, st.floats(0.0, 0.2))
def test_a_move_is_chosen_by_the_most_that_an_uncertain_part_can_give(
    move: float, ambient: float, uncertainty: float
) -> None:
    """Two standard uncertainties above the estimate, never more than in full: rather too short than too far."""
    known = Knowledge(ambient=Estimate(ambient, uncertainty))
    most = min(ambient + 2 * uncertainty, 1.0)
    assert steered_by(MIXED, Setting.SHUTTER, move, known) == pytest.approx(level_after(most, move))
    assert abs(effect(MIXED, Setting.SHUTTER, move, known).value) <= abs(level_after(most, move)) + 1e-9


def test_only_a_single_known_difference_counts_as_a_move() -> None:
    """None, two, or an unknown setting are no move of one lever."""
    one = Settings(2.0**-8, 4.0, 100.0)
    assert moved_alone(one, one.with_value(Setting.SHUTTER, 2.0**-7)) == (Setting.SHUTTER, 1.0)
    assert moved_alone(one, one) is None
    assert moved_alone(one, Settings(2.0**-7, 4.0, 200.0)) is None
    assert moved_alone(one, Settings(None, 4.0, 200.0)) is None


@pytest.mark.parametrize(
    ("plan", "moved", "said"),
    [
        (CONTINUOUS, -0.05, "flash"),
        (CONTINUOUS, -1.0, None),
        (FLASH, -0.98, "continuous"),
        (FLASH, -0.03, None),
        (MIXED, -0.05, None),
    ],
)
def test_a_plan_that_claims_another_light_is_doubted(plan: Plan, moved: float, said: str | None) -> None:
    """The shutter moved a stop: what the picture did shows the kind of light, and the user is told."""
    finding = claim_doubted(plan, [shot(2.0**-8, 0.0), shot(2.0**-9, moved)])
    if said is None:
        assert finding is None
    else:
        assert finding is not None
        assert finding.kind == "light"
        assert f"the shutter moved 1.0 stops, the picture {abs(moved):.2f}: this is {said} light" in finding.reason


@given(st.sampled_from([Setting.SHUTTER, Setting.APERTURE, Setting.ISO, Setting.LIGHT]), stops, ambients)
def test_what_a_lever_gives_under_each_kind_of_light(setting: Setting, move: float, ambient: float) -> None:
    """Flash: the shutter nothing, the rest in full; continuous: all in full; mixed: shutter and power their part."""
    known = Knowledge(ambient=Estimate(ambient, 0.0))
    assert effect(FLASH, setting, move, known) == Estimate(0.0 if setting is Setting.SHUTTER else move, 0.0)
    assert effect(CONTINUOUS, setting, move, known) == Estimate(move, 0.0)
    part = {Setting.SHUTTER: ambient, Setting.LIGHT: 1 - ambient}.get(setting, 1.0)
    assert effect(MIXED, setting, move, known).value == pytest.approx(level_after(part, move))


@given(stops, ambients)
def test_an_unknown_mixture_is_reckoned_so_that_nothing_overshoots(move: float, ambient: float) -> None:
    """The true change never exceeds what the move was chosen by, and the stated spread covers it."""
    gives = effect(MIXED, Setting.SHUTTER, move, Knowledge())
    true = level_after(ambient, move)
    assert abs(true) <= abs(steered_by(MIXED, Setting.SHUTTER, move, Knowledge())) + 1e-9
    assert abs(true - gives.value) <= math.sqrt(3) * gives.uncertainty + 1e-9


def test_under_known_mixed_light_the_shutter_moves_further() -> None:
    """Half the light is flash: half a stop less light takes more than half a stop of shutter, and the call says so."""
    knowledge = Knowledge(ambient=Estimate(0.5, 0.02))
    plan = replace(MIXED, darker=(Setting.SHUTTER,))
    call = make_call(plan, Settings(2.0**-8, 2.0**1.5, 400.0), reading(0.5), knowledge)
    assert (call.kind, call.setting) == ("darker", Setting.SHUTTER)
    assert call.move_stops < -0.8
    assert call.predicted is not None
    assert abs(call.predicted.offset_stops) <= 0.17
    assert call.predicted.uncertainty_stops > 0
    assert "in this mixed light the picture moves by" in call.reason


def test_flash_power_moves_along_its_own_dial() -> None:
    """At the ISO limit the heads go up, from where they stand to a power the trade can set."""
    knowledge = Knowledge(power=1 / 8)
    call = make_call(FLASH, Settings(2.0**-8, 2.0**1.5, 400.0), reading(-1.3), knowledge)
    assert (call.kind, call.setting, call.from_label, call.to_label) == ("brighter", Setting.LIGHT, "1/8", "1/4 +0.3")
    assert call.move_stops == pytest.approx(1.3)
    spent = make_call(FLASH, Settings(2.0**-8, 2.0**1.5, 400.0), reading(-5.0), knowledge)
    assert (spent.to_label, spent.move_stops) == ("1/1", pytest.approx(3.0))
    assert spent.left_stops == pytest.approx(2.0)
    full = make_call(FLASH, Settings(2.0**-8, 2.0**1.5, 400.0), reading(-1.0), Knowledge(power=1.0))
    assert (full.kind, full.left_stops) == ("blocked", 1.0)


def test_a_lamp_without_a_dial_is_dimmed_or_moved() -> None:
    """Inverse square: a stop less light from a small lamp is 1.41 times its distance (inverse square law)."""
    plan = replace(CONTINUOUS, darker=(Setting.LIGHT,))
    call = make_call(plan, Settings(2.0**-12, 2.0**1.5, 100.0), reading(1.0))
    assert (call.kind, call.setting, call.move_stops) == ("darker", Setting.LIGHT, -1.0)
    assert "to 1.41 times its distance" in call.reason


@pytest.mark.parametrize(("factor", "expected"), [(2**0.5, -1.0), (2.0, -2.0), (1.5, -1.17), (1.05, -0.141)])
def test_inverse_square_moves(factor: float, expected: float) -> None:
    """Stops = -2 log2(d2 / d1): 1.41x, 2x, 1.5x and 5 % farther (inverse square law; values computed)."""
    assert distance_factor(expected) == pytest.approx(factor, rel=2e-3)


@pytest.mark.parametrize(
    ("text", "power"),
    [("1/1", 1.0), ("1/2", 0.5), ("1/256", 2.0**-8), ("1/8 +0.3", 2.0**-2.7), ("1/64+0.7", 2.0**-5.3)],
)
def test_powers_are_read_and_written_as_on_the_dial(text: str, power: float) -> None:
    """Full fractions of two and tenths between them (common practice); written with a space."""
    assert parse_power(text) == pytest.approx(power)
    assert power_label(power) == text.replace("4+", "4 +")


@pytest.mark.parametrize("text", ["1/3", "2", "1/8 +0.33", "1/1 +0.1", "", "1/512"])
def test_what_no_dial_shows_is_refused(text: str) -> None:
    """With the spelling to use."""
    with pytest.raises(ValueError, match="power"):
        parse_power(text)


@given(st.integers(-80, 0))
def test_every_tenth_reads_back(tenths: int) -> None:
    """Label and parsing are inverse over the whole range of the trade."""
    assert parse_power(power_label(2.0 ** (tenths / 10))) == pytest.approx(2.0 ** (tenths / 10))


@pytest.mark.parametrize("program", ["automatic", "aperture priority", "shutter priority", "auto ISO"])
def test_a_camera_that_is_not_in_manual_is_asked_for_compensation(program: str) -> None:
    """The call moves exposure compensation from where it stands and says why; the plan's ranges are not minded."""
    knowledge = Knowledge(program=program, bias_stops=0.0)  # type: ignore[arg-type]
    call = make_call(CONTINUOUS, Settings(2.0**-5, 2.0**1.5, 400.0), reading(-1.0), knowledge)
    assert (call.kind, call.setting) == ("brighter", Setting.COMPENSATION)
    assert (call.from_label, call.to_label) == ("+0.0", "+1.0")
    assert f"the camera is on {program}, so this is exposure compensation" in call.reason
    far = make_call(CONTINUOUS, Settings(2.0**-5, 2.0**1.5, 400.0), reading(-9.0), knowledge)
    assert (far.to_label, far.left_stops) == ("+3.0", pytest.approx(6.0))
