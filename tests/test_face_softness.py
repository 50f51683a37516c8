"""Eyes are judged against the best of the same setup: how soft they are, what did it, and when nothing can be said."""

import math
from dataclasses import replace

import numpy as np
import pytest
from eye_records import SHARP, person, scaled
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.face.records import SECTORS, EyeDetail
from tetherwatch.face.softness import LEAST_FRAMES, SIMILAR, SOFT_PART, judge_eyes, shared_bands, sure_contrast

from benchmarks.eyes import any_blurs, area_under_curve, judged, ranks, series, verdict_rows  # isort: skip
from benchmarks.simulated_eyes import Blur, shot  # isort: skip

EARLIER = [SHARP] * LEAST_FRAMES
LEVEL_SMEAR = (0.1, 0.3, 0.8, 1.0, 0.8, 0.3)
"""What a smear along the line of the eyes leaves by direction."""


def test_nothing_is_said_before_there_is_something_to_compare_with() -> None:
    """One frame short of enough, and with the count so far."""
    state = judge_eyes(scaled(0.2), EARLIER[1:])
    assert (state.verdict, state.kept_percent) == ("unknown", None)
    assert f"{LEAST_FRAMES - 1} of {LEAST_FRAMES}" in state.reason


def test_eyes_like_the_best_are_sharp() -> None:
    """All of the contrast is kept, and no cause is named."""
    state = judge_eyes(SHARP, EARLIER)
    assert (state.verdict, state.cause, state.direction_deg) == ("sharp", "unknown", None)
    assert state.kept_percent == pytest.approx(100.0)
    assert state.confidence > 0.99


def test_a_loss_all_round_is_a_missed_focus() -> None:
    """Half the contrast is soft, and said in percent."""
    state = judge_eyes(scaled(0.5), EARLIER)
    assert (state.verdict, state.cause, state.direction_deg) == ("soft", "focus", None)
    assert state.kept_percent == pytest.approx(50.0)
    assert "50 %" in state.reason


@pytest.mark.parametrize("turn", range(SECTORS))
@pytest.mark.parametrize("tilt", [0.0, 25.0, -40.0])
def test_a_loss_along_one_direction_is_motion(turn: int, tilt: float) -> None:
    """Its direction is given in the picture, whatever way the head is held."""
    sectors = tuple(LEVEL_SMEAR[(k - turn) % SECTORS] for k in range(SECTORS))
    state = judge_eyes(scaled(0.8, sectors, tilt_deg=tilt), EARLIER)
    assert (state.verdict, state.cause) == ("soft", "motion")
    assert state.direction_deg == pytest.approx((turn * 180 / SECTORS + tilt) % 180, abs=1e-6)


def test_what_a_smear_left_across_does_not_excuse_it() -> None:
    """Of the same contrast in all, the smeared eyes count as softer."""
    even, smeared = judge_eyes(scaled(0.8), EARLIER), judge_eyes(scaled(0.8, LEVEL_SMEAR), EARLIER)
    assert even.kept_percent is not None and smeared.kept_percent is not None
    assert smeared.kept_percent < even.kept_percent


def test_noise_makes_a_verdict_unsure() -> None:
    """The same contrast with an uncertainty of its own size may be soft, no more; no cause is read into noise."""
    noisy = scaled(0.6, LEVEL_SMEAR, uncertainty=(600.0,) * 4, sector_uncertainty=500.0)
    state = judge_eyes(noisy, EARLIER)
    assert state.verdict == "unknown" and state.kept_percent is not None
    assert state.cause == "unknown"


def test_odd_frames_above_the_others_do_not_set_the_measure() -> None:
    """One in ten with three times the contrast leaves the rest sharp; nor do soft ones in the majority lower it."""
    assert judge_eyes(SHARP, [*EARLIER * 2, scaled(3.0)]).verdict == "sharp"
    assert judge_eyes(scaled(0.4), [*[scaled(0.4)] * 7, *[SHARP] * 3]).verdict == "soft"


def test_faces_of_another_size_are_left_out() -> None:
    """A face much nearer or farther away shows another part of the detail."""
    far = replace(SHARP, distance_px=SHARP.distance_px / SIMILAR * 0.99)
    near = replace(SHARP, distance_px=SHARP.distance_px * SIMILAR * 1.01)
    assert judge_eyes(SHARP, [far, near] * 9).kept_percent is None
    assert judge_eyes(SHARP, [replace(SHARP, distance_px=150.0)] * 5).verdict == "sharp"


