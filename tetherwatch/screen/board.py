"""The widget that shows one block of text lines; only lines that changed are sent to the terminal."""

from collections.abc import Callable

from rich.text import Text
from textual.events import Resize
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from tetherwatch.screen.block import Block

Painter = Callable[[int, int], Block]


class Board(Widget):
    """Shows the block that `paint(width, height)` returns; only lines that changed are sent to the terminal."""

    DEFAULT_CSS = "Board { width: 1fr; height: 1fr; background: ansi_default; color: ansi_default; }"

    def __init__(self, paint: Painter) -> None:
        super().__init__()
        self._paint = paint
        self._lines: tuple[Text, ...] = ()

    @property
    def plain(self) -> str:
        """What is shown, without styles."""
        return "\n".join(line.plain for line in self._lines)

    def repaint(self) -> None:
        """Draw again."""
        width, height = self.size
        if not (width and height):
            return
        before, self._lines = self._lines, self._paint(width, height).lines
        if len(before) != len(self._lines):
            self.refresh()
            return
        changed = [y for y, pair in enumerate(zip(before, self._lines, strict=True)) if not _alike(*pair)]
        if changed:
            self.refresh(*(Region(0, y, width, 1) for y in changed))

    def on_resize(self, _: Resize) -> None:
        self._lines = ()
        self.repaint()

    def render_line(self, y: int) -> Strip:
        """One line as textual wants it."""
        if y >= len(self._lines):
            return Strip.blank(self.size.width)
        return Strip(list(self._lines[y].render(self.app.console)), self.size.width)


def _alike(a: Text, b: Text) -> bool:
    return a.plain == b.plain and a.style == b.style and a.spans == b.spans
