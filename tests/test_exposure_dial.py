"""Dials: the nominal series, what they stand for exactly, and moves along them."""

import math
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tetherwatch.exposure.dial import Dial, Step, label, parse_value, snap
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness, value_at

DIALS = [Dial(setting, step) for setting in CAMERA_SETTINGS for step in Step]
dials = st.sampled_from(DIALS)
settings = st.sampled_from(CAMERA_SETTINGS)
steps = st.sampled_from(Step)

# Nominal series as engraved on the trade's cameras and meters: common practice, no standard prescribes them all.
# Third-stop members are common practice; the half-stop members are from memory.
SERIES = {
    (Setting.SHUTTER, Step.THIRD): (
        "30 25 20 15 13 10 8 6 5 4 3.2 2.5 2 1.6 1.3 1 0.8 0.6 0.5 0.4 0.3 1/4 1/5 1/6 1/8 1/10 1/13 1/15 1/20 1/25 "
        "1/30 1/40 1/50 1/60 1/80 1/100 1/125 1/160 1/200 1/250 1/320 1/400 1/500 1/640 1/800 1/1000 1/1250 1/1600 "
        "1/2000 1/2500 1/3200 1/4000 1/5000 1/6400 1/8000"
    ),
    (Setting.APERTURE, Step.THIRD): (
        "1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22 25 29 32"
    ),
    (Setting.ISO, Step.THIRD): (
        "50 64 80 100 125 160 200 250 320 400 500 640 800 1000 1250 1600 2000 2500 3200 4000 5000 6400 8000 10000 "
        "12800 16000 20000 25600 32000 40000 51200 64000 80000 102400"
    ),
    (Setting.SHUTTER, Step.HALF): (
        "30 20 15 10 8 6 4 3 2 1.5 1 0.7 0.5 1/3 1/4 1/6 1/8 1/10 1/15 1/20 1/30 1/45 1/60 1/90 1/125 1/180 1/250 "
        "1/350 1/500 1/750 1/1000 1/1500 1/2000 1/3000 1/4000 1/6000 1/8000"
    ),
    (Setting.APERTURE, Step.HALF): "1 1.2 1.4 1.7 2 2.4 2.8 3.3 4 4.8 5.6 6.7 8 9.5 11 13 16 19 22 27 32",
    (Setting.ISO, Step.HALF): (
        "50 70 100 140 200 280 400 560 800 1100 1600 2200 3200 4500 6400 9000 12800 18000 25600 36000 51200 72000 "
        "102400"
    ),
    (
        Setting.SHUTTER,
        Step.FULL,
    ): "30 15 8 4 2 1 0.5 1/4 1/8 1/15 1/30 1/60 1/125 1/250 1/500 1/1000 1/2000 1/4000 1/8000",
    (Setting.APERTURE, Step.FULL): "1 1.4 2 2.8 4 5.6 8 11 16 22 32",
    (Setting.ISO, Step.FULL): "50 100 200 400 800 1600 3200 6400 12800 25600 51200 102400",
}

# Largest distance of a nominal number from the exact step, in stops: computed from the formula.
LARGEST_ERROR = {
    (Setting.SHUTTER, Step.THIRD): (0.0931, "30 15 1/15 1/30 1/60"),
    (Setting.APERTURE, Step.THIRD): (0.1406, "1.2"),
    (Setting.ISO, Step.THIRD): (0.0228, "64 1250 2500 5000 10000 20000 40000 80000"),
    (Setting.SHUTTER, Step.HALF): (0.1781, "20 10 1/10 1/20"),
    (Setting.APERTURE, Step.HALF): (0.0991, "13"),
    (Setting.ISO, Step.HALF): (0.0406, "1100 2200"),
    (Setting.SHUTTER, Step.FULL): (0.0931, "30 15 1/15 1/30 1/60"),
    (Setting.APERTURE, Step.FULL): (0.0811, "11 22"),
    (Setting.ISO, Step.FULL): (0.0, SERIES[Setting.ISO, Step.FULL]),
}


def numbers(text: str) -> list[float]:
    """The values of a row of engraved numbers."""
    return [float(Fraction(word)) for word in text.split()]


