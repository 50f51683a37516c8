"""What if: settings that nobody has moved yet, under each kind of light."""

import math
from dataclasses import replace

import pytest
from advise_records import GOOD, cases, offsets, reading, tones
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.advise.call import make_call, predict
from tetherwatch.advise.hazards import hazards
from tetherwatch.advise.mixture import level_after
from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import NOTHING_KNOWN, Allowed, Estimate, Knowledge, Plan, Shot
from tetherwatch.advise.whatif import MOST_STOPS, Tried, Try, parse_try, tried
from tetherwatch.errors import UsageError
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Reading

PLAN = parse_plan(GOOD, "mine.toml", 3200.0)
FLASH, MIXED = replace(PLAN, light="flash"), replace(PLAN, light="mixed")
SETTINGS = Settings(2.0**-8, 2.0**1.5, 400.0)
moves = st.floats(-6, 6)


def shot(measured: Reading, settings: Settings = SETTINGS) -> Shot:
    """A capture at these settings."""
    return Shot(Metadata(settings=settings), measured, 0.0)


def outcome(plan: Plan, *texts: str, offset: float = -1.0, knowledge: Knowledge = NOTHING_KNOWN) -> Tried:
    """What these words lead to from a frame `offset` stops from its aim."""
    return tried(plan, shot(reading(offset)), tuple(map(parse_try, texts)), knowledge)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("iso=800", Try(Setting.ISO, value=800.0)),
        ("ISO = iso 800", Try(Setting.ISO, value=800.0)),
        ("aperture=f/4", Try(Setting.APERTURE, value=4.0)),
        ("aperture=4", Try(Setting.APERTURE, value=4.0)),
        ("shutter=1/500", Try(Setting.SHUTTER, value=0.002)),
        ("shutter=0.5 s", Try(Setting.SHUTTER, value=0.5)),
        ("light=+1", Try(Setting.LIGHT, stops=1.0)),
        ("light=-0.3", Try(Setting.LIGHT, stops=-0.3)),
        ("iso=+1", Try(Setting.ISO, stops=1.0)),
        ("shutter=-.5", Try(Setting.SHUTTER, stops=-0.5)),
    ],
)
def test_moves_are_written_as_the_trade_writes_them(text: str, wanted: Try) -> None:
    """A value as on the dial; a sign means stops."""
    assert parse_try(text) == wanted


@pytest.mark.parametrize(
    "text",
    [
        *("", "iso", "iso=", "=800", "iso=0", "iso=loud", "iso=800=1", "iso=²", "aperture=1/4", "shutter=1/0"),
        *("light=1", "light=1/4", "light=+", "light=+1e3", "light=+21", "light=+inf", "light=+nan", "flash=+1"),
    ],
)
def test_other_words_are_refused_with_the_right_ones(text: str) -> None:
    """What cannot be tried is repeated, and how to write it is said."""
    with pytest.raises(UsageError) as caught:
        parse_try(text)
    assert repr(text) in caught.value.problem and "iso=800" in caught.value.advice


@given(st.text(max_size=12) | st.from_regex(r"(iso|light|shutter|aperture)=[-+0-9./ef ]{0,6}", fullmatch=True))
def test_any_words_are_a_move_or_refused(text: str) -> None:
    """No other error, and never a move without end."""
    try:
        found = parse_try(text)
    except UsageError:
        return
    assert (found.value is None) != (found.stops is None)
    assert found.value is None or 0 < found.value < 1e9
    assert found.stops is None or abs(found.stops) <= MOST_STOPS


