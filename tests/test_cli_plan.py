"""What a plan means, in words."""

from dataclasses import replace

import pytest
from advise_records import GOOD

from tetherwatch.advise.library import load_plan, plan_text, shipped_names
from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Allowed, Scene
from tetherwatch.cli.plan import plan_words
from tetherwatch.exposure.stops import Setting

PLAN = parse_plan(GOOD, "mine.toml", 6400.0)


def test_a_plan_in_words() -> None:
    """Head, aim, settings, power, orders and scene have a line each; a full lock is said to be held."""
    power = Allowed(Setting.LIGHT, darkest=1 / 256, brightest=1.0, start=1 / 8)
    scene = Scene(tripod=True, speed_m_s=2.0, distance_m=6.0, mains_hz=50)
    assert plan_words(replace(PLAN, power=power, scene=scene)) == [
        "Window: continuous light, dials in 1/3 stop",
        "  aim       card at mid-grey, right within 0.17 stop",
        "  shutter   1/4000 (darkest) to 1/250 (brightest), starts at 1/250",
        "  aperture  held at f/2.8",
        "  iso       100 (darkest) to 6400 (brightest), starts at 100",
        "  power     1/256 to 1/1, starts at 1/8",
        "  brighter  shutter, then iso",
        "  darker    iso, then shutter, then light",
        "  scene     on a tripod, the subject moves at 2 m/s, the subject is 6 m away, lamps on 50 Hz",
    ]


def test_what_a_plan_does_not_say_is_left_out() -> None:
    """Without a power there is no line for it; a scene that says nothing is hand-held."""
    words = plan_words(PLAN)
    assert words[-1] == "  scene     hand-held"
    assert not any("power" in line for line in words)


def test_a_power_of_one_value_is_held() -> None:
    """Equal ends are a lock, as with the camera's settings."""
    held = Allowed(Setting.LIGHT, darkest=1 / 4, brightest=1 / 4, start=1 / 4)
    assert "  power     held at 1/4" in plan_words(replace(PLAN, power=held))


def test_notes_and_hostile_names_are_shown_safely() -> None:
    """A name from a file cannot reach the terminal as a control code; notes come last."""
    words = plan_words(replace(PLAN, name="\x1b[2J", notes=("one", "two")))
    assert words[0].startswith("\\x1b[2J: ")
    assert words[-2:] == ["  note: one", "  note: two"]


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("tabletop", "  scene     on a tripod"),
        ("landscape", "  scene     on a tripod"),
        ("movement", "  scene     hand-held, the subject moves at 2 m/s, the subject is 6 m away"),
        ("studio-portrait", "  power     1/256 to 1/1, starts at 1/8"),
        ("studio-card", "  power     1/256 to 1/1, starts at 1/8"),
        ("sample", "  scene     hand-held"),
    ],
)
def test_scenes_and_powers_of_shipped_plans(name: str, line: str) -> None:
    """Tabletop and landscape stand on a tripod, movement knows its dancer, the studio plans know their heads."""
    assert line in plan_words(load_plan(name))


@pytest.mark.parametrize("name", shipped_names())
def test_shipped_plans_leave_the_mains_out(name: str) -> None:
    """Countries differ, so that no plan may assume 50 or 60 Hz."""
    assert load_plan(name).scene.mains_hz is None


def test_what_the_sample_comments_out_is_a_plan() -> None:
    """With every commented key of its power and scene switched on, the sample is still without mistakes."""
    keys = ("[power]", "start =", "allow =", "speed_m_s =", "distance_m =", "mains_hz =")
    lines = plan_text("sample").split("\n")
    shown = [line[2:] if line.startswith("# ") and line[2:].startswith(keys) else line for line in lines]
    plan = parse_plan("\n".join(shown), "sample")
    assert plan.power == Allowed(Setting.LIGHT, darkest=1 / 256, brightest=1.0, start=1 / 8)
    assert plan.scene == Scene(False, 0.1, 2.5, 50)
