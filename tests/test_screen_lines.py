"""Plain lines for where there is no terminal."""

import re
from dataclasses import replace
from pathlib import Path

import screen_records as made

from tetherwatch.exposure.settings import Settings
from tetherwatch.screen.lines import frame_line, health_line, problem_line, settings_words
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
    ]
    assert not any(re.search(r"[\x00-\x1f\x7f-\x9f\u202e]", line) for line in lines)


def test_a_problem_and_the_watch_are_one_line_each() -> None:
    """A problem names file, fault and advice; the watch names folder and state."""
    assert problem_line(made.PROBLEM).startswith("! RHS_0009.DNG: the file is empty; copy it again")
    away = Health(Path("/x"), False, "polling", 0, None)
    assert "FOLDER AWAY" in health_line(away)
