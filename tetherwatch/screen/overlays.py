"""The screens that lie over the dashboard for a moment, each with its keys: help, the choice of a plan, what if."""

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
from tetherwatch.screen.sheets import plan_sheet
from tetherwatch.screen.source import SessionSource
from tetherwatch.screen.trial import TRIABLE, Trial, first_trial, trial_sheet


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