def errors(dial: Dial) -> dict[float, float]:
    """Distance in stops of each nominal number from the exact step it stands for."""
    return {
        nominal: abs(brightness(dial.setting, nominal) - position * dial.step.stops)
        for nominal, position in zip(dial.nominal, dial.positions, strict=True)
    }


@pytest.mark.parametrize("dial", DIALS, ids=str)
def test_each_series_has_exactly_the_engraved_members(dial: Dial) -> None:
    """The nine series hold the numbers of the trade's dials, no more and no fewer."""
    assert sorted(dial.nominal) == sorted(numbers(SERIES[dial.setting, dial.step]))


@pytest.mark.parametrize("dial", DIALS, ids=str)
def test_the_largest_error_of_each_series_is_as_stated(dial: Dial) -> None:
    """The stated maximum is reached by the stated numbers and by no others."""
    largest, reached_by = LARGEST_ERROR[dial.setting, dial.step]
    found = errors(dial)
    assert max(found.values()) == pytest.approx(largest, abs=5.1e-5)
    assert sorted(n for n, error in found.items() if error > largest - 5e-4) == sorted(numbers(reached_by))


def test_f_1_2_is_the_only_wide_third_stop_aperture() -> None:
    """Without f/1.2 the third-stop apertures lie within 0.0811 stop, reached at f/11 and f/22."""
    found = errors(Dial(Setting.APERTURE, Step.THIRD))
    del found[1.2]
    assert max(found.values()) == pytest.approx(0.0811, abs=5e-5)
    assert {n for n, error in found.items() if error > 0.081} == {11, 22}


def test_errors_of_three_third_stop_dials_add_up() -> None:
    """The worst sum of all three dials is 0.257 stop, 0.197 without f/1.2 (computed from the formula)."""
    worst = {setting: max(errors(Dial(setting, Step.THIRD)).values()) for setting in CAMERA_SETTINGS}
    assert sum(worst.values()) == pytest.approx(0.257, abs=5e-4)
    assert sum(worst.values()) - worst[Setting.APERTURE] + 0.0811 == pytest.approx(0.197, abs=5e-4)


@pytest.mark.parametrize("dial", DIALS, ids=str)
def test_series_rise_in_brightness(dial: Dial) -> None:
    """From the first position to the last, nominal and exact values both get brighter."""
    for before, after in pairwise(dial.nominal):
        assert brightness(dial.setting, before) < brightness(dial.setting, after)
    for before, after in pairwise(dial.positions):
        gained = brightness(dial.setting, dial.value(after)) - brightness(dial.setting, dial.value(before))
        assert gained == pytest.approx(dial.step.stops, abs=1e-12)


@pytest.mark.parametrize("dial", DIALS, ids=str)
def test_position_value_and_label_go_round(dial: Dial) -> None:
    """A position's exact value, its nominal number and its label all lead back to it."""
    for position, nominal in zip(dial.positions, dial.nominal, strict=True):
        assert dial.position(dial.value(position)) == position
        assert dial.position(nominal) == position
        assert dial.position(parse_value(dial.setting, dial.label(position))) == position


@pytest.mark.parametrize("dial", DIALS, ids=str)
def test_labels_are_all_different(dial: Dial) -> None:
    """No two positions of a dial read the same."""
    assert len({dial.label(position) for position in dial.positions}) == len(dial.positions)


@pytest.mark.parametrize(
    ("setting", "value", "third_stops", "half_stops"),
    [
        (Setting.APERTURE, 1.2, 1.260, 1.189),
        (Setting.APERTURE, 13, 12.70, 13.45),
        (Setting.SHUTTER, 1 / 6, 2**-2.6667, 2**-2.5),
        (Setting.SHUTTER, 1 / 10, 2**-3.3333, 2**-3.5),
        (Setting.SHUTTER, 1 / 20, 2**-4.3333, 2**-4.5),
    ],
)
def test_ambiguous_numbers_follow_the_step(
    setting: Setting, value: float, third_stops: float, half_stops: float
) -> None:
    """Some numbers are engraved on both dials and mean different steps (computed from the formula)."""
    assert snap(setting, value, Step.THIRD) == pytest.approx(third_stops, rel=4e-4)
    assert snap(setting, value, Step.HALF) == pytest.approx(half_stops, rel=4e-4)


