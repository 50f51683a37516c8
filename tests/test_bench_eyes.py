"""The bench of eyes counts what it says it counts, and its pictures are what they are called."""

import numpy as np
import pytest
from eye_records import SHARP, person, scaled
from numpy.typing import NDArray

from benchmarks import blur, eyes  # isort: skip
from benchmarks.drawn_eyes import Look, astronaut, drawn  # isort: skip
from benchmarks.simulated_eyes import NOTHING_SEEN, Blur  # isort: skip
from tetherwatch.face.records import EyeState

MOTION, FOCUS = Blur("motion", 6, 170.0), Blur("focus", 6)
SMEARED = EyeState("soft", "", 40.0, 5.0, 0.99, "motion", 4.0)


def test_the_area_counts_pairs_and_halves_ties() -> None:
    """Three of four pairs the right way round and one tie."""
    assert eyes.area_under_curve([3.0, 2.0], [1.0, 2.0]) == pytest.approx(87.5)


@pytest.mark.parametrize(("iso", "counted"), [(eyes.NOISY_ISO, 2), (eyes.ISOS[1], 0)])
def test_noisy_blurred_frames_above_clean_sharp_ones_are_counted(iso: int, counted: int) -> None:
    """Frames of less noise are not noisy."""
    clean = eyes.Series(eyes.ISOS[0], 200, (SHARP, scaled(0.5)), ())
    noisy = eyes.Series(iso, 200, (), ((FOCUS, scaled(0.6)), (Blur("focus", 2), scaled(0.7)), (FOCUS, scaled(0.1))))
    assert eyes.above_row([clean, noisy]).value == counted


def test_verdicts_are_counted_by_what_was_true() -> None:
    """One false alarm, one blur overlooked, one cause mistaken; the direction is taken over half a turn."""
    sharp, soft = EyeState("sharp", "", 99.0, 5.0, 0.99), EyeState("soft", "", 40.0, 5.0, 0.99, "focus")
    told = [(None, sharp), (None, soft), (MOTION, SMEARED), (FOCUS, soft), (FOCUS, sharp), (FOCUS, SMEARED)]
    rows = {row.figure: row.value for row in eyes.verdict_rows(told, 100)}
    assert rows["sharp eyes called soft, of 2"] == 50
    assert rows["eyes blurred by 4 % of their distance and more called soft, of 4"] == 75
    assert rows["motion or focus told right, of 3 soft"] == pytest.approx(200 / 3)
    assert rows["told wrong"] == pytest.approx(100 / 3)
    assert rows["direction of the motion, degrees off"] == pytest.approx(14.0)


def test_a_small_series_gives_the_rows_of_ranking() -> None:
    """Real pictures at one ISO: the limit is held, and each blur has its row."""
    taken = [eyes.series(astronaut(2.0), 100, 1, np.random.default_rng(1))]
    assert [row.held for row in eyes.ranking_rows(taken)] == [True, True]
    assert len(eyes.blur_rows(taken)) == 2 * len(eyes.PIXELS)


def test_eyes_in_which_nothing_is_seen_rank_last() -> None:
    """However many bands the others hold."""
    assert eyes.ranks([NOTHING_SEEN, scaled(0.01)], 4)[0] == 0.0


def widths(light: NDArray[np.float64]) -> tuple[float, float]:
    """Standard deviations of a spot along rows and columns, in pixels."""
    row, column = np.indices(light.shape)
    y, x = ((light * place).sum() / light.sum() for place in (row, column))
    return (
        float(np.sqrt((light * (column - x) ** 2).sum() / light.sum())),
        float(np.sqrt((light * (row - y) ** 2).sum() / light.sum())),
    )


def test_blurs_spread_a_point_as_they_say() -> None:
    """A smear of n pixels has n / sqrt(12) along it and none across, a disc a quarter of its diameter."""
    spot = np.zeros((81, 81))
    spot[40, 40] = 1.0
    smooth = blur.gaussian(spot, 2.0)
    assert widths(smooth) == pytest.approx((2.0, 2.0), rel=0.01)
    along, across = widths(blur.motion(smooth, 12, 0))
    assert (along, across) == pytest.approx((np.hypot(2, 12 / 12**0.5), 2.0), rel=0.01)
    assert widths(blur.motion(smooth, 12, 90)) == pytest.approx((across, along), rel=0.01)
    assert widths(blur.defocus(smooth, 12)) == pytest.approx((np.hypot(2, 3),) * 2, rel=0.01)


def test_drawn_eyes_are_those_of_their_seed_and_lie_where_they_should() -> None:
    """Iris and pupil are dark around each centre; another moment of the same person differs."""
    pair = person()
    assert pair.distance == pytest.approx(80.0)
    for x, y in (pair.left, pair.right):
        around = pair.light[round(y) - 12 : round(y) + 13, round(x) - 12 : round(x) + 13]
        assert np.median(around[9:16, 9:16]) < 0.3 * np.median(pair.light) < around.mean()
    assert (drawn(80, 5).light == pair.light).all()
    assert not (drawn(80, 5, Look((0.03, 0.0), 0.7)).light == pair.light).all()
