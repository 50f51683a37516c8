"""The strip of setups, the match, what changed, and the sheet that corrects setups."""

import asyncio
from dataclasses import replace
from pathlib import Path
from typing import cast

import pytest
import screen_records as made
from hypothesis import given
from hypothesis import strategies as st
from session_records import FOLDER, PLAN, metered
from textual.pilot import Pilot

from tetherwatch.advise.records import Estimate
from tetherwatch.errors import TetherwatchError
from tetherwatch.exposure.settings import Settings
from tetherwatch.screen.app import Dashboard
from tetherwatch.screen.board import Board
from tetherwatch.screen.layout import LEAST_HEIGHT, LEAST_WIDTH, Scene, dashboard
from tetherwatch.screen.palette import choose
from tetherwatch.screen.setups import setups_panel
from tetherwatch.screen.setupsheet import SetupChoice, setups_sheet
from tetherwatch.screen.source import SessionSource
from tetherwatch.session.records import SessionView
from tetherwatch.session.session import Session
from tetherwatch.setups.records import Drift, Match, Setup

PALETTE = choose({}, None)
LIGHT = Estimate(8.7, 0.03)
SETUPS = (
    Setup(1, 1, 9, 9, "Window", LIGHT, made.SETTINGS, proven=True, state="earlier"),
    Setup(2, 10, 12, 3, None, LIGHT, made.SETTINGS, proven=True, drift=Drift(-0.31, (-0.4, -0.2), 240.0)),
    Setup(3, 13, 13, 1, made.HOSTILE, None, Settings(), state="earlier"),
)
MATCH = Match(11, -0.21, {"r": 0.08, "b": -0.02}, -0.1, 0.3, measured=True)


def view(**changes: object) -> SessionView:
    """A session with three setups, in the second of them."""
    before = made.frame(11, settings=Settings(2.0**-8, 2.0**1.5, 200.0), setup=2)
    return made.view(before, made.frame(12, setup=2, match=MATCH), setups=SETUPS, **changes)


def plain(now: SessionView, width: int, height: int = 3) -> list[str]:
    """The lines of the panel."""
    return [line.plain.rstrip() for line in setups_panel(now, PALETTE, width, height).lines]


def test_the_strip_tells_light_settings_state_and_drift() -> None:
    """The setup of the frame stands in brackets with all of it, the others with their light."""
    strip, match, since = plain(view(), 150)
    assert "[2 · light 8.7 · drift -0.31 ±0.10/10 min 4 min left · right at 1/250 f/2.8 ISO 400]" in strip
    assert "1 Window light 8.7" in strip
    assert match == " to match #11: -0.21 stops, red +0.08 blue -0.02, highlights -0.1, shadows +0.3"
    assert since.startswith(" since #11: ISO 200 to 400; light")


@given(st.integers(LEAST_WIDTH, 160), st.integers(LEAST_HEIGHT, 60))
def test_the_call_keeps_its_place(width: int, height: int) -> None:
    """In every window the call takes as many rows as without setups, and no line is too long."""
    palette = PALETTE
    lines = dashboard(Scene(view(), palette, made.NOW), width, height).lines
    bare = dashboard(Scene(replace(view(), setups=()), palette, made.NOW), width, height).lines
    assert len(lines) == height
    assert {line.cell_len for line in lines} == {width}
    large = [line.plain for line in bare[:8]]
    assert [line.plain for line in lines[: len(large)]][:4] == large[:4]


def test_names_from_outside_reach_no_terminal_as_codes() -> None:
    """In strip and sheet."""
    hostile = replace(SETUPS[1], name=made.HOSTILE)
    now = replace(view(), setups=(SETUPS[0], hostile, SETUPS[2]))
    shown = plain(now, 200) + [
        line.plain for line in setups_sheet(now, SetupChoice(0, made.HOSTILE), PALETTE, 200, 20).lines
    ]
    assert not any("\x1b" in line or "\r" in line for line in shown)


def _live() -> Session:
    """A session in two setups."""
    session = Session(FOLDER, PLAN)
    for number, iso in enumerate((400.0, 400.0, 100.0, 100.0)):
        settings = Settings(2.0**-8, 2.0**1.5, iso)
        session.take(metered(f"{number}.DNG", at=100.0 * number, settings=settings))
    return session


class _Source:
    """A session as a dashboard's source."""

    def __init__(self, session: Session) -> None:
        self.session = session

    def listen(self, wake: object) -> None:
        """Nothing will come."""

    def poll(self) -> bool:
        """Nothing new."""
        return False

    def __getattr__(self, name: str) -> object:
        return getattr(self.session, name)


def press(session: Session, *keys: str) -> str:
    """What the dashboard shows after some keys."""
    app = Dashboard(cast(SessionSource, _Source(session)), environ={}, clock=lambda: made.NOW)

    async def run() -> str:
        async with app.run_test(size=(100, 30)) as pilot:
            await cast("Pilot[TetherwatchError]", pilot).press(*keys)
            await pilot.pause()
            return next(iter(app.screen.query(Board))).plain

    return asyncio.run(run())


def test_m_pins_the_newest_frame_and_takes_the_pin_away() -> None:
    """And says so."""
    session = _live()
    assert "pinned: the next frames here are to match it" in press(session, "m")
    assert session.view().pins[2].frame == 4
    press(session, "m")
    assert session.view().pins == {}


def test_m_pins_the_frame_that_is_looked_back_at() -> None:
    """In its own setup."""
    session = _live()
    press(session, "left", "left", "m")
    assert {setup: pin.frame for setup, pin in session.view().pins.items()} == {1: 2}


def test_a_setup_is_named_by_typing() -> None:
    """Letters are the name's, not keys; escape leaves it, enter takes it."""
    session = _live()
    shown = press(session, "u", "n", "m", "q", "x", "backspace", "space", "b", "enter")
    assert "mq b" in shown
    assert [setup.name for setup in session.view().setups] == [None, "mq b"]
    press(session, "u", "n", "z", "escape", "escape")
    assert [setup.name for setup in session.view().setups] == [None, "mq b"]


def test_setups_are_merged_and_begun_by_key() -> None:
    """The chosen one into the one before it; one that cannot be is said."""
    session = _live()
    press(session, "u", "m")
    assert [setup.number for setup in session.view().setups] == [1]
    press(session, "u", "b")
    assert [record.setup for record in session.view().frames] == [1, 1, 1, 2]
    assert "there is no earlier setup to merge it into" in press(session, "u", "up", "m")


@pytest.mark.parametrize("count", [1, 12])
def test_the_sheet_keeps_the_chosen_setup_in_sight(count: int) -> None:
    """In a small window too."""
    many = tuple(replace(SETUPS[0], number=number, name=f"Setup-{number}") for number in range(1, count + 1))
    now = replace(view(), setups=many, folder=Path("/shoots"))
    for place in range(count):
        lines = [line.plain for line in setups_sheet(now, SetupChoice(place), PALETTE, 80, 10).lines]
        assert any(line.startswith(f" > {many[place].number:>2}") for line in lines)
        assert any(line.rstrip().endswith("escape back") for line in lines)