def test_only_detail_that_all_frames_can_hold_is_compared() -> None:
    """A smaller face is not soft for the bands it cannot have."""
    smaller = replace(SHARP, distance_px=150.0, energy=SHARP.energy[:3], uncertainty=SHARP.uncertainty[:3])
    assert shared_bands([SHARP, smaller]) == 3
    assert judge_eyes(smaller, EARLIER).kept_percent == pytest.approx(100.0)


def test_earlier_frames_of_noise_only_are_no_measure() -> None:
    """Where the best shows nothing beyond doubt, nothing is said."""
    blind = [replace(SHARP, energy=(-1.0,) * 4)] * 8
    assert judge_eyes(SHARP, blind).verdict == "unknown"


parts = st.floats(0.0, 1.5)


@given(parts, parts)
def test_less_contrast_is_never_judged_better(one: float, other: float) -> None:
    """The percentage grows with the contrast, from eyes of pure noise on."""
    low, high = (judge_eyes(scaled(part), EARLIER).kept_percent for part in sorted((one, other)))
    assert low is not None and high is not None
    assert -1e-9 <= low <= high + 1e-9


@given(parts, st.floats(0.01, 100.0))
def test_contrast_counts_only_against_that_of_the_best(part: float, scale: float) -> None:
    """A low-contrast person is judged like any other."""

    def times(detail: EyeDetail) -> EyeDetail:
        energy, sectors = (tuple(scale * each for each in values) for values in (detail.energy, detail.sectors))
        doubts = tuple(scale * each for each in detail.uncertainty)
        return replace(
            detail,
            energy=energy,
            sectors=sectors,
            uncertainty=doubts,
            sector_uncertainty=scale * detail.sector_uncertainty,
        )

    plain, other = judge_eyes(scaled(part), EARLIER), judge_eyes(times(scaled(part)), [times(SHARP)] * 5)
    assert plain.verdict == other.verdict
    assert other.kept_percent == pytest.approx(plain.kept_percent)


def test_noise_lowers_a_rank_and_never_lifts_it() -> None:
    """Of the same energy, the less certain frame ranks lower."""
    unsure = replace(SHARP, uncertainty=(500.0,) * 4)
    assert 0 < sure_contrast(unsure, 4) < sure_contrast(SHARP, 4) < math.sqrt(SHARP.energy[-1])


@pytest.mark.parametrize("iso", [100, 6400])
def test_sharp_frames_rank_above_blurred_ones(iso: int) -> None:
    """A small sample of the benchmark: drawn eyes, every kind of blur, exposures from -2 to +1 stop."""
    taken = series(person(), iso, 2, np.random.default_rng(1))
    bands = shared_bands([*taken.sharp, *(detail for _, detail in taken.blurred)])
    blurred = ranks([detail for _, detail in taken.blurred], bands)
    assert area_under_curve(ranks(taken.sharp, bands), blurred) >= 97.0


def test_a_blurred_noisy_frame_never_ranks_above_a_sharp_clean_one() -> None:
    """Each kind of blur at ISO 6400, against the lowest of several sharp frames at ISO 100."""
    rng = np.random.default_rng(2)
    clean = [shot(person(), 100, rng) for _ in range(6)]
    noisy = [shot(person(), 6400, rng, blurred) for blurred in any_blurs(rng)]
    bands = shared_bands([*clean, *noisy])
    assert max(ranks(noisy, bands)) < min(ranks(clean, bands))


def test_verdicts_and_causes_are_right_on_a_simulated_person() -> None:
    """A small sample of the benchmark: no false alarm, blur found, its kind told right."""
    rows = verdict_rows(judged(80, (400,), 2, np.random.default_rng(3), looks=3), 80)
    assert [row.figure for row in rows if row.held is False] == []


def test_soft_begins_where_a_photographer_would_look_again() -> None:
    """A blur of 5 % of the eye distance is beyond it, sharp eyes are far from it."""
    rng = np.random.default_rng(4)
    earlier = [shot(person(), 200, rng) for _ in range(LEAST_FRAMES)]
    kept = [judge_eyes(shot(person(), 200, rng, b), earlier).kept_percent for b in (None, Blur("focus", 4.0))]
    assert kept[0] is not None and kept[1] is not None
    assert kept[1] < 100 * SOFT_PART < 85 < kept[0]
