"""A session as CSV for spreadsheets and as JSON for programs."""

import csv
import json
from collections.abc import Iterable
from datetime import datetime, timezone
from pathlib import Path
from typing import Any, TextIO

from tetherwatch.report.columns import COLUMNS, Row, Value, rows
from tetherwatch.report.files import writing
from tetherwatch.report.records import SessionRecord
from tetherwatch.session.events import file_name
from tetherwatch.setups.records import Setup
from tetherwatch.text import display_name

_LONGEST_CELL = 32767
"""Characters that spreadsheets keep of a cell."""

_FORMULA_SIGNS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
"""Text that begins so is taken for a formula by spreadsheets; the last four are the wide forms of the first."""


def write_csv(path: Path, record: SessionRecord) -> None:
    """One line a frame under a line of names (RFC 4180). Raises UsageError if it cannot be written.

    UTF-8 with the mark by which spreadsheets know it. Control characters of names are spelled out, and text that a
    spreadsheet would run as a formula begins with an apostrophe; JSON has all names as they are.
    """
    with writing(path, ".csv", encoding="utf-8-sig") as file:
        table = csv.writer(file)
        table.writerow(column.name for column in COLUMNS)
        table.writerows([_cell(column.value(row)) for column in COLUMNS] for row in rows(record))


def write_json(path: Path, record: SessionRecord) -> None:
    """One object: the session, its columns with what they mean, setups, frames, problems. Raises UsageError."""
    with writing(path, ".json", encoding="ascii") as file:
        _write_object(file, _parts(record))


def _cell(value: Value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, str):
        return "" if value is None else f"{value}"
    text = display_name(value, _LONGEST_CELL - 1)
    return f"'{text}" if text.lstrip().startswith(_FORMULA_SIGNS) else text


def _write_object(file: TextIO, parts: dict[str, Any]) -> None:
    """Like json.dump, with one line for each entry of a list."""
    written = ",\n".join(f"{json.dumps(name)}: {_json(part)}" for name, part in parts.items())
    file.write(f"{{{written}}}\n")


def _json(part: Any) -> str:
    if not isinstance(part, list) or not part:
        return json.dumps(part, allow_nan=False)
    return "[\n" + ",\n".join(json.dumps(each, allow_nan=False) for each in part) + "\n]"


def _parts(record: SessionRecord) -> dict[str, Any]:
    began = datetime.fromtimestamp(record.began_at, timezone.utc)
    return {
        "session": {"file": str(record.path), "folder": str(record.folder), "began_at": began.isoformat()},
        "columns": {column.name: column.meaning for column in COLUMNS},
        "setups": [_setup(setup) for setup in record.setups],
        "frames": _frames(rows(record)),
        "problems": [
            {"file": file_name(each.path, record.folder), "problem": each.problem, "advice": each.advice}
            for each in record.problems
        ],
    }


def _frames(table: Iterable[Row]) -> list[dict[str, Value]]:
    return [{column.name: column.value(row) for column in COLUMNS} for row in table]


def _setup(setup: Setup) -> dict[str, Value]:
    light = setup.light_value
    return {
        "number": setup.number,
        "name": setup.name,
        "first_frame": setup.first_frame,
        "last_frame": setup.last_frame,
        "frames": setup.frame_count,
        "light_value": None if light is None else round(light.value, 4),
        "light_uncertainty": None if light is None else round(light.uncertainty, 4),
        "drift_stops_per_10_minutes": None if setup.drift is None else round(setup.drift.slope, 4),
    }
