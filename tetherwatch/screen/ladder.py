"""A noise ladder in the terminal: what it is, the table, what was found, the ceiling."""

from collections.abc import Iterator
from itertools import zip_longest

from rich.box import HORIZONTALS
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from tetherwatch.ladder.columns import COLUMNS, Column, is_above, iso_label, number
from tetherwatch.ladder.records import Ceiling, Finding, Ladder, Rung
from tetherwatch.ladder.words import found_words, frames_words, head_words, interval_words, rules, sentence
from tetherwatch.screen.palette import Palette
from tetherwatch.text import display_name

_WIDE = 190
"""Terminal columns from which every column of the table and the uncertainties fit."""

_LONGEST_REASON = 400


def ladder_lines(ladder: Ladder, palette: Palette, width: int) -> Iterator[RenderableType]:
    """A ladder that has rungs, from top to bottom."""
    yield Text(display_name(head_words(ladder)), style="bold")
    yield Text(frames_words(ladder), style=palette.quiet)
    yield _table(ladder, palette, width >= _WIDE)
    yield from (_found(finding, palette) for finding in (*ladder.warnings, *_rungs_own(ladder)))
    for rule in rules(ladder):
        yield Text(rule, style=palette.quiet)
    if ladder.ceiling is not None:
        yield Text()
        yield _ceiling(ladder.ceiling, palette)


def _rungs_own(ladder: Ladder) -> Iterator[Finding]:
    return (finding for rung in ladder.rungs for finding in rung.warnings)


def _found(finding: Finding, palette: Palette) -> Text:
    line = Text(f"! {finding.kind}  ", style=palette.attention)
    return line.append(display_name(found_words(finding), _LONGEST_REASON), style="default")


def _table(ladder: Ladder, palette: Palette, wide: bool) -> Table:
    columns = [column for column in COLUMNS if wide or column.brief]
    table = Table(
        box=HORIZONTALS, padding=(0, 1, 0, 0), pad_edge=False, border_style=palette.quiet, header_style="bold"
    )
    table.add_column("ISO", justify="right", no_wrap=True)
    for column in columns:
        table.add_column(f"{column.heading}\n{column.unit}", justify="right", no_wrap=True)
    for rung, above_it in zip_longest(ladder.rungs, ladder.rungs[1:]):
        cells = [_cell(column, rung, palette, wide) for column in columns]
        above = is_above(rung, ladder.ceiling)
        last = not above and above_it is not None and is_above(above_it, ladder.ceiling)
        table.add_row(iso_label(rung.iso), *cells, style=palette.quiet if above else "", end_section=last)
    return table


def _cell(column: Column, rung: Rung, palette: Palette, wide: bool) -> Text:
    cell = column.cell(rung)
    text = Text(cell.text)
    return text.append(cell.spread, style=palette.quiet) if wide else text


def _ceiling(ceiling: Ceiling, palette: Palette) -> Text:
    line = Text(f"CEILING ISO {iso_label(ceiling.iso)}", style=f"bold {palette.brighter}")
    if ceiling.interval[0] != ceiling.interval[1]:
        line.append(f" ({interval_words(ceiling)})", style="default")
    line.append(f"  S/N seen: grey {number(ceiling.snr_grey_viewing)}, ", style="not bold default")
    line.append(f"shadows {number(ceiling.snr_shadow_viewing)}\n", style="not bold default")
    return line.append(display_name(sentence(ceiling.reason), _LONGEST_REASON), style="not bold default")
