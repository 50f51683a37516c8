"""`tetherwatch ladder`: measure a body's noise from a test series, and how far its ISO may be raised."""

import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import replace
from datetime import date
from pathlib import Path

import click

from tetherwatch.body.library import body_named, check_name, read_library, save_body
from tetherwatch.body.records import Body
from tetherwatch.cli.options import read_iso
from tetherwatch.errors import FolderError, TetherwatchError, UsageError
from tetherwatch.ladder.guide import GUIDE
from tetherwatch.ladder.records import Ladder, Options, Output
from tetherwatch.ladder.words import found_words
from tetherwatch.text import display_name
from tetherwatch.watch.listing import list_captures

WRONG_USE = 2
_SUB_FOLDERS = 0
_OUTPUT = re.compile(r"(?P<size>[0-9]+(?:\.[0-9]+)?) ?(?P<unit>cm|px)")
_GRADE = click.FloatRange(1, 1000)
_PERCENT = click.FloatRange(0, 100)


def _output(_: click.Context, __: click.Parameter, text: str) -> Output:
    found = _OUTPUT.fullmatch(text.strip().lower())
    if found is None or not float(found["size"]):
        raise click.BadParameter(f"{text!r} is no size; write 42cm for a print or 2048px for the web")
    return Output("print" if found["unit"] == "cm" else "web", float(found["size"]))


@click.command("ladder", short_help="Measure noise from an ISO series: how far may you raise ISO?")
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--guide", is_flag=True, help="Say how to shoot a ladder, and stop.")
@click.option(
    "--grade",
    type=_GRADE,
    default=10.0,
    show_default=True,
    help="Least signal to noise of mid-grey: 10 or 40, or yours.",
)
@click.option(
    "--shadow-grade", metavar="S/N", type=_GRADE, help="The same 3 stops below.  [default: a quarter of --grade]"
)
@click.option(
    "--detail", metavar="PERCENT", type=_PERCENT, default=80.0, show_default=True, help="Least percent of fine detail."
)
@click.option(
    "--denoise", metavar="STOPS", type=click.FloatRange(0, 5), default=0.0, help="Stops that denoising will win back."
)
@click.option(
    "--output", metavar="SIZE", callback=_output, default="42cm", show_default=True, help="Longer side: 42cm or 2048px."
)
@click.option("--accept", metavar="ISO", callback=read_iso, help="Take your own eye's ceiling instead of the grades.")
@click.option("--sheet", type=click.Path(path_type=Path, dir_okay=False), help="Write the page to look at (.html).")
@click.option("--save", metavar="NAME", help="Keep the result as the body profile NAME.")
@click.option("--replace", "replacing", is_flag=True, help="With --save: replace a profile of that name.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON event a line.")
@click.pass_context
def command(
    ctx: click.Context,
    folder: Path | None,
    guide: bool,
    grade: float,
    shadow_grade: float | None,
    detail: float,
    denoise: float,
    output: Output,
    accept: float | None,
    sheet: Path | None,
    save: str | None,
    replacing: bool,
    as_json: bool,
) -> None:
    """Measure the noise ladder in FOLDER: one still scene at ISO after ISO, each with half the time.

    Prints the figures of each rung and the ceiling: the highest ISO that keeps every grade. Grades are signal to noise
    as seen at the output size (ISO 12232: 10 is acceptable, 40 excellent). Exit code 1 if some captures could not be
    read, 2 if the series allows no figures.
    """
    if guide:
        click.echo(GUIDE, nl=False)
        return
    if folder is None:
        raise UsageError("which folder holds the ladder?", "name it, or see 'tetherwatch ladder --guide'")
    _check_wishes(sheet, save, replacing)
    ladder = _measured(folder, Options(output, grade, shadow_grade, detail / 100, denoise, accept))
    for line in _json(ladder) if as_json else _lines(ladder):
        click.echo(line)
    for finding in ladder.refused:
        click.echo(display_name(found_words(finding), 400), err=True)
    if sheet is not None and ladder.rungs:
        click.echo(f"sheet: {display_name(_written(ladder, sheet))}", err=as_json)
    if ladder.refused:
        ctx.exit(WRONG_USE)
    if save is not None:
        click.echo(f"body profile: {display_name(_saved(ladder, save, replacing))}", err=as_json)
    ctx.exit(1 if any(finding.kind in ("unreadable", "damaged") for finding in ladder.all_findings) else 0)


def _check_wishes(sheet: Path | None, save: str | None, replacing: bool) -> None:
    """Refuse before measuring what could not be written after it."""
    from tetherwatch.page.render import check_place

    if sheet is not None:
        check_place(sheet)
    if save is None:
        if replacing:
            raise UsageError("--replace has no effect without --save", "add --save NAME")
        return
    check_name(save)
    if not replacing and any(body.name == save for body in read_library().bodies):
        raise UsageError(f"there is a body profile {save} already", "choose another name, or add --replace")


def _measured(folder: Path, options: Options) -> Ladder:
    from tetherwatch.ladder.measure import measure_ladder

    try:
        listing = list_captures(folder, _SUB_FOLDERS)
    except OSError as error:
        raise FolderError(folder, f"this folder cannot be read ({error.strerror})") from None
    paths = [Path(path) for path, entry in sorted(listing.items()) if entry.kind == "file"]
    if not paths:
        raise UsageError(f"there are no captures in {folder}", "name the folder that holds the ladder's frames")
    with _patience() as progress:
        return measure_ladder(paths, options, progress)


@contextmanager
def _patience() -> Iterator[Callable[[int, int], None]]:
    """A sign of life on a terminal while rungs are measured: to be called with those done and all."""
    from rich.console import Console

    console = Console(stderr=True)
    with console.status("reading the first rung") if console.is_terminal else nullcontext() as status:
        yield lambda done, of: None if status is None else status.update(f"{done} of {of} rungs read")


def _json(ladder: Ladder) -> Iterator[str]:
    from tetherwatch.ladder.events import ladder_events
    from tetherwatch.session.events import json_line

    return map(json_line, ladder_events(ladder))


def _lines(ladder: Ladder) -> Iterator[str]:
    """What a terminal shows of a ladder that has rungs."""
    from rich.console import Console

    from tetherwatch.screen.ladder import ladder_lines
    from tetherwatch.screen.palette import choose

    console = Console(highlight=False)
    for line in ladder_lines(ladder, choose(os.environ), console.width) if ladder.rungs else ():
        with console.capture() as captured:
            console.print(line)
        yield captured.get().rstrip("\n")


def _written(ladder: Ladder, place: Path) -> Path:
    from tetherwatch.ladder.sheet import sheet
    from tetherwatch.page.render import save

    save(place, sheet(ladder))
    return place


def _saved(ladder: Ladder, name: str, replacing: bool) -> Path:
    from tetherwatch.ladder.profile import body_from_ladder

    body = body_from_ladder(ladder, name, date.today())
    return save_body(_with_kept_grey(body) if replacing else body, replacing)


def _with_kept_grey(body: Body) -> Body:
    """The profile with the grey position of the one it replaces, if that is of the same camera."""
    with suppress(TetherwatchError):
        old = body_named(body.name)
        if (old.camera, old.serial) == (body.camera, body.serial):
            return replace(body, grey=old.grey)
    return body
