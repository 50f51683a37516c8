"""`tetherwatch watch`: the main job."""

import gc
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import partial
from pathlib import Path
from threading import Event
from typing import Any

import click
from click.core import ParameterSource

from tetherwatch.advise.records import Plan
from tetherwatch.cli.options import DEFAULT_PLAN, with_plan
from tetherwatch.session.events import json_line, news_event, plan_event
from tetherwatch.session.opening import Opened, Wish, opened
from tetherwatch.session.records import FrameRecord, SessionEvent
from tetherwatch.session.session import Session
from tetherwatch.watch.disk import check_folder
from tetherwatch.watch.pipeline import Watcher
from tetherwatch.watch.records import Health
from tetherwatch.watch.task import read_capture
from tetherwatch.watch.workers import Workers

Show = Callable[[SessionEvent], str | None]
"""A line for a piece of news; None where it is not worth one."""


@click.command("watch", short_help="Meter captures as they land in a folder.")
@click.argument("folder", type=click.Path(path_type=Path))
@with_plan
@click.option("--from-start", is_flag=True, help="Also read the captures that lie in the folder already.")
@click.option(
    "--session",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Keep the session in this file, or go on with it.",
)
@click.option(
    "--resume/--new",
    default=None,
    help="Go on with the last session of FOLDER, or begin another.  [default: go on within a day]",
)
@click.option("--setup", metavar="NAME", help="Name of the lighting setup that the next frame is in.")
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
    body: str | None,
    from_start: bool,
    session: Path | None,
    resume: bool | None,
    setup: str | None,
    headless: bool,
    frames: int | None,
    background: Any,
) -> None:
    """Meter captures as they land in FOLDER and say which one setting to move.

    In a terminal this opens the dashboard; press h there for its keys. Elsewhere, or with --frames, it prints plain
    lines; with --headless, JSON. Captures are only ever read. What is found is kept in a session file of yours, never
    beside the captures; a session that goes on reads what came meanwhile, and keeps its plan unless you name one.
    """
    check_folder(folder)
    given = ctx.get_parameter_source("plan_name") is not ParameterSource.DEFAULT
    wish = Wish(DEFAULT_PLAN, session, resume, plan_name if given else None, ceiling, from_start, body)
    with opened(folder, wish) as found:
        before = found.session.problem_count
        if setup is not None:
            found.session.name_next_setup(setup)
        if headless:
            _stream(folder, found, frames, _JsonLines(found.session.plan, folder))
        elif frames is not None or not (sys.stdout.isatty() and sys.stdin.isatty()):
            _stream(folder, found, frames, _plain_line)
        else:
            _dashboard(folder, found, background)
    ctx.exit(1 if found.session.problem_count > before else 0)


def _dashboard(folder: Path, found: Opened, background: Any) -> None:
    gc.disable()  # until the first picture all that is made stays; to look for garbage takes a tenth of that time
    from tetherwatch.cli.live import LiveSession
    from tetherwatch.screen.app import run

    run(LiveSession(folder, found), background)


def _stream(folder: Path, found: Opened, frames: int | None, show: Show) -> None:
    session, plan = found.session, found.session.plan
    enough = None if frames is None else session.frame_count + frames
    session.look_back(session.earlier())
    stop = _stop_at_signals()
    reader = Workers(partial(read_capture, bodies=found.bodies))
    watcher = Watcher(folder, plan.aim, plan.step, from_start=found.from_start, ledger=found.ledger, reader=reader)
    for note in plan.notes:
        click.echo(json_line(plan_event(note)) if isinstance(show, _JsonLines) else f"= {note}")
    for news in found.news:
        click.echo(show(news))
    with closing(watcher.events(stop)) as events:
        for lines in _lines(events, session, show):
            for line in lines:
                click.echo(line)
            if enough is not None and session.frame_count >= enough:
                break


def _lines(events: Iterator[Any], session: Session, show: Show) -> Iterator[list[str]]:
    """The lines of each event; of the watch's health only that the folder went away or came back."""
    here = True
    for event in events:
        news = session.take(event)
        if isinstance(event, Health):
            here, before = event.here, here
            news = news[1:] if here == before else news
        yield [line for each in news if (line := show(each)) is not None]


class _JsonLines:
    """Shows events as JSON lines."""

    def __init__(self, plan: Plan, folder: Path) -> None:
        self._step = plan.step
        self._folder = folder

    def __call__(self, news: SessionEvent) -> str:
        return json_line(news_event(news, self._step, self._folder))


def _plain_line(news: SessionEvent) -> str | None:
    from tetherwatch.screen.lines import news_line

    is_first_look = isinstance(news, FrameRecord) and news.reading.provisional
    return None if is_first_look else news_line(news)


def _stop_at_signals() -> Event:
    """An event that is set by Ctrl-C, a polite kill, or the terminal closing."""
    stop = Event()
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda *_: stop.set())
    return stop
