"""Plain lines for where there is no terminal."""

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import screen_records as made

from tetherwatch.advise.landing import Landing
from tetherwatch.advise.records import NOTHING_KNOWN, Finding, LightKind, Shot
from tetherwatch.advise.whatif import Try, tried
from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.screen.lines import (
    finding_line,
    frame_line,
    health_line,
    news_line,
    problem_line,
    settings_words,
    tried_lines,
)
from tetherwatch.session.records import Landed, Warned
from tetherwatch.watch.records import Health, Problem


def test_a_frame_is_one_line_with_everything() -> None:
    """Number, file, settings, offset with its uncertainty and source, call and reason, in this order."""
    assert frame_line(made.frame()) == (
        "#12 RHS_0012.DNG  1/250 f/2.8 ISO 400  -1.02 stops ±0.03 (raw)  BRIGHTER ISO 400 -> 800 (+1.0)  "
        "The face is one stop under its aim and ISO comes first in this plan."
    )


def test_what_a_call_leaves_is_said() -> None:
    """A call that cannot cover the whole way tells the rest."""
    assert "DARKER shutter 1/250 -> 1/800 (-1.7) -0.3 left" in frame_line(made.frame(call=made.CALLS["darker"]))
    assert "BLOCKED +1.3 left" in frame_line(made.frame(call=made.CALLS["blocked"]))
    assert "DARKER light (-0.7)" in frame_line(made.frame(call=made.LIGHT_CALL))


def test_powers_and_compensation_are_told_from_and_to() -> None:
    """Light by its power, compensation with its sign."""
    assert "BRIGHTER light 1/8 -> 1/4 +0.3 (+1.3)" in frame_line(made.frame(call=made.POWER_CALL))
    assert "BRIGHTER compensation +0.0 -> +0.7 (+0.7)" in frame_line(made.frame(call=made.COMPENSATION_CALL))


def test_a_landing_is_one_line() -> None:
    """The lever, where it landed, where it was to, and how far apart the two are."""
    landing = Landing(Setting.ISO, 1.0, -0.02, 0.031, 0.051, 1.05)
    assert news_line(Landed(Path("2.DNG"), landing)) == "    ISO landed at +0.03 stops, predicted -0.02: 0.05 apart"


def test_a_warning_is_one_line() -> None:
    """Its sentence, marked as a warning."""
    assert news_line(Warned(None, Finding("light", "this is flash light"))) == "    warning: this is flash light"


def what_if(*tries: Try, light: LightKind = "continuous", **changes: Any) -> list[str]:
    """The lines of a what-if on a face one stop too dark."""
    shot = Shot(Metadata(settings=made.SETTINGS, **changes), made.reading(-1.0, area_tones=(made.tones("g"),)), 0.0)
    return tried_lines(tried(made.plan(light=light), shot, tries, NOTHING_KNOWN), Step.THIRD)


def test_a_what_if_says_move_outcome_and_clipping() -> None:
    """One line, and one for each warning that the settings bring."""
    (line,) = what_if(Try(Setting.ISO, value=800.0))
    assert line.startswith("    try ISO 800 (+1.00 stops): 0.00 stops ±0.03, inside the tolerance; clipped R ")
    assert re.fullmatch(r".*; clipped R \d+\.\d\d G \d+\.\d\d B \d+\.\d\d %", line)
    line, warning = what_if(Try(Setting.SHUTTER, value=0.5), Try(Setting.LIGHT, stops=-0.5), focal_mm=85.0)
    assert line.startswith(
        "    try shutter 0.5 s (+7.00 stops), light -0.50 stops: +5.50 stops ±0.03, outside the tolerance;"
    )
    assert line.endswith("; outside the plan: shutter")
    assert warning.startswith("    then: ")


def test_a_what_if_that_is_not_sure_says_so() -> None:
    """Bounds where the mixture of the light is open; that flash does not follow the shutter."""
    (line,) = what_if(Try(Setting.SHUTTER, stops=1.0), light="mixed")
    assert ": between -1.00 and 0.00 stops, inside the tolerance or not; " in line
    assert "not known yet" in line
    (line,) = what_if(Try(Setting.SHUTTER, stops=1.0), light="flash")
    assert ": -1.00 stops ±0.03, outside the tolerance; " in line and "under flash the shutter moves nothing" in line


def test_unknown_settings_are_named() -> None:
    """A missing setting is called by its name so that the line cannot be misread."""
    assert settings_words(Settings(None, 2**1.5, None)) == "shutter unknown f/2.8 ISO unknown"


def test_lines_of_hostile_names_stay_single_and_free_of_codes() -> None:
    """Whatever a name holds, each kind of line is one line without control characters."""
    record = made.frame(name=made.HOSTILE)
    record = replace(record, call=replace(record.call, reason=made.HOSTILE, to_label=made.HOSTILE))
    lines = [
        frame_line(record),
        problem_line(Problem(Path(made.HOSTILE), made.HOSTILE, made.HOSTILE)),
        health_line(Health(Path(made.HOSTILE), True, "events", 0, None)),
        finding_line(Finding("light", made.HOSTILE)),
    ]
    assert not any(re.search(r"[\x00-\x1f\x7f-\x9f\u202e]", line) for line in lines)


def test_a_problem_and_the_watch_are_one_line_each() -> None:
    """A problem names file, fault and advice; the watch names folder and state."""
    assert problem_line(made.PROBLEM).startswith("! RHS_0009.DNG: the file is empty; copy it again")
    away = Health(Path("/x"), False, "polling", 0, None)
    assert "FOLDER AWAY" in health_line(away)
