"""The soak test's figures, and a short soak of the real program."""

from collections import Counter

import pytest
from stress.soaking import Soaked, rows_of, soak

pytest.importorskip("tifffile")
pytest.importorskip("imagecodecs")

COUNT = 60


def held(soaked: Soaked, count: int = 100) -> dict[str, bool | None]:
    """Which figures held."""
    return {row.figure: row.held for row in rows_of(count, soaked)}


def steady(memory: float = 70.0, pace_s: float = 0.02) -> Soaked:
    """A hundred frames at one pace; at the end the daemon has `memory` MiB, and the last fifth has its own pace."""
    moments = [0.02 * number for number in range(80)]
    moments += [moments[-1] + pace_s * number for number in range(1, 21)]
    frames = Counter(f"{number}.DNG" for number in range(100))
    return Soaked(frames, moments, 0, {0.1: 70.0, 0.5: 70.0, 1.0: memory}, {0.1: 60.0, 0.5: 60.0, 1.0: 60.0})


def test_a_steady_soak_holds_all_limits():
    """Nothing lost, nothing twice, nothing grows."""
    assert False not in held(steady()).values()


def test_what_is_lost_twice_told_or_growing_is_missed():
    """Each on its own row."""
    lost, slow, grown = steady(), steady(pace_s=0.03), steady(memory=90.0)
    del lost.frames["7.DNG"]
    lost.frames["8.DNG"] += 1
    lost.problems = 1
    missed = {figure for figure, good in held(lost).items() if good is False}
    assert missed == {"captures lost", "captures given twice", "problems told"}
    assert held(slow)["time a frame, ninth against second tenth"] is False
    assert held(grown)["daemon, end against 10 %"] is False


def test_a_short_soak_of_the_real_program_loses_nothing():
    """Sixty captures as fast as they can be copied."""
    soaked = soak(COUNT)
    assert sorted(soaked.frames.values()) == [1] * COUNT
    assert soaked.problems == 0
    assert set(soaked.daemon) == {0.1, 0.5, 1.0}
