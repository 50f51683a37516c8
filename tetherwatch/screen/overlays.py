"""The screens that lie over the dashboard for a moment, each with its keys: help, the choice of a plan, what if."""

from collections.abc import Callable
from dataclasses import replace
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.events import Key
from textual.screen import Screen

from tetherwatch.errors import TetherwatchError
from tetherwatch.exposure.stops import Setting
from tetherwatch.screen.block import Block
from tetherwatch.screen.board import Board, Painter
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.setupsheet import LONGEST_NAME, SetupChoice, setups_sheet
from tetherwatch.screen.sheets import plan_sheet
from tetherwatch.screen.source import SessionSource
from tetherwatch.screen.trial import TRIABLE, Trial, first_trial, trial_sheet
from tetherwatch.setups.records import Setup


class Sheet(Screen[None]):
    """Something to read; any key goes back."""

    def __init__(self, paint: Painter) -> None:
        super().__init__()
        self._paint = paint

    def compose(self) -> ComposeResult:
        yield Board(self._paint)

    def on_key(self, event: Key) -> None:
        event.stop()
        self.dismiss(None)


class PlanSheet(Screen["str | None"]):
    """The choice of a plan; gives its name, or None if the user went back."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up,k", "move(-1)"),
        Binding("down,j", "move(1)"),
        Binding("enter", "use"),
        Binding("escape,p", "dismiss(None)"),
    ]

    def __init__(self, names: tuple[str, ...], present: str, palette: Palette) -> None:
        super().__init__()
        self._names = names
        self._chosen = names.index(present) if present in names else 0
        self._palette = palette

    def compose(self) -> ComposeResult:
        yield Board(lambda width, height: plan_sheet(self._names, self._chosen, self._palette, width, height))

    def action_move(self, places: int) -> None:
        self._chosen = min(max(self._chosen + places, 0), max(len(self._names) - 1, 0))
        self.query_one(Board).repaint()

    def action_use(self) -> None:
        self.dismiss(self._names[self._chosen] if self._names else None)


class SetupsSheet(Screen[None]):
    """All setups, to be named, merged and begun; follows the session."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up,k", "move(-1)"),
        Binding("down,j", "move(1)"),
        Binding("n", "name"),
        Binding("m", "merge"),
        Binding("b", "begin"),
        Binding("escape,u", "dismiss(None)"),
    ]

    def __init__(self, source: SessionSource, palette: Palette) -> None:
        super().__init__()
        self._source = source
        self._palette = palette
        setups, frames = source.view().setups, source.view().frames
        here = [place for place, setup in enumerate(setups) if frames and setup.number == frames[-1].setup]
        self._choice = SetupChoice(here[0] if here else 0)

    def compose(self) -> ComposeResult:
        yield Board(lambda width, height: setups_sheet(self._source.view(), self._choice, self._palette, width, height))

    def on_key(self, event: Key) -> None:
        """While a name is typed, keys are its letters."""
        typed = self._choice.typed
        if typed is None:
            return
        event.stop()
        event.prevent_default()
        if event.key == "enter":
            self._change(lambda setup: self._source.rename_setup(setup.number, typed))
        elif event.key == "escape":
            self._show(replace(self._choice, typed=None))
        elif event.key == "backspace":
            self._show(replace(self._choice, typed=typed[:-1]))
        elif event.character is not None and event.is_printable and len(typed) < LONGEST_NAME:
            self._show(replace(self._choice, typed=typed + event.character))

    def action_move(self, places: int) -> None:
        last = max(len(self._source.view().setups) - 1, 0)
        self._show(SetupChoice(min(max(self._choice.place + places, 0), last)))

    def action_name(self) -> None:
        for setup in self._source.view().setups[self._choice.place : self._choice.place + 1]:
            self._show(replace(self._choice, typed=setup.name or "", notice=""))

    def action_merge(self) -> None:
        self._change(lambda setup: self._source.merge_setup(setup.number))

    def action_begin(self) -> None:
        self._change(lambda _: self._source.split_setup())

    def _change(self, change: Callable[[Setup], object]) -> None:
        """Make a change to the chosen setup, and say why if it cannot be made."""
        notice = ""
        try:
            for setup in self._source.view().setups[self._choice.place : self._choice.place + 1]:
                change(setup)
        except TetherwatchError as error:
            notice = str(error)
        last = max(len(self._source.view().setups) - 1, 0)
        self._show(SetupChoice(min(self._choice.place, last), notice=notice))

    def _show(self, choice: SetupChoice) -> None:
        self._choice = choice
        self.query_one(Board).repaint()


class TrialSheet(Screen[None]):
    """What if a setting were moved; follows the newest frame. The session must have one."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "turn(-1)"),
        Binding("right", "turn(1)"),
        Binding("s", "choose('shutter')"),
        Binding("a", "choose('aperture')"),
        Binding("i", "choose('iso')"),
        Binding("l", "choose('light')"),
        Binding("up,k", "step(1)"),
        Binding("down,j", "step(-1)"),
        Binding("escape,t", "dismiss(None)"),
    ]

    def __init__(self, source: SessionSource, palette: Palette) -> None:
        super().__init__()
        self._source = source
        self._palette = palette
        self._trial = first_trial(source.view().frames[-1].call)

    def compose(self) -> ComposeResult:
        yield Board(self._paint)

    def _paint(self, width: int, height: int) -> Block:
        view, trial = self._source.view(), self._trial
        try:
            outcome = self._source.tried(trial.setting, trial.stops(view.plan))
        except TetherwatchError as error:
            return trial_sheet(trial, view, str(error), self._palette, width, height)
        return trial_sheet(trial, view, outcome or "there is no capture yet", self._palette, width, height)

    def action_turn(self, places: int) -> None:
        self._show(Trial(TRIABLE[(TRIABLE.index(self._trial.setting) + places) % len(TRIABLE)]))

    def action_choose(self, name: str) -> None:
        self._show(Trial(Setting(name)))

    def action_step(self, steps: int) -> None:
        view = self._source.view()
        self._show(self._trial.stepped(steps, view.frames[-1].metadata.settings, view.plan))

    def _show(self, trial: Trial) -> None:
        self._trial = trial
        self.query_one(Board).repaint()
