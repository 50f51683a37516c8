"""`tetherwatch pin`: choose the frame that others in its setup are to match."""

import time
from pathlib import Path

import click

from tetherwatch.cli.options import complete_session
from tetherwatch.errors import UsageError
from tetherwatch.report.reader import reading
from tetherwatch.report.shelf import session_file
from tetherwatch.session.journal import Journal
from tetherwatch.session.recall import numbered_frame, recall
from tetherwatch.session.records import FrameRecord, Past
from tetherwatch.setups.pins import pin_of
from tetherwatch.text import display_name


@click.command("pin", short_help="Choose the frame that others in its setup are to match.")
@click.argument("session", shell_complete=complete_session)
@click.argument("frame", type=click.IntRange(min=1), required=False)
@click.option("--remove", is_flag=True, help="Take the pin away from the frame's setup.")
def command(session: str, frame: int | None, remove: bool) -> None:
    """Pin FRAME, or the newest frame, of a SESSION: a number or name, its file, or its folder of captures.

    One frame is pinned in each setup; the next start of the watch calls for what matches it. While the watch runs,
    press m on its dashboard instead.
    """
    path = session_file(session)
    with reading(path) as reader:
        folder = reader.record().folder
    journal = Journal.open(path, Path(folder), time.time)
    try:
        past = recall(journal).past
        record = _frame(past, frame, journal)
        setup = record.setup
        if setup is None:
            raise UsageError(f"frame {record.number} is in no setup", "name another one")
        pins = {number: pin for number, pin in past.pins.items() if number != setup}
        if not remove:
            pins[setup] = pin_of(setup, record.number, record.reading, record.metadata.settings)
        journal.set_pins(pins)
    finally:
        journal.close()
    name = next((display_name(each.label) for each in past.setups if each.number == setup), f"setup {setup}")
    click.echo(f"nothing is pinned in {name} now" if remove else f"frame {record.number} is pinned in {name}")


def _frame(past: Past, number: int | None, journal: Journal) -> FrameRecord:
    """A frame by its number, or the newest. Raises UsageError."""
    if not past.frames:
        raise UsageError("there is no frame yet", "take one first")
    found = past.frames[-1] if number is None else numbered_frame(journal, number)
    if found is None:
        raise UsageError(f"there is no frame {number}", f"the session has {past.frame_count}")
    return found
