"""The bench's part on noise ladders computes what it says, on a small sample of what it sweeps."""

import math
from dataclasses import replace

import pytest
from benchmarks import ladder

from tetherwatch.ladder.records import Options, Output
from tetherwatch.rehearse.camera import Camera


def test_a_small_sweep_keeps_its_limits() -> None:
    """A random camera: nothing invented, figures and ceilings right."""
    result = ladder.sweep(1, 0, ladder.SEED)
    assert not result.invented and all(result.ceilings)
    assert len(result.errors["gain"]) == ladder.RUNGS
    assert max(result.errors["gain"]) < 1.0 and max(result.errors["SNR"]) < 2.0
    assert all(row.held is not False for row in ladder.rows_of(result))


def test_what_was_missed_or_invented_is_named_and_missed_the_limit() -> None:
    """One disturbance not caught and one finding without reason fail the part, by name."""
    result = ladder.Sweep(ceilings=[True, False], missed=["moved"], invented=["light"], disturbed=9)
    for values in result.errors.values():
        values.append(0.1)
    rows = ladder.rows_of(result)
    assert [row.held for row in rows[-3:]] == [False, False, False]
    assert "(moved)" in rows[-2].figure and "(light)" in rows[-1].figure


@pytest.mark.parametrize(("read_e", "grade"), [(1.0, 10.0), (8.0, 10.0), (3.0, 20.0)])
def test_the_true_ceiling_is_the_last_third_stop_that_holds(read_e: float, grade: float) -> None:
    """Grey and shadows hold at it; one third-stop on, one of them does not."""
    camera = replace(Camera(), early_noise_e=read_e, late_noise_dn=0.5)
    options = Options(output=Output("web", 900.0), grade=grade, shadow_grade=grade / 4)
    iso = ladder.true_ceiling(camera, options)
    assert iso is not None

    def holds(at: float) -> bool:
        scale = 2 * max(ladder.cell_grid(ladder.MEGAPIXELS)) / 900.0
        grey, shadow = (scale * ladder.true_snr(camera, at, part) for part in (1.0, 1 / 8))
        return grey >= grade and shadow >= grade / 4

    assert holds(iso)
    assert not holds(iso * 2 ** (1 / 3)) or math.isclose(iso, 100 * 2 ** (ladder.RUNGS - 1))
