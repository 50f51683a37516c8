"""Colours by what they mean. Signs, words and glyphs carry everything; colour only helps the eye.

Warm means brighter, blue means darker, at clearly different lightness, so that the pair survives every common colour
blindness and a grey print. The terminal's own background is kept. Where nothing tells whether it is dark or light, the
colours come from the middle of the lightness range and read on both.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from tetherwatch.advise.records import CallKind
from tetherwatch.frame.records import Channel

Background = Literal["dark", "light", "unknown"]

_COLOURLESS_TERMINALS = frozenset({"dumb", "unknown"})


@dataclass(frozen=True, slots=True)
class Palette:
    """One rich style for each role. `colour` is False when nothing may be said in colour."""

    background: Background
    colour: bool
    brighter: str
    darker: str
    right: str
    attention: str
    quiet: str
    red: str
    green: str
    blue: str

    def of_call(self, kind: CallKind) -> str:
        """The style of a kind of call."""
        styles: dict[CallKind, str] = {
            "brighter": self.brighter,
            "darker": self.darker,
            "hold": self.right,
            "check": self.attention,
            "blocked": self.attention,
        }
        return styles[kind]

    def of_channel(self, channel: Channel) -> str:
        """The style of a colour channel."""
        styles: dict[Channel, str] = {"r": self.red, "g": self.green, "b": self.blue, "y": self.right}
        return styles[channel]


DARK = Palette(
    "dark", True, "#ffc04d", "#5b9cf0", "#dfe9e2", "#ff8fc7", "#9aa3ab", "#f08a6c", "#b7dd8e", "#6fa3f7"
)  # fmt: skip
LIGHT = Palette(
    "light", True, "#8f5200", "#123f96", "#24332b", "#a3125f", "#5c646b", "#a33a17", "#3f6b12", "#1f4fb0"
)  # fmt: skip
EITHER = Palette(
    "unknown", True, "#b26900", "#3d74d8", "default", "#c8458a", "#767676", "#c6583a", "#4f8520", "#4474e0"
)  # fmt: skip
PLAIN = Palette("unknown", False, *["default"] * 8)


def background_from(environ: Mapping[str, str]) -> Background:
    """What COLORFGBG says of the terminal's background (its last field is a colour number), else "unknown"."""
    number = environ.get("COLORFGBG", "").rpartition(";")[2]
    if not number.isdecimal() or int(number) > 15:
        return "unknown"
    return "light" if int(number) == 7 or int(number) > 8 else "dark"


def choose(environ: Mapping[str, str], background: Background | None = None) -> Palette:
    """The palette for a terminal; `background` is the user's word, which goes before the environment's.

    NO_COLOR counts as soon as it is set, even to nothing: the app's own colour filter takes it so.
    """
    if "NO_COLOR" in environ or environ.get("TERM") in _COLOURLESS_TERMINALS:
        return PLAIN
    chosen = {"dark": DARK, "light": LIGHT, "unknown": EITHER}
    return chosen[background or background_from(environ)]
