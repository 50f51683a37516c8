"""Soft eyes are told with what in the settings may have done it, and sharp ones are not told at all."""

import math
from dataclasses import replace

import pytest
from eye_records import STATE
from test_advise_hazards import capture, plan

from tetherwatch.advise.softeyes import depth_of_field_m, distance_by_eyes_m, soft_eyes
from tetherwatch.face.records import EyeState
from tetherwatch.frame.records import Metadata

BEGIN = "soft eyes, 45 ±5 % of the best fine contrast here"
SMEARED = replace(STATE, cause="motion", direction_deg=0.0)
KNOWN = {"focal_mm": 85.0, "focal_35mm": 85.0, "pixel_um": 4.4}


def said(state: EyeState, metadata: Metadata, light: str = "continuous", **scene: object) -> str:
    """The sentence."""
    finding = soft_eyes(plan(light, **scene), metadata, state, 600.0)
    assert finding is not None and finding.kind == "eyes"
    return finding.reason


@pytest.mark.parametrize(
    ("focal", "aperture", "metres", "depth"),
    [(85, 8, 2.5, 0.404), (50, 5.6, 3, 1.238), (100, 11, 2, 0.252), (50, 8, 5, 6.138)],
)
def test_depth_of_field_is_that_of_the_tables(focal: float, aperture: float, metres: float, depth: float) -> None:
    """Far less near, worked from the hyperfocal distance with a circle of 0.03 mm."""
    assert depth_of_field_m(focal, aperture, metres, 0.03) == pytest.approx(depth, abs=0.001)


def test_beyond_the_hyperfocal_distance_everything_is_sharp() -> None:
    """50 mm at f/8 from 10.5 m on."""
    assert math.isinf(depth_of_field_m(50, 8, 10.5, 0.03))


def test_the_eyes_tell_how_far_away_they_are() -> None:
    """Eyes of 63 mm, whose image under 85 mm is 2.64 mm, are 2.1 m away."""
    assert distance_by_eyes_m(85, 4.4, 600) == pytest.approx(0.085 * (1 + 63 / 2.64))


@pytest.mark.parametrize("verdict", ["sharp", "unknown"])
def test_other_eyes_are_not_told_of(verdict: str) -> None:
    """A warning is for soft eyes only."""
    state = replace(STATE, verdict=verdict)  # type: ignore[arg-type]
    assert soft_eyes(plan(), capture(), state, 600.0) is None


@pytest.mark.parametrize(
    ("degrees", "words"),
    [(0, "sideways"), (170, "sideways"), (45, "slantwise"), (90, "up and down"), (130, "slantwise")],
)
def test_a_smear_has_its_direction(degrees: float, words: str) -> None:
    """In words for the picture as it is seen."""
    assert said(replace(SMEARED, direction_deg=float(degrees)), capture()).startswith(f"{BEGIN}, smeared {words}; ")


def test_the_hazard_that_foretold_a_smear_is_repeated() -> None:
    """The subject's own speed before the hand, as it asks for more."""
    slow = capture("1/60 f/2.8 100", **KNOWN)
    hand = "1/60 is slow to hold by hand at 85 mm: 1/100 or faster, or a tripod"
    assert said(SMEARED, slow) == f"{BEGIN}, smeared sideways; {hand}"
    assert "at 0.5 m/s the subject smears" in said(SMEARED, slow, speed_m_s=0.5, distance_m=2.5)


def test_a_smear_that_nothing_foretold_names_the_time_unless_flash_made_the_picture() -> None:
    """Under flash the shutter's time says nothing of it."""
    assert said(SMEARED, capture("1/250 f/2.8 100", **KNOWN)).endswith("; the camera or the subject moved in 1/250")
    assert said(SMEARED, capture("1/60 f/2.8 100", **KNOWN), "flash").endswith("; the camera or the subject moved")


def test_a_missed_focus_names_the_depth_at_the_plans_distance_or_the_eyes_own() -> None:
    """The plan's word comes first; without focal length nothing is said of depth."""
    wide = capture("1/250 f/1.8 100", **KNOWN)
    assert said(STATE, wide, distance_m=1.2) == f"{BEGIN}, out of focus; f/1.8 at 1.2 m leaves 2.0 cm"
    assert said(STATE, wide) == f"{BEGIN}, out of focus; f/1.8 at about 2.1 m leaves 6.4 cm"
    assert said(STATE, capture("1/250 f/1.8 100")) == f"{BEGIN}, out of focus"
    assert soft_eyes(plan(), wide, STATE).reason == f"{BEGIN}, out of focus"  # type: ignore[union-attr]


@pytest.mark.parametrize(("metres", "words"), [(2.5, "32 cm"), (8.0, "3.5 m"), (40.0, "everything behind")])
def test_depths_are_told_as_finely_as_they_matter(metres: float, words: str) -> None:
    """Centimetres near, metres far, and no number beyond the hyperfocal distance."""
    assert said(STATE, capture("1/250 f/6.3 100", **KNOWN), distance_m=metres).endswith(f"leaves {words}")


def test_an_unknown_cause_is_not_guessed() -> None:
    """And an estimate from a finished picture is called one."""
    state = replace(STATE, cause="unknown")
    assert said(state, capture()) == BEGIN
    finding = soft_eyes(plan(), capture(), state, None, estimate=True)
    assert finding is not None and finding.reason == f"{BEGIN}, as far as a JPEG tells"
