"""Text from outside: nothing a terminal obeys survives, everything a person reads stays."""

import sys
import unicodedata
from pathlib import PurePosixPath

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tetherwatch.text import display_name

# Every code point, lone surrogates included: file systems and metadata hold them all.
anything = st.text(st.characters(codec=None, exclude_categories=()))
OBEYED = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


@given(anything)
@example("\x1b[2J\x9b31m")
@example("\u202egpj.exe")
@example("a\r\nb\u2028c\u2029d")
@example("\udcff\ud800")
@example("\u200b\ufeff\U000e0041")
def test_no_obeyed_character_survives(text: str) -> None:
    """Control, format, surrogate, private, unassigned and line-breaking characters are all spelled out."""
    assert not {unicodedata.category(character) for character in display_name(text)} & OBEYED


@given(anything)
def test_shown_text_can_be_written_as_utf_8(text: str) -> None:
    """What is shown encodes, whatever bytes the file system held."""
    display_name(text).encode("utf-8")


@given(anything, st.integers(1, 80))
def test_showing_twice_changes_nothing(text: str, limit: int) -> None:
    """Shown text is already safe, so passing it through again leaves it as it is."""
    shown = display_name(text, limit)
    assert display_name(shown, limit) == shown


@given(anything, st.integers(1, 80))
def test_the_limit_is_kept(text: str, limit: int) -> None:
    """The result is never longer than the limit, and a cut is marked."""
    shown = display_name(text, limit)
    assert len(shown) <= limit
    whole = display_name(text, sys.maxsize)
    assert shown == whole or (shown.endswith("…") and whole.startswith(shown[:-1]))


@given(st.text(st.characters(categories=["L", "M", "N", "P", "S", "Zs"]), max_size=200))
@example("Портрет 人像 صورة.dng")
@example("📷🎞️ 😀.jpg")
def test_readable_text_stays_as_it_is(text: str) -> None:
    """Letters of any script, marks, digits, punctuation, emoji and spaces are not touched."""
    assert display_name(text) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[31mred", "\\x1b[31mred"),
        ("a\nb", "a\\x0ab"),
        ("x\u202ey", "x\\u202ey"),
        ("caf\udce9.jpg", "caf\\xe9.jpg"),
        ("\ud83d", "\\ud83d"),
        ("\U000e0001", "\\U000e0001"),
        ("👩\u200d🎨", "👩\\u200d🎨"),
    ],
)
def test_hidden_characters_are_spelled_by_their_code(text: str, shown: str) -> None:
    """Each hidden character becomes its escape; a byte that was no text becomes that byte."""
    assert display_name(text) == shown


def test_a_path_is_shown_whole() -> None:
    """A path is text too."""
    assert display_name(PurePosixPath("shoot/IMG_1\t.CR3")) == "shoot/IMG_1\\x09.CR3"
