"""The tones of the whole picture, channel by channel, in stops below saturation."""

import math
from collections.abc import Sequence
from itertools import accumulate, pairwise

from rich.text import Text

from tetherwatch.meter.records import STOPS_SHOWN, Reading, ToneHistogram
from tetherwatch.screen.block import Block, block
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import CHANNEL_LETTERS, percent

_EIGHTHS = " ▁▂▃▄▅▆▇█"
_LABEL_CELLS = 3
_CLIPPED_CELLS = 20
_FIGURE_CELLS = 19
_SECOND_COLUMN_WIDTH = 72
_AXIS_NAME = "│ below saturation"


def tones_panel(reading: Reading, palette: Palette, width: int, height: int) -> Block:
    """A row or more for each channel with its clipped share, then the axis in stops. Dark is left, saturation right.

    The other figures stand where rows are free of a clipped share, or beside it where the panel is wide enough.
    """
    rows = max((height - 1) // max(len(reading.tones), 1), 1)
    beside = rows == 1 and width >= _SECOND_COLUMN_WIDTH
    graph_width = width - _LABEL_CELLS - _CLIPPED_CELLS - _FIGURE_CELLS * beside
    figures = iter(_figures(reading))
    lines: list[Text] = []
    for tones in reading.tones:
        *upper, lowest = _graph(tones, palette, graph_width, rows)
        lines += [line.append(f"│{next(figures, '')}") for line in upper]
        lowest.append(f"│{_clipped(tones, reading):<{_CLIPPED_CELLS - 1}}{next(figures, '') if beside else ''}")
        lines.append(lowest)
    axis = Text(f"{'':{_LABEL_CELLS}}{_axis(graph_width)}{_AXIS_NAME}", palette.quiet)
    return block([*lines[: height - 1], axis], width, height)


def _graph(tones: ToneHistogram, palette: Palette, width: int, rows: int) -> list[Text]:
    style = palette.of_channel(tones.channel)
    bars = _bars(tones, width, rows * (len(_EIGHTHS) - 1))
    labels = [""] * (rows - 1) + [f" {CHANNEL_LETTERS[tones.channel]}"]
    slices = [_slice(bars, row) for row in reversed(range(rows))]
    return [
        Text.assemble((f"{label:<{_LABEL_CELLS}}", f"bold {style}"), (cells, style))
        for label, cells in zip(labels, slices, strict=True)
    ]


def _clipped(tones: ToneHistogram, reading: Reading) -> str:
    share = reading.clipped_percent.get(tones.channel)
    return f"{'unknown' if share is None else percent(share):>10} clipped"


def _bars(tones: ToneHistogram, width: int, levels: int) -> list[int]:
    """Heights of `width` columns, 0 to `levels`, on a square-root scale so that a small share still shows.

    A bin that lies across two columns is shared between them.
    """
    below = list(accumulate(tones.counts[::-1], initial=0))
    shares = [right - left for left, right in pairwise(_up_to(below, column / width) for column in range(width + 1))]
    top = max(shares, default=0) or 1
    return [max(round((share / top) ** 0.5 * levels), 1) if share > 0 else 0 for share in shares]


def _up_to(below: Sequence[int], part: float) -> float:
    """Pixels in the first `part` (0 to 1) of the bins, from their running sums."""
    place = part * (len(below) - 1)
    whole = min(int(place), len(below) - 2)
    return below[whole] + (place - whole) * (below[whole + 1] - below[whole])


def _slice(bars: list[int], row: int) -> str:
    full = len(_EIGHTHS) - 1
    return "".join(_EIGHTHS[min(max(bar - row * full, 0), full)] for bar in bars)


def _axis(width: int) -> str:
    """Numbers of stops below saturation, ending in 0 under the last cell."""
    cells = [" "] * width
    for stop in range(0, STOPS_SHOWN, math.ceil(4 * STOPS_SHOWN / width)):
        mark = f"-{stop}" if stop else "0"
        end = width - round(stop * width / STOPS_SHOWN)
        if end >= len(mark):
            cells[end - len(mark) : end] = mark
    return "".join(cells)


def _figures(reading: Reading) -> tuple[str, ...]:
    """What does not belong to one channel."""
    headroom = f"{reading.headroom_stops:.1f} stops" if reading.headroom_stops > 0 else "none"
    return (
        f"{percent(reading.crushed_percent):>10} crushed",
        f"{headroom:>10} headroom",
        f"{percent(reading.area_clipped_percent):>10} in area",
    )
