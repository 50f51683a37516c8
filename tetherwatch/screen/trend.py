"""The offsets of the last frames, each drawn with the sign of its call."""

from collections.abc import Sequence

from rich.text import Text

from tetherwatch.meter.records import Aim
from tetherwatch.screen.block import Block, block
from tetherwatch.screen.offset import offset_style
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import GLYPHS, signed
from tetherwatch.session.records import FrameRecord

_REACH = 2.0
"""Stops shown on either side of the aim; what lies beyond sits on the edge."""

_LABEL_CELLS = 6
_FRAME_CELLS = 2
_LEGEND = " ".join(f"{glyph} {kind}" for kind, glyph in GLYPHS.items())
_SHORT_LEGEND = f"{' '.join(GLYPHS.values())} as in the call"


def trend_panel(frames: Sequence[FrameRecord], aim: Aim, palette: Palette, width: int, height: int) -> Block:
    """A chart of the newest frames, newest right, with the tolerance band dotted, then the legend of the signs."""
    rows = max((height - 2) // 2 * 2 + 1, 1)  # odd, so that one row is the aim itself
    columns = max((width - _LABEL_CELLS) // _FRAME_CELLS, 1)
    shown = frames[-columns:]
    lines = [_row(row, rows, shown, aim, palette, columns) for row in range(rows)]
    legend = _LEGEND if len(_LEGEND) < width else _SHORT_LEGEND
    return block([*lines, Text(f" {legend}", palette.quiet)], width, height)


def _row(row: int, rows: int, frames: Sequence[FrameRecord], aim: Aim, palette: Palette, columns: int) -> Text:
    stops = _stops_of(row, rows)
    spacing = _REACH / max(rows - 1, 1)
    in_band = abs(stops) <= max(aim.tolerance_stops, spacing)
    line = Text(f"{signed(stops) if row in (0, rows // 2, rows - 1) else '':>{_LABEL_CELLS - 1}} ", palette.quiet)
    for frame in frames:
        offset = frame.reading.offset_stops
        if row == _row_of(offset, rows):
            line.append(GLYPHS[frame.call.kind], f"bold {offset_style(offset, aim, palette)}")
        else:
            line.append("·" if in_band else " ", palette.quiet)
        line.append(" ")
    line.append(("· " if in_band else "  ") * (columns - len(frames)), palette.quiet)
    return line


def _stops_of(row: int, rows: int) -> float:
    return _REACH - 2 * _REACH * row / (rows - 1) if rows > 1 else 0.0


def _row_of(offset_stops: float, rows: int) -> int:
    reach = min(max(offset_stops, -_REACH), _REACH)
    return round((_REACH - reach) / (2 * _REACH) * (rows - 1))
