"""The capture as a small picture of half blocks, its clipped parts and the metered area marked by signs."""

from functools import lru_cache

from rich.text import Text

from tetherwatch.meter.records import Box, Thumbnail
from tetherwatch.screen.block import Block, block
from tetherwatch.screen.palette import Palette

CLIPPED_SIGN = "╳"
_SHADES = " ░▒▓█"
_CLIPPED_STYLE = "bold #000000 on #ffffff"
_LEGEND = f" {CLIPPED_SIGN} clipped   ┌┐ metered area"


@lru_cache(maxsize=4)
def picture_panel(thumbnail: Thumbnail, palette: Palette, width: int, height: int) -> Block:
    """The picture as large as fits, then the legend of its signs.

    Kept, because it takes most of the drawing, and the screen is drawn every second for the ages on it.
    """
    if not (thumbnail.width > 0 and thumbnail.height > 0):
        return block([Text(" no picture", palette.quiet)], width, height)
    columns, rows = _grid(thumbnail, width - 1, height - 1)
    raster = Raster(thumbnail, columns, rows)
    lines = [Text.assemble(" ", *(raster.cell(x, y, palette) for x in range(columns))) for y in range(rows)]
    return block([*lines, Text(_LEGEND, palette.quiet)], width, height)


def _grid(thumbnail: Thumbnail, width: int, height: int) -> tuple[int, int]:
    """Columns and rows of cells that keep the picture's shape; a cell is about twice as high as wide."""
    scale = min(width / thumbnail.width, 2 * height / thumbnail.height)
    return max(int(thumbnail.width * scale), 1), max(int(thumbnail.height * scale / 2), 1)


class Raster:
    """A thumbnail cut into cells of two dots, one above the other."""

    def __init__(self, thumbnail: Thumbnail, columns: int, rows: int) -> None:
        self._picture = thumbnail
        self._xs = [x * thumbnail.width // columns for x in range(columns + 1)]
        self._ys = [y * thumbnail.height // (2 * rows) for y in range(2 * rows + 1)]
        self._outline = _outline(thumbnail.metered, columns, rows)
        self._ink = self._contrasting()

    def cell(self, x: int, y: int, palette: Palette) -> tuple[str, str]:
        """Sign and style of a cell: clipped before outline before picture."""
        upper, lower = self._colour(x, 2 * y), self._colour(x, 2 * y + 1)
        if self._clipped(x, y):
            return CLIPPED_SIGN, _CLIPPED_STYLE if palette.colour else "bold"
        if (x, y) in self._outline:
            return self._outline[x, y], f"bold {self._ink} on {_hex(upper)}" if palette.colour else "bold"
        if palette.colour:
            return "▀", f"{_hex(upper)} on {_hex(lower)}"
        return _SHADES[(sum(upper) + sum(lower)) * (len(_SHADES) - 1) // (6 * 255)], "none"

    def _colour(self, x: int, y: int) -> bytes:
        place = 3 * (self._ys[y] * self._picture.width + self._xs[x])
        return self._picture.rgb[place : place + 3]

    def _contrasting(self) -> str:
        """Black or white for the whole outline, whichever stands out from the picture beneath it."""
        beneath = [sum(self._colour(x, 2 * y)) for x, y in self._outline]
        return "#000000" if sum(beneath) > 3 * 110 * len(beneath) else "#ffffff"

    def _clipped(self, x: int, y: int) -> bool:
        left, right = self._xs[x], max(self._xs[x + 1], self._xs[x] + 1)
        top, bottom = self._ys[2 * y], max(self._ys[2 * y + 2], self._ys[2 * y] + 1)
        starts = (row * self._picture.width for row in range(top, bottom))
        return any(1 in self._picture.clipped[start + left : start + right] for start in starts)


def _outline(box: Box, columns: int, rows: int) -> dict[tuple[int, int], str]:
    """The signs of a rectangle's edge by cell. Empty when it is the whole picture, which needs no outline."""
    if (box.left, box.top, box.right, box.bottom) == (0, 0, 1, 1):
        return {}
    left, right = _within(box.left, columns), max(_within(box.right, columns, last=True), _within(box.left, columns))
    top, bottom = _within(box.top, rows), max(_within(box.bottom, rows, last=True), _within(box.top, rows))
    signs = {(x, y): "─" for x in range(left, right + 1) for y in (top, bottom)}
    signs |= {(x, y): "│" for x in (left, right) for y in range(top, bottom + 1)}
    return signs | {(left, top): "┌", (right, top): "┐", (left, bottom): "└", (right, bottom): "┘"}


def _within(part: float, cells: int, last: bool = False) -> int:
    return min(max(round(part * cells) - last, 0), cells - 1)


def _hex(colour: bytes) -> str:
    return f"#{colour.hex()}"
