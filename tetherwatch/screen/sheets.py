"""The sheets that lie over the dashboard for a moment: the keys, and the choice of a plan."""

from collections.abc import Sequence

from rich.text import Text

from tetherwatch.screen.block import Block, block, fold
from tetherwatch.screen.palette import Palette
from tetherwatch.text import display_name

_KEYS = (
    ("space", "pause on this frame; new ones are still read"),
    ("left right", "look back; x: only at odd and clipped ones"),
    ("p   t", "choose another plan; what if a setting moved"),
    ("s a i", "lock shutter, aperture, ISO; again to free it"),
    ("f g", "next face; the frame's card places it"),
    ("d   w", "all about this frame; where the time goes"),
    ("m   u", "pin this frame to match it; name and mend setups"),
    ("h   q", "this sheet; quit, as ctrl+c does"),
)
_AIRY_HEIGHT = 22
_SIGNS = (
    "Offsets: minus is too dark. Moves: plus makes it brighter.",
    "Readings of raws are measured; of other files, estimated.",
)
_CAUTION = (
    "Take care: flash heads hold a charge after they are switched off, lamps get hot, cables trip people; follow the "
    "makers' manuals. Strobing light may trigger seizures in photosensitive people."
)


def help_sheet(palette: Palette, width: int, height: int) -> Block:
    """All keys, how to read the signs, and a word of caution; without blank lines where rows are few."""
    blank = [Text()] if height >= _AIRY_HEIGHT else []
    lines = [Text.assemble((" Keys", "bold"), ("   any key goes back", palette.quiet)), *blank]
    for key, action in _KEYS:
        first, *rest = fold(action, width - 14)
        lines.append(Text.assemble((f" {key:<11} ", "bold"), first))
        lines += [Text(f"{'':13}{line}") for line in rest]
    for sentence, style in (*((sign, palette.quiet) for sign in _SIGNS), (_CAUTION, "none")):
        lines += [*blank, *(Text(f" {line}", style) for line in fold(sentence, width - 2))]
    return block(lines, width, height)


def plan_sheet(names: Sequence[str], chosen: int, palette: Palette, width: int, height: int) -> Block:
    """The plans as a list with a pointer, scrolled so that the chosen one is in sight."""
    room = max(height - 4, 1)
    first = min(max(chosen - room // 2, 0), max(len(names) - room, 0))
    lines = [Text(" Plans", "bold"), Text()]
    for place, name in enumerate(names[first : first + room], start=first):
        here = place == chosen
        lines.append(Text(f" {'>' if here else ' '} {display_name(name)}", "bold reverse" if here else "none"))
    if not names:
        lines.append(Text(" There is no plan to choose."))
    lines = [*lines, Text(), Text(" up, down choose   enter use   escape back", palette.quiet)]
    return block(lines, width, height)
