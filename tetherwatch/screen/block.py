"""Rectangles of text: what every panel returns and what the layout puts together."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text


@dataclass(frozen=True, slots=True)
class Block:
    """A rich renderable of lines that are each exactly `width` cells wide."""

    lines: tuple[Text, ...]
    width: int

    @property
    def height(self) -> int:
        """Number of lines."""
        return len(self.lines)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield from self.lines

    def beside(self, other: "Block", gap: int = 2) -> "Block":
        """This block with one of the same height to its right."""
        pairs = zip(self.lines, other.lines, strict=True)
        return Block(
            tuple(Text.assemble(a, " " * gap, b, no_wrap=True) for a, b in pairs), self.width + gap + other.width
        )


def fit(line: Text, width: int) -> Text:
    """A copy of `line` cut or padded to exactly `width` cells; a cut shows as an ellipsis."""
    fitted = Text.assemble(line, no_wrap=True)
    fitted.truncate(width, overflow="ellipsis", pad=True)
    return fitted


def block(lines: Iterable[Text], width: int, height: int) -> Block:
    """`lines` cut or padded to a rectangle."""
    fitted = [fit(line, width) for line in lines][:height]
    fitted += [fit(Text(), width)] * (height - len(fitted))
    return Block(tuple(fitted), width)


def stack(blocks: Iterable[Block], width: int) -> Block:
    """Blocks of one width below each other."""
    return Block(tuple(line for part in blocks for line in part.lines), width)


def spread(left: Text, right: Text, width: int) -> Text:
    """One line with `right` at its end and `left` cut to what remains."""
    room = width - right.cell_len - 2
    if room < 1:
        return fit(left, width)
    return fit(Text.assemble(fit(left, room), "  ", right), width)


def fold(sentence: str, width: int) -> Iterator[str]:
    """`sentence` broken between words into lines of at most `width` cells; longer words are left whole."""
    line = ""
    for word in sentence.split():
        longer = f"{line} {word}" if line else word
        if line and cell_len(longer) > width:
            yield line
            longer = word
        line = longer
    if line:
        yield line


def rule(title: str, width: int, style: str) -> Block:
    """A thin line with a title, above a panel."""
    return block([Text(f"── {title} ".ljust(width, "─"), style)], width, 1)