@pytest.mark.parametrize(("nominal", "exact"), [(30, 32), (15, 16), (1 / 60, 1 / 64), (1 / 125, 1 / 128)])
def test_long_and_short_times_stand_for_powers_of_two(nominal: float, exact: float) -> None:
    """On cameras that use exact steps 30 s lasts 32 s and 15 s lasts 16 s."""
    assert all(snap(Setting.SHUTTER, nominal, step) == exact for step in Step)


@pytest.mark.parametrize(
    ("setting", "value"), [(Setting.SHUTTER, 1 / 16000), (Setting.APERTURE, 0.95), (Setting.ISO, 409600.0)]
)
def test_a_number_on_no_dial_is_kept(setting: Setting, value: float) -> None:
    """What the series do not know is not forced onto them."""
    assert all(snap(setting, value, step) == value for step in Step)


def test_a_number_of_another_dial_is_still_understood() -> None:
    """A lens marked f/1.7 on a third-stop camera and 1/80 on a half-stop one keep their own exact step."""
    assert snap(Setting.APERTURE, 1.7, Step.THIRD) == pytest.approx(2**0.75)
    assert snap(Setting.SHUTTER, 1 / 80, Step.HALF) == pytest.approx(2 ** (-19 / 3))


@given(dials, st.data(), st.floats(-0.045, 0.045))
def test_rounded_metadata_still_means_its_step(dial: Dial, data: st.DataObject, error: float) -> None:
    """A value up to 0.045 stop beside an exact or nominal number stands for the same position."""
    position = data.draw(st.sampled_from(dial.positions))
    nominal = dial.nominal[position - dial.positions.start]
    for value in (dial.value(position), nominal):
        beside = value_at(dial.setting, brightness(dial.setting, value) + error)
        assert dial.position(beside) == position


@given(settings, st.floats(-20, 20), steps)
def test_snapping_moves_little_and_only_once(setting: Setting, stops: float, step: Step) -> None:
    """Snapping shifts a value by at most the largest nominal error plus the allowance, and a second time not at all."""
    once = snap(setting, value_at(setting, stops), step)
    assert abs(brightness(setting, once) - stops) <= 0.1781 + 0.05
    assert snap(setting, once, step) == pytest.approx(once, rel=1e-12)


@given(dials, st.data())
def test_a_label_reads_back_as_its_exact_value(dial: Dial, data: st.DataObject) -> None:
    """Label, parse, snap returns the exact value of the position, and the label of that value is the same."""
    position = data.draw(st.sampled_from(dial.positions))
    shown = dial.label(position)
    exact = snap(dial.setting, parse_value(dial.setting, shown), dial.step)
    assert exact == pytest.approx(dial.value(position), rel=1e-12)
    assert label(dial.setting, exact, dial.step) == shown


@pytest.mark.parametrize(
    ("setting", "value", "shown"),
    [
        (Setting.SHUTTER, 2.0**-8, "1/250"),
        (Setting.SHUTTER, 0.5, "0.5 s"),
        (Setting.SHUTTER, 32, "30 s"),
        (Setting.SHUTTER, 1 / 16000, "1/16000"),
        (Setting.SHUTTER, 45, "45 s"),
        (Setting.APERTURE, 2**1.5, "f/2.8"),
        (Setting.APERTURE, 0.95, "f/0.95"),
        (Setting.ISO, 100 * 2 ** (11 / 3), "1250"),
        (Setting.ISO, 409600, "409600"),
    ],
)
def test_labels_use_the_trade_spelling(setting: Setting, value: float, shown: str) -> None:
    """Exact values are shown by the number engraved on the dial, others by their own number."""
    assert label(setting, value) == shown


@given(dials, st.data())
def test_moves_add_up(dial: Dial, data: st.DataObject) -> None:
    """Two whole-step moves that stay on the dial are one move by their sum, and the way back leads back."""
    start, middle, end = (data.draw(st.sampled_from(dial.positions)) for _ in range(3))
    first, second = (middle - start) * dial.step.stops, (end - middle) * dial.step.stops
    assert dial.move(dial.move(start, first), second) == dial.move(start, first + second) == end
    assert dial.move(end, -(first + second)) == start


