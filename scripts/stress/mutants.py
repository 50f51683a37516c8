"""Captures with damage of known kinds, the same ones for the same seed."""

import random
import struct
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

EXTREMES = (0, 1, 2, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x10000, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF)
_SUB_DIRECTORIES = (330, 34665, 34853)
_START_OF_SCAN = 0xDA


@dataclass(frozen=True, slots=True)
class Original:
    """A sound capture: what to call it, the ending of its name, its content."""

    name: str
    ending: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Mutant:
    """A damaged capture. `kind` is what was done to it."""

    original: Original
    kind: str
    content: bytes


Damage = Callable[[random.Random, bytes, bytes], bytes]


def mutants(originals: Sequence[Original], count: int, seed: int) -> Iterator[Mutant]:
    """`count` damaged captures: every kind of damage to every original in turn."""
    dice = random.Random(seed)
    turns = list(product(originals, DAMAGES.items()))
    for number in range(count):
        original, (kind, damage) = turns[number % len(turns)]
        other = dice.choice(originals).content
        yield Mutant(original, kind, damage(dice, original.content, other))


def _flip(dice: random.Random, content: bytes, _: bytes) -> bytes:
    """Some bits anywhere."""
    return _with_flips(dice, content, len(content))


def _flip_head(dice: random.Random, content: bytes, _: bytes) -> bytes:
    """Some bits in the first two thousand bytes, where the tables are."""
    return _with_flips(dice, content, min(len(content), 2048))


def _with_flips(dice: random.Random, content: bytes, end: int) -> bytes:
    made = bytearray(content)
    for _ in range(dice.choice((1, 2, 8, 64))):
        made[dice.randrange(end)] ^= 1 << dice.randrange(8)
    return bytes(made)


def _cut(dice: random.Random, content: bytes, _: bytes) -> bytes:
    """Cut short, anywhere or inside the tables."""
    return content[: dice.randrange(1, dice.choice((len(content), 512)))]


def _splice(dice: random.Random, content: bytes, other: bytes) -> bytes:
    """The beginning of one capture and the end of another."""
    return content[: dice.randrange(1, len(content))] + other[dice.randrange(len(other)) :]


def _blank(dice: random.Random, content: bytes, _: bytes) -> bytes:
    """A stretch of zeros, as an unfinished copy has."""
    begin = dice.randrange(len(content))
    length = min(dice.randrange(1, len(content)), len(content) - begin)
    return content[:begin] + bytes(length) + content[begin + length :]


def _forge(dice: random.Random, content: bytes, _: bytes) -> bytes:
    """One to three fields of the tables set to an extreme."""
    made = bytearray(content)
    for _ in range(dice.randrange(1, 4)):
        (_forge_segment if content.startswith(b"\xff\xd8") else _forge_entry)(dice, made)
    return bytes(made)


DAMAGES: Mapping[str, Damage] = {
    "bits flipped": _flip,
    "bits flipped in the tables": _flip_head,
    "cut short": _cut,
    "spliced": _splice,
    "blanked": _blank,
    "forged tables": _forge,
}


def _forge_entry(dice: random.Random, made: bytearray) -> None:
    """Change the tag, type, count or value of an entry of a TIFF directory."""
    order = "<" if made.startswith(b"II") else ">"
    entries = _entries(bytes(made), order)
    if entries:
        at = dice.choice(entries)
        shift, form = dice.choice(((0, "H"), (2, "H"), (4, "I"), (8, "I")))
        extreme = dice.choice((*EXTREMES, len(made), len(made) - 1))
        struct.pack_into(order + form, made, at + shift, extreme & (0xFFFF if form == "H" else 0xFFFFFFFF))


def _entries(content: bytes, order: str) -> list[int]:
    """Where the entries of all directories are."""
    waiting, found = [struct.unpack_from(order + "I", content, 4)[0]], []
    entry = struct.Struct(order + "HHII")
    while waiting:
        at = waiting.pop()
        if not 0 < at <= len(content) - 2 or len(found) > 1000:
            continue
        (count,) = struct.unpack_from(order + "H", content, at)
        for place in range(at + 2, min(at + 2 + 12 * count, len(content) - 12), 12):
            found.append(place)
            tag, _, values, value = entry.unpack_from(content, place)
            if tag in _SUB_DIRECTORIES and values == 1:
                waiting.append(value)
    return found


def _forge_segment(dice: random.Random, made: bytearray) -> None:
    """Change the length of a JPEG segment or two bytes inside it."""
    segments = _segments(bytes(made))
    if segments:
        at, length = dice.choice(segments)
        place = at + 2 if dice.random() < 0.3 else at + 4 + dice.randrange(max(1, length - 3))
        if place + 2 <= len(made):
            struct.pack_into(">H", made, place, dice.choice(EXTREMES) & 0xFFFF)


def _segments(content: bytes) -> list[tuple[int, int]]:
    """Where the segments before the picture data begin, and their lengths."""
    at, found = 2, []
    while at + 4 <= len(content) and content[at] == 0xFF:
        (length,) = struct.unpack_from(">H", content, at + 2)
        found.append((at, length))
        if content[at + 1] == _START_OF_SCAN:
            break
        at += 2 + length
    return found