@given(offset=offsets, stops=st.tuples(moves, moves, moves, moves))
def test_moves_add_up_under_continuous_light(offset: float, stops: tuple[float, ...]) -> None:
    """The offset is moved by the sum of what the dials move, and clipping is that of the tones moved."""
    measured = reading(offset, [tones({10: 50, 30: 200}, clipped=3)])
    tries = [Try(setting, stops=move) for setting, move in zip((*CAMERA_SETTINGS, Setting.LIGHT), stops, strict=True)]
    found = tried(PLAN, shot(measured), tries, NOTHING_KNOWN)
    total = sum(found.moves.values())
    should = predict(measured, total)
    assert found.predicted.offset_stops == pytest.approx(should.offset_stops, abs=1e-9)
    assert found.predicted.clipped_percent == pytest.approx(should.clipped_percent)
    assert found.predicted.clipped_by_channel == pytest.approx(should.clipped_by_channel)
    for setting in CAMERA_SETTINGS:
        there, here = found.settings.get(setting), SETTINGS.get(setting)
        assert there is not None and here is not None
        assert found.moves[setting] == pytest.approx(brightness(setting, there) - brightness(setting, here))
        assert found.moves[setting] == stops[CAMERA_SETTINGS.index(setting)]
    assert (found.between, found.notes, found.uncertainty_stops) == (None, (), measured.uncertainty_stops)
    if abs(abs(found.predicted.offset_stops) - PLAN.aim.tolerance_stops) > 1e-5:
        assert found.inside == (abs(found.predicted.offset_stops) <= PLAN.aim.tolerance_stops)


@given(cases())
def test_trying_a_call_gives_its_own_prediction(case: tuple[Plan, Settings, Reading]) -> None:
    """What the tool calls for and what it says of the same move agree, under any light and plan."""
    plan, settings, measured = case
    call = make_call(plan, settings, measured)
    if call.setting is None or call.predicted is None:
        return
    wanted = (Try(call.setting, stops=call.move_stops),)
    if call.setting in CAMERA_SETTINGS and call.to_label is None:
        with pytest.raises(UsageError):
            tried(plan, shot(measured, settings), wanted, NOTHING_KNOWN)
        return
    found = tried(plan, shot(measured, settings), wanted, NOTHING_KNOWN)
    assert found.moves == {call.setting: call.move_stops}
    assert found.predicted.offset_stops == pytest.approx(call.predicted.offset_stops, abs=1e-9)
    assert found.predicted.uncertainty_stops == pytest.approx(call.predicted.uncertainty_stops, abs=1e-9)


def test_a_nominal_value_stands_for_its_dial_step() -> None:
    """f/5.6 is two stops from f/2.8 exactly, whatever the engraved numbers say."""
    assert outcome(PLAN, "aperture=5.6").moves == {Setting.APERTURE: pytest.approx(-2.0)}
    assert outcome(PLAN, "shutter=1/500", "iso=800").predicted.offset_stops == pytest.approx(-1.0)


def test_under_flash_the_shutter_moves_nothing_and_says_so() -> None:
    """Its stops are told, its effect is none; what is tried with it acts in full."""
    found = outcome(FLASH, "shutter=1/60")
    assert (found.moves, found.predicted.offset_stops) == ({Setting.SHUTTER: 2.0}, -1.0)
    assert found.notes == ("under flash the shutter moves nothing",)
    assert outcome(FLASH, "shutter=1/60", "iso=800", "light=+0.5").predicted.offset_stops == pytest.approx(0.5)
    assert outcome(FLASH, "iso=800").notes == ()


@given(part=st.floats(0, 1), shutter=moves, light=moves)
def test_known_mixed_light_adds_its_two_parts(part: float, shutter: float, light: float) -> None:
    """The shutter moves the continuous part, the lamp the rest; both exposures add."""
    knowledge = Knowledge(ambient=Estimate(part, 0.02))
    tries = (Try(Setting.LIGHT, stops=light),)
    found = tried(MIXED, shot(reading(0.0)), (Try(Setting.SHUTTER, stops=shutter), *tries), knowledge)
    moved = found.moves[Setting.SHUTTER]
    assert found.predicted.offset_stops == pytest.approx(math.log2(part * 2**moved + (1 - part) * 2**light), abs=1e-4)
    assert found.between is None
    assert found.uncertainty_stops == pytest.approx(math.hypot(0.03, found.predicted.uncertainty_stops))
    alone = tried(MIXED, shot(reading(0.0)), (Try(Setting.SHUTTER, stops=shutter),), knowledge)
    assert alone.predicted.offset_stops == pytest.approx(level_after(part, alone.moves[Setting.SHUTTER]))


