"""A small fixed sample of the simulated shoots that the benchmark plays by the hundred."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "scripts"))

from benchmarks.lightings import play, play_drift
from benchmarks.setups import judge


@pytest.mark.parametrize("seed", [1, 4, 14, 24])
def test_setups_are_found_and_found_again(seed: int) -> None:
    """Through clothes from black to white, close views, misfires, cards, caps and other settings."""
    found = judge(play(seed))
    assert found.found == found.boundaries > 2
    assert found.recognised == found.returns > 0
    assert found.quiet == found.restyles > 4
    assert found.invented == 0


def test_a_drift_is_followed_as_it_goes() -> None:
    """One setup all along, and its slope within a tenth."""
    shoot, slope = play_drift(1)
    (setup,) = shoot.session.lighting.setups
    assert setup.drift is not None
    assert setup.drift.slope == pytest.approx(slope, rel=0.1)
