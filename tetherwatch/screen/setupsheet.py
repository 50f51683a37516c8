"""The sheet of all setups: their light, settings and names, and what the user may correct."""

from dataclasses import dataclass

from rich.text import Text

from tetherwatch.screen.block import Block, block
from tetherwatch.screen.lines import settings_words
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.setups import drift_words
from tetherwatch.screen.words import decimal
from tetherwatch.session.records import SessionView
from tetherwatch.setups.records import Setup
from tetherwatch.text import display_name

LONGEST_NAME = 30

_KEYS = "up, down choose  n name  m merge into above  b begin with newest  escape back"
_TYPING = "enter use this name   escape leave it"


@dataclass(frozen=True, slots=True)
class SetupChoice:
    """Which setup is chosen, by its place, and the name being typed for it; None while none is. `notice` is news."""

    place: int
    typed: str | None = None
    notice: str = ""


def setups_sheet(view: SessionView, choice: SetupChoice, palette: Palette, width: int, height: int) -> Block:
    """All setups with a pointer, scrolled so that the chosen one is in sight."""
    room = max(height - 5, 1)
    first = min(max(choice.place - room // 2, 0), max(len(view.setups) - room, 0))
    lines = [Text(" Setups", "bold"), Text()]
    for place, setup in enumerate(view.setups[first : first + room], start=first):
        here = place == choice.place
        words = _words(setup, view, choice.typed if here else None)
        lines.append(Text(f" {'>' if here else ' '} {words}", "bold reverse" if here else "none"))
    if not view.setups:
        lines.append(Text(" There is no setup yet."))
    keys = _KEYS if choice.typed is None else _TYPING
    return block([*lines, Text(f" {choice.notice}", palette.attention), Text(f" {keys}", palette.quiet)], width, height)


def _words(setup: Setup, view: SessionView, typed: str | None) -> str:
    name = display_name(setup.name or "") if typed is None else f"{display_name(typed)}_"
    light = "unknown" if setup.light_value is None else decimal(setup.light_value.value)
    drift = "" if setup.drift is None else f", {drift_words(setup.drift)}"
    pin = view.pins.get(setup.number)
    pinned = "" if pin is None else f", #{pin.frame} pinned"
    return (
        f"{setup.number:>2} {name:<16} light {light}  {settings_words(setup.settings, view.plan.step)}  "
        f"{setup.frame_count} frames, {setup.state}{drift}{pinned}"
    )