@given(part=st.floats(0, 1), shutter=moves, light=moves, iso=moves)
def test_unknown_mixed_light_is_bounded(part: float, shutter: float, light: float, iso: float) -> None:
    """Whatever the mixture is, the outcome lies between the bounds given, and clipping is that of the brightest."""
    tries = [Try(Setting.SHUTTER, stops=shutter), Try(Setting.LIGHT, stops=light), Try(Setting.ISO, stops=iso)]
    measured = reading(0.0, [tones({10: 50, 30: 200})])
    found = tried(MIXED, shot(measured), tries, NOTHING_KNOWN)
    truth = tried(MIXED, shot(measured), tries, Knowledge(ambient=Estimate(part, 0.0))).predicted
    if found.between is None:
        assert found.moves[Setting.SHUTTER] == pytest.approx(light, abs=1e-5)
        return
    darkest, brightest = found.between
    assert darkest - 1e-4 <= truth.offset_stops <= brightest + 1e-4
    assert darkest <= found.predicted.offset_stops <= brightest
    assert found.predicted.clipped_percent >= truth.clipped_percent - 1e-6
    assert found.notes


@pytest.mark.parametrize(
    ("offset", "text", "inside"),
    [(0.0, "shutter=1/125", None), (0.1, "shutter=+0.05", True), (1.0, "shutter=+1", False), (-3.0, "light=+1", False)],
)
def test_inside_is_told_only_where_it_holds_for_every_mixture(offset: float, text: str, inside: bool | None) -> None:
    """Between the bounds the tolerance may be met or not: then neither is claimed."""
    assert outcome(MIXED, text, offset=offset).inside is inside


def test_hazards_are_those_of_the_settings_tried() -> None:
    """Not those of the settings the capture was taken at."""
    metadata = Metadata(settings=SETTINGS, focal_mm=85.0, focal_35mm=85.0)
    before = Shot(metadata, reading(0.0), 0.0)
    found = tried(PLAN, before, (Try(Setting.SHUTTER, value=1 / 15),), NOTHING_KNOWN)
    assert not hazards(PLAN, metadata)
    assert found.hazards == hazards(PLAN, replace(metadata, settings=found.settings))
    assert [finding.kind for finding in found.hazards] == ["hand-hold"]


def test_what_stands_outside_the_plan_is_named() -> None:
    """Each setting, and the light where its power is known."""
    assert outcome(PLAN, "iso=6400", "aperture=f/4").outside == (Setting.APERTURE, Setting.ISO)
    assert outcome(PLAN, "iso=3200").outside == ()
    power = Allowed(Setting.LIGHT, 2.0**-5, 1.0, 0.25)
    plan, known = replace(FLASH, power=power), Knowledge(power=0.25)
    assert outcome(plan, "light=+2.1", knowledge=known).outside == (Setting.LIGHT,)
    assert outcome(plan, "light=+2", knowledge=known).outside == ()
    assert outcome(plan, "light=+9").outside == ()


@pytest.mark.parametrize("setting", CAMERA_SETTINGS)
@pytest.mark.parametrize("wanted", [{"value": 1.0}, {"stops": 1.0}])
def test_a_setting_the_capture_hides_cannot_be_tried(setting: Setting, wanted: dict[str, float]) -> None:
    """The user is told which, and what can be tried instead; light always can."""
    hidden = shot(reading(-1.0), Settings())
    with pytest.raises(UsageError, match=r"does not say where the .* stands"):
        tried(PLAN, hidden, (Try(setting, **wanted),), NOTHING_KNOWN)
    assert tried(PLAN, hidden, (Try(Setting.LIGHT, stops=1.0),), NOTHING_KNOWN).predicted.offset_stops == 0.0


def test_a_setting_is_tried_once() -> None:
    """Two values for one dial are a mistake."""
    with pytest.raises(UsageError, match="tried twice"):
        outcome(PLAN, "iso=800", "iso=1600")
