"""A measured ladder becomes a body profile, or none at all."""

from dataclasses import replace
from datetime import date

import pytest
from ladder_sheets import made_ladder, made_rung

from tetherwatch.body.bodyfile import body_text, parse_body
from tetherwatch.body.records import Ceiling, IsoDial, Measured
from tetherwatch.errors import UsageError
from tetherwatch.exposure.dial import Step
from tetherwatch.ladder.profile import body_from_ladder

DAY = date(2026, 3, 15)


def test_a_profile_says_what_the_ladder_found() -> None:
    """Camera, ceiling with its interval and reason, speeds, and noise and saturation of each rung; it can be kept."""
    ladder = made_ladder()
    body = body_from_ladder(ladder, "q24", DAY)
    assert (body.name, body.camera, body.serial) == ("q24", "Harrow Q24", "HQ-204417")
    assert body.ceiling == Ceiling(3200.0, 2519.84, 4031.75, "shadows get too noisy first")
    assert body.dial == IsoDial(Step.THIRD, 100.0, 12_800.0)
    assert body.measured == Measured(DAY, 16, processed=False)
    assert [noise.iso for noise in body.noise] == [100.0 * 2**place for place in range(8)]
    assert body.noise[2].saturation_dn == {"g": 15871.0}
    assert parse_body(body_text(body), "q24.toml", "q24") == body


def test_the_noise_of_a_grey_is_that_of_the_ladder() -> None:
    """Signal to noise at mid-grey from gain, read noise and saturation is the ladder's own figure."""
    ladder = made_ladder()
    body = body_from_ladder(ladder, "q24", DAY)
    for rung in ladder.rungs:
        assert rung.snr_grey is not None
        assert body.grey_snr(rung.iso) == pytest.approx(rung.snr_grey.value, rel=0.01)


def test_rungs_without_figures_are_left_out() -> None:
    """A rung whose gain or read noise could not be measured says nothing of noise; one without saturation, no SNR."""
    rungs = (
        made_rung(100.0, saturation_dn=None),
        made_rung(200.0, gain_dn_per_e=None),
        made_rung(400.0, read_noise_e=None),
    )
    body = body_from_ladder(replace(made_ladder(), rungs=rungs), "q24", DAY)
    assert [noise.iso for noise in body.noise] == [100.0]
    assert body.grey_snr(100.0) is None


@pytest.mark.parametrize("changes", [{"ceiling": None}, {"camera": None}, {"source": "jpeg"}])
def test_a_ladder_that_is_not_fit_gives_no_profile(changes: dict[str, object]) -> None:
    """Without ceiling or camera, or from pictures after the camera's processing, there is nothing to keep."""
    with pytest.raises(UsageError, match="no body profile"):
        body_from_ladder(replace(made_ladder(), **changes), "q24", DAY)  # type: ignore[arg-type]
