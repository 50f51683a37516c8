"""The offset of the metered area on a scale of stops, with the band inside which the picture is right."""

from rich.text import Text

from tetherwatch.meter.records import Aim, Reading
from tetherwatch.screen.block import Block, block
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import signed

_REACH = 3
"""Stops shown on either side of the aim."""


def offset_panel(reading: Reading, aim: Aim, palette: Palette, width: int, height: int) -> Block:
    """The number, the scale with a bar from the aim to the reading, and the scale's own numbers."""
    style = offset_style(reading.offset_stops, aim, palette)
    scale = Scale(width - 4)
    lines = [_figures(reading, aim, style, palette)]
    lines += [scale.bar(reading.offset_stops, aim.tolerance_stops, style, palette)] * max(height - 2, 1)
    lines.append(Text(f"  {scale.numbers()}", palette.quiet))
    return block(lines, width, height)


def offset_style(offset_stops: float, aim: Aim, palette: Palette) -> str:
    """The style of an offset: right inside the tolerance, else the direction it lies in."""
    if abs(offset_stops) <= aim.tolerance_stops:
        return palette.right
    return palette.darker if offset_stops < 0 else palette.brighter


def _figures(reading: Reading, aim: Aim, style: str, palette: Palette) -> Text:
    if abs(reading.offset_stops) <= aim.tolerance_stops:
        verdict = "right"
    else:
        verdict = "too dark" if reading.offset_stops < 0 else "too bright"
    return Text.assemble(
        " offset ",
        (f"{signed(reading.offset_stops, 2)} stops", f"bold {style}"),
        f" ±{reading.uncertainty_stops:.2f}  {verdict}",
        (f"   tolerance ±{aim.tolerance_stops:.2f}", palette.quiet),
    )


class Scale:
    """A line of `width` cells from -3 to +3 stops; its middle cell is the aim."""

    def __init__(self, width: int) -> None:
        self.half = max((width - 1) // 2, _REACH)

    def column(self, stops: float) -> int:
        """The cell of an offset; beyond the scale the nearest end."""
        reach = min(max(stops, -_REACH), _REACH)
        return self.half + round(reach / _REACH * self.half)

    def bar(self, offset_stops: float, tolerance_stops: float, style: str, palette: Palette) -> Text:
        """The scale: │ whole stops, [ ] the tolerance band, ━ from the aim to ◆ the reading, ◀ ▶ beyond the ends."""
        cells = ["─"] * (2 * self.half + 1)
        for stop in range(-_REACH, _REACH + 1):
            cells[self.column(stop)] = "┼"
        here, aim = self.column(offset_stops), self.half
        for column in range(min(here, aim), max(here, aim) + 1):
            cells[column] = "━"
        cells[max(min(self.column(-tolerance_stops), aim - 1), 0)] = "["
        cells[min(max(self.column(tolerance_stops), aim + 1), 2 * aim)] = "]"
        cells[here] = "◀" if offset_stops < -_REACH else "▶" if offset_stops > _REACH else "◆"
        text = Text("  " + "".join(cells), palette.quiet)
        text.stylize(f"bold {style}", 2 + min(here, aim), 3 + max(here, aim))
        return text

    def numbers(self) -> str:
        """The whole stops under their ticks."""
        cells = [" "] * (2 * self.half + 1)
        for stop in range(-_REACH, _REACH + 1):
            column = self.column(stop)
            cells[column] = str(abs(stop))
            if stop and column:
                cells[column - 1] = "+" if stop > 0 else "-"
        cells[0:2] = ["-", str(_REACH)]
        return "".join(cells)
