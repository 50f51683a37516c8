"""A noise ladder as the terminal shows it."""

import io
from dataclasses import replace

import pytest
from ladder_sheets import NASTY, made_ladder, named_ladder
from rich.console import Console

from tetherwatch.ladder.records import Finding, Ladder
from tetherwatch.screen.ladder import ladder_lines
from tetherwatch.screen.palette import DARK, PLAIN


def shown(ladder: Ladder, width: int) -> list[str]:
    """The lines a terminal of this width gets."""
    output = io.StringIO()
    console = Console(file=output, width=width, color_system=None, highlight=False)
    for line in ladder_lines(ladder, PLAIN, width):
        console.print(line)
    return output.getvalue().splitlines()


def test_every_rung_fits_into_80_columns() -> None:
    """No cell is cut; each rung has one line that begins with its ISO; the ceiling is last."""
    lines = shown(made_ladder(10), 80)
    assert max(map(len, lines)) <= 80
    assert "…" not in "".join(lines)
    firsts = [line.split()[0] for line in lines[2:] if line.strip() and line.split()[0].isdecimal()]
    assert firsts == "100 200 400 800 1600 3200 6400 12800 25600 51200".split()
    assert lines[-2].startswith("CEILING ISO 3200 (2500 to 4000)")
    assert lines[-1] == "Shadows get too noisy first."


def test_a_line_across_marks_the_ceiling() -> None:
    """It lies between the last good rung and the next; without one above there is none."""
    lines = [line.strip() for line in shown(made_ladder(8), 80)]
    above = next(place for place, line in enumerate(lines) if line.startswith("6400"))
    assert lines[above - 1].startswith("──")
    assert lines[above - 2].startswith("3200")
    rules = [sum(line.strip().startswith("──") for line in shown(made_ladder(count), 80)) for count in (8, 5)]
    assert rules == [4, 3]


def test_a_wide_terminal_shows_all_columns_and_uncertainties() -> None:
    """At 200 columns the page's columns are there too."""
    text = "\n".join(shown(made_ladder(), 200))
    for words in ("colour", "columns", "87.6±0.88", "0.265±0.00053"):
        assert words in text
        assert words not in "\n".join(shown(made_ladder(), 80))


def test_warnings_are_sentences_and_refusals_are_left_to_the_caller() -> None:
    """Warnings of the ladder and of its rungs are listed; what refuses the ceiling is not said twice."""
    refusal = Finding("range", "nothing is good enough", refuses=True)
    ladder = replace(named_ladder("RHS"), refused=(refusal,), ceiling=None)
    text = "\n".join(shown(ladder, 80))
    assert text.count("! flicker  Light in RHS pulses.") == 2
    assert "good enough" not in text
    assert "CEILING" not in text


@pytest.mark.parametrize("width", [80, 200])
def test_names_cannot_reach_the_terminal_as_codes(width: int) -> None:
    """Escape codes, direction marks and markup in names are shown, not obeyed."""
    output = io.StringIO()
    console = Console(file=output, width=width, color_system="truecolor", force_terminal=True, highlight=False)
    for line in ladder_lines(named_ladder("[bold red]x[/]" + NASTY), DARK, width):
        console.print(line)
    text = output.getvalue()
    assert "[bold red]x[/]" in text
    assert "\x1b[31m\u202e" not in text
    assert "\u202e" not in text
