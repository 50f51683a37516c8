"""`tetherwatch read`: meter captures once."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import click

from tetherwatch.advise.records import Plan
from tetherwatch.advise.whatif import Tried, Try, parse_try
from tetherwatch.cli.options import with_plan
from tetherwatch.cli.outcomes import outcomes
from tetherwatch.session.bodies import take_stock
from tetherwatch.session.chosen import choose
from tetherwatch.session.events import json_line, news_event, tried_event
from tetherwatch.session.recorded import RecordedSession
from tetherwatch.session.records import NO_PAST, FrameRecord, SessionEvent
from tetherwatch.text import display_name
from tetherwatch.watch.records import Capture, Metered, Problem
from tetherwatch.watch.schedule import problem_of
from tetherwatch.watch.task import Failure, Outcome

News = SessionEvent | Tried


@click.command("read", short_help="Meter captures once and print reading and call.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@with_plan
@click.option(
    "--try",
    "wanted",
    metavar="SETTING=VALUE",
    multiple=True,
    help="What if: iso=800, aperture=f/4, shutter=1/500, light=+1 (stops). Several add up.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON event a line.")
@click.pass_context
def command(
    ctx: click.Context,
    files: tuple[Path, ...],
    plan_name: str,
    ceiling: float | None,
    body: str | None,
    wanted: tuple[str, ...],
    as_json: bool,
) -> None:
    """Meter each of FILES once and print its reading and its call.

    Each file is judged by itself. Exit code 1 if any could not be read.
    """
    shelf = take_stock(body)
    bodies, chosen, tries = shelf.candidates(), choose(plan_name, ceiling, shelf.named), tuple(map(parse_try, wanted))
    plan, problems = chosen.plan, 0
    for problem in shelf.problems:
        for line in _json(problem, problem.path, plan) if as_json else _plain(problem, plan):
            click.echo(line)
    for number, (path, outcome) in enumerate(outcomes(files, plan.aim, plan.step, bodies), start=1):
        for news in _news(path, outcome, RecordedSession(path.parent, chosen, NO_PAST, None, bodies), number, tries):
            problems += isinstance(news, Problem)
            for line in _json(news, path, plan) if as_json else _plain(news, plan):
                click.echo(line)
    ctx.exit(1 if problems else 0)


def _news(
    path: Path, outcome: Outcome, session: RecordedSession, number: int, wanted: tuple[Try, ...]
) -> Iterator[News]:
    if not isinstance(outcome, Failure):
        capture = Capture(path, size=0, mtime_ns=0, arrived_at=0.0)
        read = outcome.metadata, outcome.reading, outcome.thumbnail, outcome.notes
        for news in session.take(Metered(capture, *read, eyes=outcome.eyes)):
            yield replace(news, number=number) if isinstance(news, FrameRecord) else news
        tried = session.tried(wanted) if wanted else None
        if tried is not None:
            yield tried
    if outcome.fault is not None:
        yield problem_of(path, outcome.fault, outcome.detail if isinstance(outcome, Failure) else "")


def _json(news: News, path: Path, plan: Plan) -> Iterator[str]:
    yield json_line(tried_event(path, news, plan.step) if isinstance(news, Tried) else news_event(news, plan.step))


def _plain(news: News, plan: Plan) -> Iterator[str]:
    from tetherwatch.screen.lines import news_line, tried_lines

    if isinstance(news, Tried):
        yield from tried_lines(news, plan.step)
        return
    yield news_line(news)
    if isinstance(news, FrameRecord):
        yield from _figures(news)


def _figures(news: FrameRecord) -> Iterator[str]:
    """What a frame's line has no room for."""
    reading = news.reading
    clipped = " ".join(f"{channel.upper()} {percent:.2f}" for channel, percent in reading.clipped_percent.items())
    light = "unknown" if reading.light_value is None else f"{reading.light_value:.2f}"
    yield (
        f"    clipped {clipped} %  crushed {reading.crushed_percent:.2f} %  "
        f"headroom {reading.headroom_stops:.2f} stops  light value {light}"
    )
    for note in (*news.notes, *reading.notes):
        yield f"    note: {display_name(note, 400)}"
