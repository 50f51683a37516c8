"""Body profile files: what is written is read back, and every mistake is named at once with its line."""

import pytest
from body_records import BODY, bodies
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.body.bodyfile import body_text, parse_body
from tetherwatch.body.records import Body
from tetherwatch.errors import BodyError, Mistake

TEXT = """\
camera = "Harrow Q24"
serial = "HQ-204417"

[measured]
on = 2026-11-20
frames = 10
after = "raw"

[dial]
step = "1/3"
base = 100
top = 25600

[ceiling]
iso = 6400
between = [5000, 6400]
found = "the shadows end it"

[[noise]]
iso = 100
gain_dn_per_e = 0.25
read_noise_e = 5.0
saturation_dn = { g = 15000.0 }

[[noise]]
iso = 1600
gain_dn_per_e = 4
read_noise_e = 2.5
saturation_dn = { g = 15800.0 }

[[noise]]
iso = 25600
gain_dn_per_e = 64
read_noise_e = 2.4
"""


def mistakes(text: str) -> tuple[Mistake, ...]:
    """The mistakes of a profile that has some."""
    with pytest.raises(BodyError) as caught:
        parse_body(text, "mine.toml", "mine")
    assert caught.value.source == "mine.toml"
    return caught.value.problems


@given(bodies())
def test_what_is_written_is_read_back(body: Body) -> None:
    """A profile comes back from its file exactly as it was."""
    assert parse_body(body_text(body), "any.toml", "any") == body


def test_a_profile_written_by_hand_is_read() -> None:
    """Speeds are written as on the dial and stand for its exact values."""
    assert parse_body(TEXT, "harrow-q24.toml", "harrow-q24") == BODY


def test_a_profile_reads_as_a_person_would_write_it() -> None:
    """The written file carries dial numbers, not exact values, and no empty keys."""
    text = body_text(BODY)
    assert "    5000," in text and "{ iso = 1600, gain_dn_per_e = 4.0" in text
    assert "grey" not in text


def test_all_mistakes_are_named_together_with_their_lines() -> None:
    """Unknown keys, wrong types, impossible values and missing keys come in one go, down the file."""
    text = (
        TEXT.replace("frames = 10", "frames = 0")
        .replace('step = "1/3"', 'step = "1/4"')
        .replace("gain_dn_per_e = 4\n", "")
        .replace("read_noise_e = 2.4", "read_noise_e = -1\nred_noise = 2")
    )
    found = [(problem.line, problem.key) for problem in mistakes(text)]
    assert found == [
        (6, "measured.frames"),
        (10, "dial.step"),
        (25, "noise.2.gain_dn_per_e"),
        (33, "noise.3.read_noise_e"),
        (34, "noise.3.red_noise"),
    ]


@pytest.mark.parametrize(
    ("old", "new", "key", "what"),
    [
        ('camera = "Harrow Q24"\n', "", "camera", "missing"),
        ('"Harrow Q24"', '""', "camera", "empty"),
        ("base = 100", "base = 51200", "dial", "base is above top"),
        ("[5000, 6400]", "[5000, 6000]", "ceiling", "outside"),
        ("[5000, 6400]", "[5000]", "ceiling.between", "needs"),
        ("iso = 1600", "iso = 100", "noise", "rising"),
        ("on = 2026-11-20", 'on = "yesterday"', "measured.on", "date"),
        ("{ g = 15000.0 }", "{ x = 15000.0 }", "noise.1.saturation_dn", ""),
        ("read_noise_e = 5.0", "read_noise_e = nan", "noise.1.read_noise_e", "finite"),
        ("[ceiling]", "[cieling]", "cieling", "unknown key"),
    ],
)
def test_a_mistake_is_named(old: str, new: str, key: str, what: str) -> None:
    """Each kind of mistake comes back with the key it is in and what is wrong."""
    (problem,) = mistakes(TEXT.replace(old, new, 1))
    assert problem.key.startswith(key)
    assert what in problem.problem and problem.problem


VALUES = ["5", "-1", "0", '"x"', "[]", "[1, 2]", "true", "nan", "inf", "2026-01-01", "{}", "{ g = 1 }", f"1{'0' * 400}"]


@st.composite
def almost_bodies(draw: st.DrawFn) -> str:
    """A profile some of whose lines were replaced."""
    lines = TEXT.split("\n")
    for place in draw(st.lists(st.integers(0, len(lines) - 1), max_size=5)):
        key = lines[place].partition("=")[0] or "x "
        lines[place] = draw(st.sampled_from(["", "[noise]", "[[grey]]", f"{key}= {draw(st.sampled_from(VALUES))}"]))
    return "\n".join(lines)


@given(st.text() | almost_bodies())
def test_any_text_is_a_profile_or_its_mistakes(text: str) -> None:
    """Whatever a file holds, the answer is a body or mistakes with words and lines inside the file."""
    try:
        parse_body(text, "mine.toml", "mine")
    except BodyError as error:
        assert error.problems
        for problem in error.problems:
            assert problem.problem
            assert problem.line is None or 1 <= problem.line <= text.count("\n") + 1
