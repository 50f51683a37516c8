"""The colours: readable on their background, and apart for every common colour blindness."""

import itertools
from dataclasses import fields

import pytest

from tetherwatch.advise.records import CallKind
from tetherwatch.screen.palette import DARK, EITHER, LIGHT, PLAIN, Background, Palette, background_from, choose

_ROLES = [field.name for field in fields(Palette) if field.name not in ("background", "colour")]

_DEFICIENCIES = {
    # Machado, Oliveira, Fernandes 2009, severity 1.0, in linear light (from memory; each row adds up to one).
    "none": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}


def _linear(colour: str) -> list[float]:
    codes = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    return [code / 12.92 if code <= 0.04045 else ((code + 0.055) / 1.055) ** 2.4 for code in codes]


def _luminance(colour: str) -> float:
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), _linear(colour), strict=True))


def _contrast(a: str, b: str) -> float:
    """WCAG 2 contrast ratio."""
    high, low = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _seen(colour: str, deficiency: str) -> list[float]:
    linear = _linear(colour)
    rows = _DEFICIENCIES[deficiency]
    mixed = [sum(weight * part for weight, part in zip(row, linear, strict=True)) for row in rows]
    return [max(part, 0.0) ** (1 / 2.4) for part in mixed]


def _colours(palette: Palette) -> dict[str, str]:
    return {role: getattr(palette, role) for role in _ROLES if getattr(palette, role).startswith("#")}


@pytest.mark.parametrize(
    ("palette", "backgrounds", "least"),
    [
        (DARK, ("#000000", "#1e1e1e"), 5.0),
        (LIGHT, ("#ffffff", "#f4f0e6"), 5.0),
        (EITHER, ("#000000", "#ffffff"), 3.9),
    ],
)
def test_every_colour_reads_on_its_background(palette: Palette, backgrounds: tuple[str, ...], least: float) -> None:
    """Contrast is above the stated ratio for each role; the palette for unknown backgrounds holds on both."""
    for (role, colour), background in itertools.product(_colours(palette).items(), backgrounds):
        assert _contrast(colour, background) >= least, role


@pytest.mark.parametrize("palette", [DARK, LIGHT, EITHER])
@pytest.mark.parametrize("deficiency", list(_DEFICIENCIES))
def test_brighter_and_darker_stay_apart(palette: Palette, deficiency: str) -> None:
    """The two directions remain different colours however the eye mixes them."""
    pair = (_seen(palette.brighter, deficiency), _seen(palette.darker, deficiency))
    assert sum((a - b) ** 2 for a, b in zip(*pair, strict=True)) ** 0.5 > 0.25


@pytest.mark.parametrize("palette", [DARK, LIGHT])
def test_brighter_and_darker_differ_in_lightness(palette: Palette) -> None:
    """On a known background the pair is told apart in grey as well."""
    assert _contrast(palette.brighter, palette.darker) >= 1.4


@pytest.mark.parametrize(
    ("value", "background"),
    [
        ("15;0", "dark"),
        ("0;15", "light"),
        ("0;default;7", "light"),
        ("12;8", "dark"),
        ("", "unknown"),
        ("x;y", "unknown"),
    ],
)
def test_the_background_is_read_from_the_environment(value: str, background: Background) -> None:
    """COLORFGBG names the background's colour number last."""
    assert background_from({"COLORFGBG": value}) == background


def test_the_users_word_goes_before_the_environment() -> None:
    """A stated background wins; without either the palette suits both."""
    assert choose({"COLORFGBG": "15;0"}, "light") is LIGHT
    assert choose({"COLORFGBG": "15;0"}) is DARK
    assert choose({}) is EITHER


@pytest.mark.parametrize("environ", [{"NO_COLOR": "1"}, {"NO_COLOR": ""}, {"TERM": "dumb"}])
def test_no_colour_means_none(environ: dict[str, str]) -> None:
    """NO_COLOR and terminals without colours get no colour at all, whatever background is stated."""
    assert choose(environ, "dark") is PLAIN
    assert not _colours(PLAIN)


def test_every_kind_of_call_has_a_style() -> None:
    """No kind is without a role."""
    kinds: tuple[CallKind, ...] = ("brighter", "darker", "hold", "check", "blocked")
    assert all(DARK.of_call(kind) for kind in kinds)
