"""TOML files of the user's: lines of keys, and text that is no TOML."""

import pytest

from tetherwatch.errors import BodyError, Mistake, PlanError
from tetherwatch.toml import key_lines, line_of, located, parsed


def test_key_lines_fall_back_to_the_table() -> None:
    """A key without a line of its own has that of the closest table around it; an unknown table has none."""
    lines = key_lines("a = 1\n[b]\nc = 2\n[b.d]\n")
    assert lines == {"a": 1, "b": 2, "b.c": 3, "b.d": 4}
    assert [line_of(key, lines) for key in ("a", "b.c", "b.x", "b.d.e", "z", "")] == [1, 3, 2, 4, None, None]


def test_tables_of_an_array_are_told_apart() -> None:
    """Each table of an array has lines of its own, counted from 1; the array itself lies at its first."""
    lines = key_lines("[[n]]\niso = 1\n\n[[n]]\niso = 2\n")
    assert [line_of(key, lines) for key in ("n", "n.1.iso", "n.2.iso", "n.2.gain", "n.3")] == [1, 2, 5, 4, 1]


def test_mistakes_come_in_the_order_of_their_lines() -> None:
    """Whatever found them first, mistakes are told from the top of the file down; those without a line lead."""
    found = located([("b", "second"), ("a", "first"), ("z", "nowhere")], "a = 1\nb = 2\n")
    assert found == (Mistake("z", None, "nowhere"), Mistake("a", 1, "first"), Mistake("b", 2, "second"))


@pytest.mark.parametrize("kind", [PlanError, BodyError])
def test_text_that_is_no_toml_is_named_with_its_line(kind: type[PlanError] | type[BodyError]) -> None:
    """The parser's complaint comes as a mistake of the file in question, with its line."""
    with pytest.raises(kind) as caught:
        parsed("a = 1\nb =\n", "mine.toml", kind)
    (mistake,) = caught.value.problems
    assert (caught.value.source, mistake.line) == ("mine.toml", 2)
    assert mistake.problem.startswith("not valid TOML")


def test_text_nested_beyond_reason_is_refused_in_the_words_of_its_kind() -> None:
    """A text that would exhaust the parser is called no body profile, not a failure of ours."""
    with pytest.raises(BodyError) as caught:
        parsed(f"a = {'[' * 100_000}", "mine.toml", BodyError)
    assert "nested too deeply" in caught.value.problems[0].problem or "TOML" in caught.value.problems[0].problem
