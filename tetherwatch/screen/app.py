"""The live dashboard: one board of text lines, redrawn where it changed."""

import asyncio
import os
import signal
import sys
import time
from collections import deque
from collections.abc import Callable, Mapping
from functools import partial
from typing import ClassVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType

from tetherwatch.advise.words import name as setting_name
from tetherwatch.errors import TetherwatchError
from tetherwatch.exposure.stops import Setting
from tetherwatch.screen.block import Block
from tetherwatch.screen.board import Board
from tetherwatch.screen.history import detail_sheet, moved, shown_at
from tetherwatch.screen.layout import Scene, dashboard
from tetherwatch.screen.overlays import PlanSheet, SetupsSheet, Sheet, TrialSheet
from tetherwatch.screen.palette import Background, choose
from tetherwatch.screen.sheets import help_sheet
from tetherwatch.screen.source import SessionSource
from tetherwatch.screen.stages import LOOK_BACK, stages_sheet
from tetherwatch.session.records import SessionView
from tetherwatch.setups.placing import placement_words

_AGE_SECONDS = 1.0
_NOTICE_SECONDS = 5.0


class Dashboard(App[TetherwatchError]):
    """The dashboard of a session. Ends with None, or with the error that stopped the session."""

    ENABLE_COMMAND_PALETTE = False
    CSS = "Screen { background: ansi_default; color: ansi_default; overflow: hidden; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "pause"),
        Binding("left", "look(False)"),
        Binding("right", "look(True)"),
        Binding("end,escape", "now"),
        Binding("x", "troubled"),
        Binding("d", "detail"),
        Binding("p", "plans"),
        Binding("s", "lock('shutter')"),
        Binding("a", "lock('aperture')"),
        Binding("i", "lock('iso')"),
        Binding("t", "try"),
        Binding("f", "face"),
        Binding("g", "card"),
        Binding("w", "stages"),
        Binding("m", "pin"),
        Binding("u", "setups"),
        Binding("h,question_mark", "keys"),
        Binding("q,Q", "quit"),
        Binding("ctrl+c", "quit", priority=True),
    ]

    def __init__(
        self,
        source: SessionSource,
        background: Background | None = None,
        environ: Mapping[str, str] = os.environ,
        clock: Callable[[], float] = time.time,
    ) -> None:
        super().__init__(ansi_color=True)
        self._source = source
        self._palette = choose(environ, background)
        self._clock = clock
        self._shown: int | None = None
        self._only_troubled = False
        self._notice, self._noticed_at = "", 0.0
        self._pin_words = self._card_words = ""
        self._drawn: deque[tuple[int, float]] = deque(maxlen=LOOK_BACK)
        self._board = Board(self._paint)

    def compose(self) -> ComposeResult:
        yield self._board

    def on_mount(self) -> None:
        if sys.platform != "win32":  # a killed dashboard must still give the terminal back
            for number in (signal.SIGTERM, signal.SIGHUP):
                asyncio.get_running_loop().add_signal_handler(number, self.exit)
        self.call_after_refresh(self._source.listen, partial(self.call_later, self._poll))  # the first picture first
        self.set_interval(_AGE_SECONDS, self._board.repaint)

    def _poll(self) -> None:
        try:
            changed = self._source.poll()
        except TetherwatchError as error:
            self.exit(error)
            return
        if changed:
            began = time.perf_counter()
            for board in {self._board, *self.screen.query(Board)}:
                board.repaint()
            self.call_after_refresh(self._note_drawn, self._source.view().frame_count, began)

    def _note_drawn(self, number: int, began: float) -> None:
        """Keep how long the newest frame took to draw, once that is done."""
        if number and (not self._drawn or number > self._drawn[-1][0]):
            self._drawn.append((number, time.perf_counter() - began))

    def _paint(self, width: int, height: int) -> Block:
        view, newer = self._view()
        now = self._clock()
        notice = self._notice if now - self._noticed_at < _NOTICE_SECONDS else ""
        return dashboard(Scene(view, self._palette, now, newer, notice), width, height)

    def _view(self) -> tuple[SessionView, int | None]:
        """What is shown, and how many newer frames there are if it is held."""
        return shown_at(self._source.view().with_look(), self._shown)

    def action_pause(self) -> None:
        frames = self._source.view().with_look().frames
        self._show(frames[-1].number if self._shown is None and frames else None)

    def action_look(self, forward: bool) -> None:
        self._show(moved(self._source.view(), self._shown, forward, self._only_troubled))

    def action_now(self) -> None:
        self._show(None)

    def action_troubled(self) -> None:
        self._only_troubled = not self._only_troubled
        kind = "frames that want a look: odd, clipped, soft" if self._only_troubled else "all frames"
        self._say(f"left and right go through {kind}")

    def action_detail(self) -> None:
        view, _ = self._view()
        if view.frames:
            self.push_screen(Sheet(partial(detail_sheet, view.frames[-1], view, self._palette)))

    def _show(self, number: int | None) -> None:
        self._shown = number
        self._board.repaint()

    def action_keys(self) -> None:
        self.push_screen(Sheet(partial(help_sheet, self._palette)))

    def action_stages(self) -> None:
        self.push_screen(Sheet(self._paint_stages))

    def _paint_stages(self, width: int, height: int) -> Block:
        return stages_sheet(self._source.view().frames, dict(self._drawn), self._palette, width, height)

    def action_plans(self) -> None:
        sheet = PlanSheet(self._source.plans(), self._source.view().plan.name, self._palette)
        self.push_screen(sheet, self._use_plan)

    def _use_plan(self, name: str | None) -> None:
        if name is not None:
            self._change(lambda: self._source.use_plan(name), lambda: f"plan: {name}")

    def action_try(self) -> None:
        if self._source.view().frames:
            self.push_screen(TrialSheet(self._source, self._palette))
        else:
            self._say("there is no capture yet to try a setting on")

    def action_face(self) -> None:
        if self._source.next_face():
            self._say("the next face is metered from now on")
        else:
            self._say("no other face is seen in the newest frame")

    def action_card(self) -> None:
        shown = self._shown
        self._change(lambda: self._toggle_card(shown), lambda: self._card_words)

    def _toggle_card(self, number: int | None) -> None:
        placement = self._source.toggle_card(number)
        self._card_words = "no card places faces here now" if placement is None else placement_words(placement)

    def action_pin(self) -> None:
        shown = self._shown
        self._change(lambda: self._toggle_pin(shown), lambda: self._pin_words)

    def _toggle_pin(self, number: int | None) -> None:
        pinned = self._source.toggle_pin(number)
        self._pin_words = "pinned: the next frames here are to match it" if pinned else "nothing is pinned here now"

    def action_setups(self) -> None:
        self.push_screen(SetupsSheet(self._source, self._palette))

    def action_lock(self, name: str) -> None:
        setting = Setting(name)
        self._change(lambda: self._source.toggle_lock(setting), lambda: self._lock_words(setting))

    def _lock_words(self, setting: Setting) -> str:
        state = "locked" if self._source.view().plan.allowed(setting).locked else "free"
        return f"{setting_name(setting)} is {state} now"

    def _change(self, change: Callable[[], None], done: Callable[[], str]) -> None:
        """Make a change that leads to another call, which ends a pause: the call shown must be the one in force."""
        self._shown = None
        try:
            change()
            self._say(done())
        except TetherwatchError as error:
            self._say(str(error))

    def _say(self, notice: str) -> None:
        self._notice, self._noticed_at = notice, self._clock()
        self._board.repaint()


def run(source: SessionSource, background: Background | None = None) -> None:
    """Show the dashboard until the user quits, then close the source. Raises the TetherwatchError that ended it."""
    try:
        error = Dashboard(source, background).run(mouse=False)
    finally:
        source.close()
    if error is not None:
        raise error
