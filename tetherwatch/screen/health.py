"""How the watch is doing: the folder, the newest capture's age, what waits; then what else is to be told."""

from rich.text import Text

from tetherwatch.screen.block import Block, block
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.told import told_lines
from tetherwatch.screen.words import age_words, keep_end
from tetherwatch.session.records import SessionView
from tetherwatch.text import display_name
from tetherwatch.watch.records import Health


def health_panel(view: SessionView, now: float, palette: Palette, width: int, height: int) -> Block:
    """The state of the watch, then findings, the last problem, and what the user should know about frame and plan."""
    told = told_lines(view, palette, width, height - 1)
    return block([_state(view, now, palette, width), *told], width, height)


def watch_words(health: Health | None) -> str:
    """How the folder is being watched, in one or a few words."""
    if health is None:
        return "watch starting"
    if not health.here:
        return "FOLDER AWAY, check its disk or network"
    return f"watch: {health.mode}, {health.backlog} waiting"


def _state(view: SessionView, now: float, palette: Palette, width: int) -> Text:
    away = view.health is not None and not view.health.here
    state = Text.assemble(
        (watch_words(view.health), f"bold {palette.attention}" if away else "none"),
        f"  last {_age(view, now)}",
        (f"  {view.frame_count} read, {view.problem_count} failed", palette.quiet),
    )
    folder = keep_end(display_name(view.folder), max(width - state.cell_len - 3, 10))
    return Text.assemble(f" {folder}  ", state)


def _age(view: SessionView, now: float) -> str:
    return f"{age_words(now - view.frames[-1].capture.arrived_at)} ago" if view.frames else "none"
