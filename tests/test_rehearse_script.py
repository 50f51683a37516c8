"""The scenes' scripts and the options that choose them."""

import itertools
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.errors import UsageError
from tetherwatch.exposure.settings import Settings
from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.script import (
    MOVING_LIGHTS_S,
    SCENE_LIGHTS,
    SUNSET_FALL_STOPS,
    WRONG_START_STOPS,
    Odd,
    moments,
)

SCENES = st.sampled_from(list(SCENE_LIGHTS))


@given(scene=SCENES, frames=st.integers(0, 60), seed=st.integers(0, 1000))
def test_script_has_the_frames_asked_for_and_repeats(scene: str, frames: int, seed: int) -> None:
    """Every scene plays exactly as many frames as asked, the same ones for the same seed."""
    script = moments(scene, frames, seed)  # type: ignore[arg-type]
    assert len(script) == frames
    assert script == moments(scene, frames, seed)  # type: ignore[arg-type]


def test_steady_starts_wrong_and_is_put_right() -> None:
    """The light stays; an unaided photographer notices the wrong start after two frames and corrects all of it."""
    script = moments("steady", 10, 1)
    assert {moment.light_stops for moment in script} == {WRONG_START_STOPS}
    assert [moment.correction_stops for moment in script] == [0.0] * 2 + [-WRONG_START_STOPS] * 8


def test_sunset_falls_until_night() -> None:
    """Light falls by the same amount from frame to frame, and stops falling when it is dark."""
    levels = [moment.light_stops for moment in moments("sunset", 200, 1)]
    falls = [before - after for before, after in itertools.pairwise(levels)]
    assert falls[:60] == pytest.approx([SUNSET_FALL_STOPS] * 60)
    assert levels[0] == 0.0
    assert levels[-1] == levels[-50] == -10.0


def test_moves_plays_three_setups_in_turn() -> None:
    """Three setups of different light follow each other, some frames each, and come round again."""
    script = moments("moves", 24, 1)
    turns = [(setup, len(list(group))) for setup, group in itertools.groupby(moment.setup for moment in script)]
    assert turns == [(1, 4), (2, 4), (3, 4)] * 2
    assert len({moment.light_stops for moment in script}) == 3
    assert all(moment.correction_stops in (0.0, -moment.light_stops) for moment in script)


def test_a_new_setup_takes_minutes() -> None:
    """Lights are moved before each setup but the first, and nothing is paused for inside one."""
    script = moments("moves", 24, 1)
    assert [index for index, moment in enumerate(script) if moment.pause_s] == [4, 8, 12, 16, 20]
    assert {moment.pause_s for moment in script} == {0.0, MOVING_LIGHTS_S}
    assert all(moment.pause_s == 0.0 for moment in moments("misfires", 24, 1))


@given(seed=st.integers(0, 10_000))
def test_odd_frames_are_rare_and_alone(seed: int) -> None:
    """One frame in eight is odd, never the first, never two in a row, and all kinds take turns."""
    odd = [moment.odd for moment in moments("misfires", 80, seed)]
    kinds = [kind for kind in odd if kind]
    assert len(kinds) == 10
    assert set(kinds[:5]) == set(kinds[5:]) == set(get_args(Odd))
    assert odd[0] is None
    assert all(before is None or after is None for before, after in itertools.pairwise(odd))


def test_misfires_differ_by_seed() -> None:
    """Another seed misfires at other frames."""
    assert len({moments("misfires", 40, seed) for seed in range(20)}) > 10


@pytest.mark.parametrize(
    ("wrong", "problem"),
    [
        ({"scene": "moonrise"}, "no scene"),
        ({"scene": "sunset", "light": "flash"}, "under flash light"),
        ({"scene": "misfires", "light": "continuous"}, "under continuous light"),
        ({"megapixels": 0.0}, "megapixels cannot be 0"),
        ({"megapixels": float("nan")}, "megapixels cannot be nan"),
        ({"megapixels": 500.0}, "megapixels cannot be 500"),
        ({"frames": 0}, "frames cannot be 0"),
        ({"seed": -1}, "seed cannot be -1"),
        ({"every_s": float("inf")}, "every_s cannot be inf"),
        ({"spread_stops": -0.1}, "spread_stops cannot be"),
        ({"start": Settings(iso=100.0)}, "incomplete"),
    ],
)
def test_impossible_options_are_refused_with_advice(wrong: dict[str, object], problem: str) -> None:
    """Options that cannot be played raise an error that says what to do instead."""
    with pytest.raises(UsageError, match=problem) as caught:
        Options(**wrong)  # type: ignore[arg-type]
    assert caught.value.advice


@given(megapixels=st.floats(0.5, 100))
def test_size_is_close_to_what_was_asked(megapixels: float) -> None:
    """The picture is 3:2 and has the megapixels asked for within half a percent."""
    rows, columns = Options(megapixels=megapixels).cell_grid
    assert 4 * rows * columns == pytest.approx(megapixels * 1e6, rel=0.005)
    assert columns / rows == pytest.approx(1.5, abs=0.005)
