"""`tetherwatch report`: the record of a session, for the client and the retoucher."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import click

from tetherwatch.cli.options import complete_session
from tetherwatch.report.reader import Reader, reading
from tetherwatch.report.records import SessionRecord
from tetherwatch.report.shelf import in_use, session_file
from tetherwatch.report.sidecar import Fate, write_sidecars
from tetherwatch.report.summary import Summary, count_words, summarise, words
from tetherwatch.report.tables import write_csv, write_json
from tetherwatch.session.places import SUFFIX
from tetherwatch.text import display_name

_FATES: dict[Fate, str] = {
    "written": "written beside the captures",
    "there already": "not written: there is one already, which is left as it is",
    "capture gone": "not written: the capture is not there any more",
    "not writable": "not written: the folder cannot be written to",
}

_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command("report", short_help="Write the record of a session: page, CSV, JSON, sidecars.")
@click.argument("session", shell_complete=complete_session)
@click.option("-o", "--output", type=_FILE, metavar="OUT.html", help="The page.  [default: named like the session]")
@click.option("--csv", "csv_file", type=_FILE, metavar="OUT.csv", help="The table of frames for spreadsheets.")
@click.option("--json", "json_file", type=_FILE, metavar="OUT.json", help="The same for programs, with its columns.")
@click.option(
    "--sidecar",
    is_flag=True,
    help="Write XMP files beside the captures that misfired (rejected) or are clipped (labelled).",
)
@click.pass_context
def command(
    ctx: click.Context,
    session: str,
    output: Path | None,
    csv_file: Path | None,
    json_file: Path | None,
    sidecar: bool,
) -> None:
    """Write the record of SESSION: a session file, a folder of captures (its newest session), or a number or name
    that `tetherwatch sessions list` shows.

    Without options it writes the page, one HTML file that needs no network. In the CSV and JSON, the column add_stops
    is the exposure that evens a frame out in any developer. The session may be under way. Existing sidecars and the
    captures themselves are never touched.
    """
    path = session_file(session)
    with reading(path) as reader:
        record = reader.record()
        summary = summarise(record, in_use(path))
        for sentence in words(summary):
            click.echo(sentence)
        if output is None and not (csv_file or json_file or sidecar):
            output = Path(f"{path.name.removesuffix(SUFFIX)}.html")
        for written in _write(reader, record, summary, output, csv_file, json_file):
            click.echo(f"written: {display_name(written)}")
    fates = _write_sidecars(record) if sidecar else Counter[Fate]()
    ctx.exit(1 if fates["not writable"] else 0)


def _write(
    reader: Reader, record: SessionRecord, summary: Summary, page: Path | None, csv: Path | None, json: Path | None
) -> Iterator[Path]:
    if page is not None:
        from tetherwatch.report.page import write_page

        write_page(page, record, summary, reader.thumbnails([frame.number for frame in record.frames]))
        yield page
    if csv is not None:
        write_csv(csv, record)
        yield csv
    if json is not None:
        write_json(json, record)
        yield json


def _write_sidecars(record: SessionRecord) -> "Counter[Fate]":
    """Write them; tell how many came to be, and name those that did not."""
    fates: Counter[Fate] = Counter()
    for path, fate in write_sidecars(record.frames):
        fates[fate] += 1
        if fate != "written":
            click.echo(f"  {display_name(path)}: {fate}")
    for fate, count in fates.items():
        click.echo(f"{count_words(count, 'sidecar')} {_FATES[fate]}")
    if not fates:
        click.echo("no frame misfired or is clipped: no sidecars to write")
    return fates
