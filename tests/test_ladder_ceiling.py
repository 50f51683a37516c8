"""The ceiling: the highest ISO that keeps every grade, between the rungs and never beyond them."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from ladder_sheets import made_rung

from tetherwatch.errors import UsageError
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.stops import Setting
from tetherwatch.ladder.ceiling import find_ceiling, grades, interpolated
from tetherwatch.ladder.records import Ceiling, Figure, Finding, Options, Rung

ISOS = tuple(100.0 * 2**stop for stop in range(9))
THIRDS = Dial(Setting.ISO, Step.THIRD)


def snr(iso: float, read_e: float = 3.0, grey_e: float = 8000.0) -> float:
    """Signal to noise at an ISO of a sensor with `grey_e` electrons at mid-grey of ISO 100."""
    electrons = grey_e * 100 / iso
    return electrons / math.sqrt(electrons + read_e**2)


def rung(iso: float, read_e: float = 3.0, relative: float = 0.002, detail: float = 1.0) -> Rung:
    """A rung whose figures are those of that sensor."""
    grey, shadow = snr(iso, read_e), snr(8 * iso, read_e)
    return replace(
        made_rung(iso),
        snr_grey_viewing=Figure(grey, relative * grey),
        snr_shadow_viewing=Figure(shadow, relative * shadow),
        detail_kept=Figure(detail, 0.002),
    )


def found(rungs: list[Rung], options: Options | None = None) -> Ceiling:
    """The ceiling of rungs that have one."""
    ceiling = find_ceiling(rungs, options or Options())
    assert isinstance(ceiling, Ceiling)
    return ceiling


def true_ceiling(grade: float, read_e: float) -> float:
    """The highest third-stop at which both grades hold."""
    good = [THIRDS.value(p) for p in THIRDS.positions if snr(THIRDS.value(p), read_e) >= grade]
    dark = [THIRDS.value(p) for p in THIRDS.positions if snr(8 * THIRDS.value(p), read_e) >= grade / 4]
    return min(max(good), max(dark))


@given(read_e=st.floats(1, 8), grade=st.floats(8, 30))
def test_the_ceiling_is_the_right_third_stop(read_e: float, grade: float) -> None:
    """From rungs a stop apart; the next third-stop only where the grade falls within one percent of a step."""
    ceiling = found([rung(iso, read_e) for iso in ISOS], Options(grade=grade))
    true = true_ceiling(grade, read_e)
    higher = max(ceiling.iso, true)
    margin = min(snr(higher, read_e), 4 * snr(8 * higher, read_e)) / grade - 1
    assert ceiling.iso == pytest.approx(true) or abs(margin) < 0.01
    assert ceiling.interval[0] <= ceiling.iso <= ceiling.interval[1]


def test_shadows_that_fail_first_set_the_ceiling_and_are_named() -> None:
    """With much read noise the dark parts give out while mid-grey is good; with little, mid-grey does."""
    noisy, clean = found([rung(iso, 12.0) for iso in ISOS]), found([rung(iso, 1.0) for iso in ISOS])
    assert noisy.limited_by == "shadows" and "3 stops below" in noisy.reason
    assert clean.limited_by == "grey" and "mid-grey" in clean.reason
    assert noisy.iso < clean.iso


def test_lost_detail_sets_the_ceiling() -> None:
    """Detail that goes from ISO 1600 on ends the ladder there, whatever the noise."""
    rungs = [rung(iso, 1.0, detail=1.0 if iso < 1600 else 0.5) for iso in ISOS]
    ceiling = found(rungs)
    assert ceiling.limited_by == "detail"
    assert 800 <= ceiling.iso < 1600


def test_the_ceiling_never_lies_beyond_the_highest_rung() -> None:
    """Where all rungs are good enough the highest is the ceiling, its interval included; the ladder is the limit."""
    ceiling = found([rung(iso) for iso in ISOS[:4]])
    assert (ceiling.iso, ceiling.limited_by) == (800.0, "ladder")
    assert ceiling.interval == (800.0, 800.0)


def test_where_no_rung_is_good_enough_there_is_no_ceiling() -> None:
    """Even the lowest ISO fails: said, with that ISO, and not guessed below it."""
    result = find_ceiling([rung(iso) for iso in ISOS[3:]], Options(grade=200.0))
    assert isinstance(result, Finding)
    assert result.kind == "grade" and "ISO 800" in result.reason


def test_less_certain_figures_give_a_wider_interval() -> None:
    """Ten percent of uncertainty spans several third-stops around the same ceiling; a fifth of a percent hardly one."""
    sure, unsure = (found([rung(iso, relative=relative) for iso in ISOS]) for relative in (0.002, 0.1))
    assert sure.iso == unsure.iso
    assert math.log2(unsure.interval[1] / unsure.interval[0]) > math.log2(sure.interval[1] / sure.interval[0]) + 0.3


def test_denoising_lowers_the_grades_by_the_square_root_of_two_a_stop() -> None:
    """Two stops halve both grades, and raise the ceiling of a photon-limited sensor by nearly two stops."""
    assert grades(Options(grade=10, denoise_stops=2)) == pytest.approx((5.0, 1.25))
    plain, denoised = (found([rung(iso, 0.5) for iso in ISOS], Options(denoise_stops=stops)) for stops in (0.0, 2.0))
    assert math.log2(denoised.iso / plain.iso) == pytest.approx(2.0, abs=0.34)


def test_a_grade_for_the_shadows_may_be_given() -> None:
    """Otherwise it is a quarter of the grade at mid-grey."""
    assert grades(Options(grade=40)) == (40.0, 10.0)
    assert grades(Options(grade=40, shadow_grade=4)) == (40.0, 4.0)


def test_an_accepted_iso_is_taken_with_what_it_stands_for() -> None:
    """The user's eye decides, between rungs too; the signal to noise there is reported."""
    ceiling = found([rung(iso) for iso in ISOS], Options(accept_iso=2000.0))
    assert ceiling.accepted and ceiling.iso == 2000.0 and ceiling.limited_by is None
    assert ceiling.snr_grey_viewing == pytest.approx(snr(2000.0), rel=0.005)
    assert ceiling.snr_shadow_viewing == pytest.approx(snr(16000.0), rel=0.005)


