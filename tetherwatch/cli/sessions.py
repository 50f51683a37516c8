"""`tetherwatch sessions`: list, show, export and prune what was recorded."""

import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import click

from tetherwatch.cli.options import complete_session
from tetherwatch.errors import SessionBusyError, UsageError
from tetherwatch.report.reader import Reader, reading
from tetherwatch.report.shelf import Kept, copy, in_use, kept, kept_one, remove, session_file
from tetherwatch.report.summary import count_words, summarise, words
from tetherwatch.session.places import sessions_folder
from tetherwatch.text import display_name

_DAY_S = 24 * 3600.0


@click.group("sessions", short_help="List, show, export and prune recorded sessions.")
def command() -> None:
    """List, show, export and prune recorded sessions. Those kept with --session elsewhere are not listed."""


@command.command("list")
def list_sessions() -> None:
    """Name the recorded sessions, the newest first; their numbers stand for them in other commands."""
    found = kept()
    for each in found:
        click.echo(f"{each.number:>3}  {display_name(each.name)}  {_size(each.size):>8}  {_state(each.path)}")
    click.echo(f"{count_words(len(found), 'session')} in {display_name(sessions_folder())}")


@command.command("show")
@click.argument("session", shell_complete=complete_session)
def show(session: str) -> None:
    """Tell a SESSION in words."""
    path = session_file(session)
    with reading(path) as reader:
        record = reader.record()
    plans = ", ".join(dict.fromkeys(display_name(plan.name) for plan in record.plans))
    click.echo(f"{display_name(path)}: {_size(path.stat().st_size)}, {_state(path)}")
    click.echo(f"captures in {display_name(record.folder)}, begun on {_date(record.began_at)}, plan: {plans or 'none'}")
    for sentence in words(summarise(record, in_use(path))):
        click.echo(sentence)


@command.command("export")
@click.argument("session", shell_complete=complete_session)
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
def export(session: str, file: Path) -> None:
    """Copy a SESSION with all that it holds into a new FILE, also while it is being recorded.

    `tetherwatch report FILE` reads it on any machine. The captures themselves are not in it.
    """
    size = copy(session_file(session), file)
    click.echo(f"written: {display_name(file)} ({_size(size)})")


@command.command("prune")
@click.argument("sessions", nargs=-1, shell_complete=complete_session)
@click.option("--older", type=click.IntRange(min=0), metavar="DAYS", help="Those last written to so many days ago.")
@click.option("--yes", is_flag=True, help="Do not ask.")
def prune(sessions: tuple[str, ...], older: int | None, yes: bool) -> None:
    """Remove the SESSIONS named by number or name, or all --older than some DAYS. What they say is lost then.

    One that is being recorded is never removed. Captures and reports are not touched.
    """
    chosen = _chosen(sessions, older)
    idle = [each for each in chosen if not in_use(each.path)]
    for each in chosen:
        state = "" if each in idle else ", being recorded: kept"
        click.echo(f"{display_name(each.name)}  {_size(each.size)}{state}")
    if not idle:
        click.echo("nothing to remove")
        return
    total = f"{count_words(len(idle), 'session')}, {_size(sum(each.size for each in idle))}"
    if not yes and not click.confirm(f"remove {total} for good?"):
        click.echo("nothing was removed")
        return
    removed = [each for each in idle if _remove(each)]
    click.echo(f"removed: {count_words(len(removed), 'session')}, {_size(sum(each.size for each in removed))}")


def _chosen(words: tuple[str, ...], older: int | None) -> list[Kept]:
    """What is to be removed, each once, the newest first."""
    if bool(words) == (older is not None):
        raise UsageError("say which sessions to remove", "name them, or give --older DAYS")
    if older is not None:
        latest = time.time() - older * _DAY_S
        return [each for each in kept() if each.written_at < latest]
    named = {word: kept_one(word) for word in words}
    unknown = [word for word, each in named.items() if each is None]
    if unknown:
        raise UsageError(f"there is no session {', '.join(unknown)}", "tetherwatch sessions list names those there are")
    return sorted({each for each in named.values() if each is not None}, key=lambda each: each.number)


def _remove(each: Kept) -> bool:
    """Remove a session; one that is being recorded since it was listed is kept."""
    try:
        remove(each.path)
    except SessionBusyError:
        click.echo(f"{display_name(each.name)}  being recorded: kept")
        return False
    return True


def _state(path: Path) -> str:
    """What a session is and what there is in it, or why it cannot be read."""
    try:
        with reading(path) as reader:
            return ", ".join(_facts(reader, path))
    except UsageError as error:
        return display_name(error.problem)


def _facts(reader: Reader, path: Path) -> Iterator[str]:
    yield count_words(reader.frame_count(), "frame")
    yield f"begun on {_date(reader.began_at)}"
    if not reader.ended():
        yield "being recorded" if in_use(path) else "ended unexpectedly"
    yield display_name(reader.folder)


def _date(seconds: float) -> str:
    return f"{datetime.fromtimestamp(seconds):%Y-%m-%d %H:%M}"


def _size(size: int) -> str:
    """Bytes in the largest fitting unit."""
    for unit, amount in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if size >= amount:
            return f"{size / amount:.1f} {unit}"
    return f"{size} bytes"
