"""`tetherwatch watch`: the main job."""

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from threading import Event
from typing import Any

import click

from tetherwatch.advise.library import load_plan
from tetherwatch.advise.records import Plan
from tetherwatch.cli.options import with_plan
from tetherwatch.session.events import json_line, news_event, plan_event
from tetherwatch.session.records import SessionEvent
from tetherwatch.session.session import Session
from tetherwatch.watch.pipeline import Watcher
from tetherwatch.watch.records import Health

Show = Callable[[SessionEvent], str]


@click.command("watch", short_help="Meter captures as they land in a folder.")
@click.argument("folder", type=click.Path(path_type=Path))
@with_plan
@click.option("--from-start", is_flag=True, help="Also read the captures that lie in the folder already.")
@click.option("--headless", is_flag=True, help="Print one JSON event a line instead of the dashboard.")
@click.option("--frames", type=click.IntRange(min=1), help="Without dashboard: stop after so many frames.")
@click.option(
    "--background", type=click.Choice(["dark", "light"]), help="Your terminal's background, if the guess is wrong."
)
@click.pass_context
def command(
    ctx: click.Context,
    folder: Path,
    plan_name: str,
    ceiling: float | None,
    from_start: bool,
    headless: bool,
    frames: int | None,
    background: Any,
) -> None:
    """Meter captures as they land in FOLDER and say which one setting to move.

    In a terminal this opens the dashboard; press h there for its keys. Elsewhere, or with --frames, it prints plain
    lines; with --headless, JSON. Captures are only ever read.
    """
    plan = load_plan(plan_name, ceiling)
    if headless:
        problems = _stream(folder, plan, from_start, frames, _JsonLines(plan, folder))
    elif frames is not None or not (sys.stdout.isatty() and sys.stdin.isatty()):
        problems = _stream(folder, plan, from_start, frames, _plain_line)
    else:
        problems = _dashboard(folder, plan, ceiling, from_start, background)
    ctx.exit(1 if problems else 0)


def _dashboard(folder: Path, plan: Plan, ceiling: float | None, from_start: bool, background: Any) -> int:
    from tetherwatch.cli.live import LiveSession
    from tetherwatch.screen.app import run

    live = LiveSession(folder, plan, ceiling, from_start)
    run(live, background)
    return live.session.problem_count


def _stream(folder: Path, plan: Plan, from_start: bool, frames: int | None, show: Show) -> int:
    session = Session(folder, plan)
    stop = _stop_at_signals()
    watcher = Watcher(folder, plan.aim, plan.step, from_start=from_start)
    for note in plan.notes:
        click.echo(json_line(plan_event(note)) if isinstance(show, _JsonLines) else f"= {note}")
    with closing(watcher.events(stop)) as events:
        for lines in _lines(events, session, show):
            for line in lines:
                click.echo(line)
            if frames is not None and session.frame_count >= frames:
                break
    return session.problem_count


def _lines(events: Iterator[Any], session: Session, show: Show) -> Iterator[list[str]]:
    """The lines of each event; of the watch's health only that the folder went away or came back."""
    here = True
    for event in events:
        if isinstance(event, Health):
            here, before = event.here, here
            if here == before:
                session.take(event)
                continue
        yield [show(news) for news in session.take(event)]


class _JsonLines:
    """Shows events as JSON lines."""

    def __init__(self, plan: Plan, folder: Path) -> None:
        self._step = plan.step
        self._folder = folder

    def __call__(self, news: SessionEvent) -> str:
        return json_line(news_event(news, self._step, self._folder))


def _plain_line(news: SessionEvent) -> str:
    from tetherwatch.screen.lines import news_line

    return news_line(news)


def _stop_at_signals() -> Event:
    """An event that is set by Ctrl-C, a polite kill, or the terminal closing."""
    stop = Event()
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda *_: stop.set())
    return stop