@given(dials, st.data(), st.floats(-40, 40))
def test_a_move_lands_nearest_or_at_the_end(dial: Dial, data: st.DataObject, move: float) -> None:
    """No position of the dial is nearer to the wanted brightness than the one a move ends on."""
    start = data.draw(st.sampled_from(dial.positions))
    end = dial.move(start, move)
    assert end in dial.positions
    wanted = start * dial.step.stops + move
    nearest = min(abs(position * dial.step.stops - wanted) for position in dial.positions)
    assert abs(end * dial.step.stops - wanted) == pytest.approx(nearest, abs=1e-8)


@pytest.mark.parametrize("step", Step)
def test_a_tie_goes_to_the_darker_position(step: Step) -> None:
    """Halfway between two positions the darker one is taken, on both sides of zero."""
    dial = Dial(Setting.SHUTTER, step)
    for position in (-9, -1, 0, 3):
        assert dial.nearest((position + 0.5) * step.stops) == position


def test_a_position_beyond_the_dial_has_no_label() -> None:
    """The dial ends where its engraving ends."""
    dial = Dial(Setting.ISO, Step.FULL)
    with pytest.raises(IndexError, match="iso has no position"):
        dial.label(dial.positions.stop)


@pytest.mark.parametrize(
    ("setting", "text", "value"),
    [
        (Setting.SHUTTER, "1/250", 1 / 250),
        (Setting.SHUTTER, " 1/250 s ", 1 / 250),
        (Setting.SHUTTER, "0.5 s", 0.5),
        (Setting.SHUTTER, "1/2.5", 0.4),
        (Setting.SHUTTER, '2"', 2),
        (Setting.SHUTTER, 0.00001, 0.00001),
        (Setting.APERTURE, "f/2.8", 2.8),
        (Setting.APERTURE, "F/11", 11),
        (Setting.APERTURE, "f/ 4", 4),
        (Setting.APERTURE, 5.6, 5.6),
        (Setting.ISO, "400", 400),
        (Setting.ISO, "ISO 400", 400),
        (Setting.ISO, 100, 100),
    ],
)
def test_values_are_read_as_the_trade_writes_them(setting: Setting, text: str | float, value: float) -> None:
    """The usual spellings of each setting are understood, and plain numbers too."""
    assert parse_value(setting, text) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("setting", "text"),
    [
        (Setting.SHUTTER, "f/8"),
        (Setting.SHUTTER, "ISO 400"),
        (Setting.APERTURE, "1/250"),
        (Setting.APERTURE, "2 s"),
        (Setting.ISO, "f/8"),
        (Setting.ISO, "1/2"),
        (Setting.ISO, "400 s"),
    ],
)
def test_the_spelling_of_another_setting_is_refused(setting: Setting, text: str) -> None:
    """A value put at the wrong setting is a mistake to name, not a number to use."""
    with pytest.raises(ValueError, match=f"is not a value for {setting.value}"):
        parse_value(setting, text)


@pytest.mark.parametrize("setting", CAMERA_SETTINGS)
@pytest.mark.parametrize(
    "text",
    ["", "0", "-1", "1/0", "nan", "inf", "1e400", "1e999999999", "9" * 5000, "٣", "1_0", "ceiling", True, 0, -2.0,
     math.nan, math.inf, 10**400],
    ids=lambda text: str(text)[:12] if not isinstance(text, int) else type(text).__name__,
)  # fmt: skip
def test_what_is_no_value_is_refused(setting: Setting, text: str | float) -> None:
    """Anything but one positive finite number is a ValueError, at once and whatever its size."""
    with pytest.raises(ValueError, match=f"is not a value for {setting.value}"):
        parse_value(setting, text)


@given(settings, st.text(max_size=30) | st.floats() | st.integers())
@example(Setting.SHUTTER, "/")
def test_reading_gives_a_value_or_a_value_error(setting: Setting, text: str | float) -> None:
    """Whatever a plan holds, the result is a positive finite number or a ValueError."""
    try:
        value = parse_value(setting, text)
    except ValueError:
        return
    assert 0 < value < math.inf


@pytest.mark.parametrize("step", Step)
def test_a_step_reads_as_it_is_written(step: Step) -> None:
    """The three dial steps go through their text and back."""
    assert Step.parse(str(step.value)) is step


@pytest.mark.parametrize("text", ["", "1/4", "0.5", "third"])
def test_an_unknown_step_is_refused(text: str) -> None:
    """A step no dial has is refused with the three that exist."""
    with pytest.raises(ValueError, match="1/3"):
        Step.parse(text)
