"""One row for each figure: its value, its spread, its limit and whether that held."""

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from rich.table import Table
from rich.text import Text

DIGITS = {"x": 3, "stop": 4, "ms": 0, "MiB": 0, "%": 1, "/s": 1, "": 0}
"""Decimals shown for each unit; "x" is a ratio, "" a count."""


@dataclass(frozen=True, slots=True)
class Row:
    """One figure. `low` and `high` are the extremes of what `value` sums up; a limit is None where there is none."""

    figure: str
    value: float
    unit: str
    low: float | None = None
    high: float | None = None
    at_most: float | None = None
    at_least: float | None = None

    @property
    def held(self) -> bool | None:
        """Whether the limit was held; None without a limit."""
        if self.at_most is None and self.at_least is None:
            return None
        most = self.value if self.at_most is None else self.at_most
        least = self.value if self.at_least is None else self.at_least
        return least <= self.value <= most


Rows = tuple[Row, ...]


def median_row(figure: str, values: Sequence[float], unit: str, **limits: float) -> Row:
    """The median of repeated measurements, with their range as spread."""
    return Row(figure, statistics.median(values), unit, min(values), max(values), **limits)


def percentile_row(figure: str, values: Sequence[float], unit: str, percent: float, **limits: float) -> Row:
    """A percentile of measurements (nearest rank), with their range as spread."""
    rank = max(0, math.ceil(percent / 100 * len(values)) - 1)
    return Row(figure, sorted(values)[rank], unit, min(values), max(values), **limits)


def table(part: str, rows: Rows) -> Table:
    """The rows of one part for the terminal."""
    made = Table(title=part, title_justify="left", title_style="bold")
    made.add_column("figure")
    for heading in ("value", "spread", "limit"):
        made.add_column(heading, justify="right", no_wrap=True)
    made.add_column("held")
    for row in rows:
        held = {True: Text("yes"), False: Text("MISSED", "bold"), None: Text("")}[row.held]
        made.add_row(Text(row.figure), _value(row), _spread(row), _limit(row), held)
    return made


def as_object(part: str, row: Row) -> Mapping[str, Any]:
    """One row as JSON has it."""
    return {"part": part, **asdict(row), "held": row.held}


def _value(row: Row) -> str:
    return f"{_number(row.value, row.unit)} {row.unit}".strip()


def _spread(row: Row) -> str:
    if row.low is None or row.high is None:
        return ""
    return f"{_number(row.low, row.unit)} .. {_number(row.high, row.unit)}"


def _limit(row: Row) -> str:
    limits = (("<=", row.at_most), (">=", row.at_least))
    return " ".join(f"{sign} {limit:g}" for sign, limit in limits if limit is not None)


def _number(value: float, unit: str) -> str:
    return f"{value:.{DIGITS[unit]}f}"