@pytest.mark.parametrize("iso", [50.0, 51200.0])
def test_an_iso_that_was_not_shot_cannot_be_accepted(iso: float) -> None:
    """Outside the rungs nothing is known."""
    with pytest.raises(UsageError, match="outside"):
        find_ceiling([rung(each) for each in ISOS], Options(accept_iso=iso))


def test_rungs_without_a_figure_do_not_judge_it() -> None:
    """Shadows and detail that could not be measured leave the ceiling to mid-grey, and are not reported."""
    rungs = [replace(rung(iso), snr_shadow_viewing=None, detail_kept=None) for iso in ISOS]
    ceiling = found(rungs)
    assert ceiling.limited_by == "grey" and ceiling.snr_shadow_viewing is None


def test_a_grade_lost_and_found_again_counts_as_lost() -> None:
    """Every ISO up to the ceiling must be good: one bad rung in the middle ends it."""
    rungs = [rung(iso, 1.0) for iso in ISOS[:6]]
    rungs[2] = replace(rungs[2], snr_grey_viewing=Figure(5.0, 0.01))
    assert found(rungs).iso < 400


@given(st.lists(st.floats(-5, 5), min_size=2, max_size=8), st.integers(0, 99))
@example([-1.0, 0.0, 2.3e-309], 0)
def test_the_curve_goes_through_its_points_and_overshoots_nowhere(values: list[float], seed: int) -> None:
    """Between two points it stays between their values, whatever the spacing."""
    places = np.cumsum(np.random.default_rng(seed).uniform(0.3, 2, len(values)))
    known = np.array(values)
    assert interpolated(places, places, known) == pytest.approx(known, abs=1e-9)
    for i in range(len(values) - 1):
        between = interpolated(np.linspace(places[i], places[i + 1], 20), places, known)
        low, high = sorted(known[i : i + 2])
        assert low - 1e-9 <= between.min() and between.max() <= high + 1e-9


def test_a_bent_curve_is_followed() -> None:
    """Signal to noise of a sensor, from rungs a stop apart: within half a percent everywhere."""
    places = np.arange(0.0, 9.0)
    curve = np.log([snr(100 * 2**x, 5.0) for x in places])
    at = np.linspace(0, 8, 161)
    truth = np.array([snr(100 * 2**x, 5.0) for x in at])
    assert np.abs(np.exp(interpolated(at, places, curve)) / truth - 1).max() < 0.005
