"""Large type, drawn for this screen on a grid of dots, mostly three wide and always five high."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain

from rich.text import Text

_DRAWN = {
    "0": "### #.# #.# #.# ###",
    "1": ".# ## .# .# .#",
    "2": "### ..# ### #.. ###",
    "3": "### ..# .## ..# ###",
    "4": "#.# #.# ### ..# ..#",
    "5": "### #.. ### ..# ###",
    "6": "### #.. ### #.# ###",
    "7": "### ..# ..# .#. .#.",
    "8": "### #.# ### #.# ###",
    "9": "### #.# ### ..# ###",
    "A": ".#. #.# ### #.# #.#",
    "B": "##. #.# ##. #.# ##.",
    "C": ".## #.. #.. #.. .##",
    "D": "##. #.# #.# #.# ##.",
    "E": "### #.. ##. #.. ###",
    "G": ".## #.. #.# #.# .##",
    "H": "#.# #.# ### #.# #.#",
    "I": "### .#. .#. .#. ###",
    "K": "#.# #.# ##. #.# #.#",
    "L": "#.. #.. #.. #.. ###",
    "M": "#...# ##.## #.#.# #...# #...#",
    "N": "#..# ##.# #.## #..# #..#",
    "O": ".#. #.# #.# #.# .#.",
    "P": "##. #.# ##. #.. #..",
    "R": "##. #.# ##. #.# #.#",
    "S": ".## #.. .#. ..# ##.",
    "T": "### .#. .#. .#. .#.",
    "U": "#.# #.# #.# #.# ###",
    "f": ".## .#. ### .#. .#.",
    "s": "... .## #.. ..# ##.",
    "/": "..# ..# .#. #.. #..",
    ".": ". . . . #",
    "+": "... .#. ### .#. ...",
    "-": "... ... ### ... ...",
    "?": "##. ..# .#. ... .#.",
    "≈": ".#.# #.#. .... .#.# #.#.",
    "→": "..#.. ...#. ##### ...#. ..#..",
    " ": ". . . . .",
}
_SHAPES = {character: drawn.split() for character, drawn in _DRAWN.items()}
_DOT_ROWS = 5


@dataclass(frozen=True, slots=True)
class Type:
    """A size of type: how many cells a dot is wide and high, and the cells between two letters."""

    wide: int
    high: int
    gap: int

    @property
    def rows(self) -> int:
        """Rows that a line of this type takes."""
        return _DOT_ROWS * self.high

    def measure(self, words: str) -> int:
        """Cells that `words` would be wide."""
        return sum(len(_shape(letter)[0]) * self.wide for letter in words) + self.gap * max(len(words) - 1, 0)

    def draw(self, words: str, style: str) -> list[Text]:
        """`words` as `rows` lines. A character that was never drawn shows as a question mark."""
        return [Text(self._row(words, row), style) for row in range(_DOT_ROWS) for _ in range(self.high)]

    def _row(self, words: str, row: int) -> str:
        cells = (_shape(letter)[row].replace("#", "█" * self.wide).replace(".", " " * self.wide) for letter in words)
        return (" " * self.gap).join(cells)


UPRIGHT = Type(wide=1, high=1, gap=1)
BROAD = Type(wide=2, high=1, gap=1)
GIANT = Type(wide=4, high=2, gap=3)
TALL = Type(wide=2, high=2, gap=2)
_LARGEST_FIRST = (GIANT, TALL, BROAD, UPRIGHT)


def _shape(letter: str) -> list[str]:
    return _SHAPES.get(letter, _SHAPES["?"])


def largest(wordings: Iterable[str], width: int, height: int) -> tuple[Type, str] | None:
    """The first of `wordings` (fullest first) that fits in any type, in the largest such type; None if none fits."""
    return next(chain.from_iterable(_fitting(words, width, height) for words in wordings), None)


def _fitting(words: str, width: int, height: int) -> list[tuple[Type, str]]:
    return [(size, words) for size in _LARGEST_FIRST if size.rows <= height and size.measure(words) <= width]
