"""The sentences under a call, as a photographer reads them."""

import re
from dataclasses import replace

import pytest
from advise_records import GOOD, cases, reading, tones
from hypothesis import given

from tetherwatch.advise import words
from tetherwatch.advise.call import make_call
from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Plan
from tetherwatch.exposure.settings import Settings
from tetherwatch.meter.records import Reading

PLAN = parse_plan(GOOD.replace('["shutter", "iso"]', '["shutter", "iso", "light"]'), "mine.toml", 3200.0)
WINDOW = parse_plan(GOOD.replace(', "light"]', "]"), "mine.toml", 3200.0)
S, F = 2.0**-8, 2.0**1.5

BRIGHT_SPOT = [tones({10: 30}, below=970)]
"""3 % of the pixels sit a little less than a stop under saturation."""

SENTENCES = [
    (PLAN, Settings(S, F, 400.0), reading(0.1), "The card is right to within 0.17 stops."),
    (PLAN, Settings(S, F, 400.0), reading(-1.02), "The card is 1.02 stops too dark."),
    (PLAN, Settings(S, F, 400.0), reading(1.0), "The card is 1.00 stop too bright."),
    (
        PLAN,
        Settings(S, F, 400.0),
        reading(-1.0, BRIGHT_SPOT),
        "The card is 1.00 stop too dark; 3.0 % of the metered area will clip (limit 0.5 %), 0.8 of 1.0 stops fit: "
        "accept, add fill, or lift later.",
    ),
    (
        PLAN,
        Settings(S, F, 400.0),
        reading(-5.0),
        "The card is 5.00 stops too dark; this leaves it 2.00 stops too dark: light is next.",
    ),
    (
        WINDOW,
        Settings(S, F, 400.0),
        reading(-5.0),
        "The card is 5.00 stops too dark; this leaves it 2.00 stops too dark: unlock aperture, or add light.",
    ),
    (
        WINDOW,
        Settings(S, F, 3200.0),
        reading(-2.0),
        "The card is 2.00 stops too dark, and no setting of the plan has room left: unlock aperture, or add light.",
    ),
    (
        WINDOW,
        Settings(2.0**-12, F, 100.0),
        reading(2.0),
        "The card is 2.00 stops too bright, and no setting of the plan has room left: "
        "unlock aperture, or take light away.",
    ),
    (
        WINDOW,
        Settings(S, F, None),
        reading(-1.0),
        "The card is 1.00 stop too dark; the ISO is unknown: go no further than 3200.",
    ),
    (
        WINDOW,
        Settings(None, F, 100.0),
        reading(1.0),
        "The card is 1.00 stop too bright; the shutter is unknown: go no further than 1/4000.",
    ),
    (
        WINDOW,
        Settings(S, 4.0, 100.0),
        reading(0.0),
        "Aperture is at f/4, the plan holds f/2.8: set it back, or unlock it.",
    ),
    (
        WINDOW,
        Settings(2.0**-6, F, 100.0),
        reading(0.0),
        "Shutter is at 1/60, the plan goes no further than 1/250: set it back, or lock it there.",
    ),
    (
        WINDOW,
        Settings(2.0**-10, 4.0, 100.0),
        reading(-1.5, BRIGHT_SPOT),
        "Aperture is at f/4, the plan holds f/2.8: set it back, or unlock it; "
        "3.0 % of the metered area will clip (limit 0.5 %), 0.8 of 1.0 stops fit: "
        "accept, add fill, or lift later.",
    ),
    (PLAN, Settings(S, F, 400.0), replace(reading(-0.5), source="jpeg"), "The card is about 0.50 stops too dark."),
]


@pytest.mark.parametrize(("plan", "now", "measured", "reason"), SENTENCES, ids=[case[3][:60] for case in SENTENCES])
def test_the_sentence_of_each_call(plan: Plan, now: Settings, measured: Reading, reason: str) -> None:
    """What is wrong comes first, then what the move leaves and who is next, then what will clip."""
    assert make_call(plan, now, measured).reason == reason


@pytest.mark.parametrize(
    ("stops", "text"), [(1.0, "1.00 stop"), (0.996, "1.00 stop"), (0.17, "0.17 stops"), (2.5, "2.50 stops")]
)
def test_one_stop_is_singular(stops: float, text: str) -> None:
    """As it reads after rounding."""
    assert words.stops_text(stops) == text


@pytest.mark.parametrize("area", ["face", "card", "box", "frame"])
def test_every_area_has_a_name(area: str) -> None:
    """The metered area is the subject of the sentence."""
    measured = replace(reading(-1.0), area=area)  # type: ignore[arg-type]
    assert re.fullmatch(r"the (metered )?\w+ is 1\.00 stop too dark", words.judged(measured))


def test_clauses_that_are_not_there_leave_no_trace() -> None:
    """A sentence is made of the clauses there are."""
    assert words.sentence("one", None, "two", "") == "One; two."


@given(cases())
def test_a_reason_is_one_plain_sentence(case: tuple[Plan, Settings, Reading]) -> None:
    """It starts with a capital, ends with its only full stop, fits four short lines, and holds no word of code."""
    reason = make_call(*case).reason
    assert re.fullmatch(r"[A-Z].*[\w)]\.", reason)
    assert ". " not in reason and len(reason) < 320
    assert not re.search(r"-\d|nan|None|Setting|\{|\[|e[+-]\d", reason)
