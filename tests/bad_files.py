"""Captures as they should not be, each a real file."""

import os
import random
from collections.abc import Callable
from pathlib import Path

from PIL import Image

HOSTILE_NAME = "bad\x1b[31m[red]\n[b]🎞.dng"


def _cut(share: float, kind: str) -> Callable[[Path, Path], None]:
    def make(path: Path, shelf: Path) -> None:
        data = (shelf / kind).read_bytes()
        path.write_bytes(data[: int(len(data) * share)])

    return make


def _zero_byte(path: Path, _: Path) -> None:
    path.write_bytes(b"")


def _random_bytes(path: Path, _: Path) -> None:
    path.write_bytes(random.Random(7).randbytes(200_000))


def _text(path: Path, _: Path) -> None:
    path.write_text("Dear assistant, this is a shopping list.\n" * 50)


def _one_pixel(path: Path, _: Path) -> None:
    Image.new("RGB", (1, 1), (118, 118, 118)).save(path)


def _folder(path: Path, _: Path) -> None:
    path.mkdir()


def _dangling_link(path: Path, _: Path) -> None:
    path.symlink_to(path.with_name("nowhere.dng"))


def _unreadable(path: Path, shelf: Path) -> None:
    path.write_bytes((shelf / "plain.DNG").read_bytes())
    path.chmod(0)


def _fifo(path: Path, _: Path) -> None:
    os.mkfifo(path)


BAD: dict[str, tuple[str, Callable[[Path, Path], None]]] = {
    "zero byte": ("zero.dng", _zero_byte),
    "random bytes": ("random.dng", _random_bytes),
    "text named as a picture": ("list.jpg", _text),
    "one pixel": ("dot.jpg", _one_pixel),
    "a folder": ("folder.dng", _folder),
    "a dangling link": ("link.dng", _dangling_link),
    "a pipe": ("pipe.dng", _fifo),
    "a hostile name": (HOSTILE_NAME, _random_bytes),
    **{
        f"{kind} cut at {share:.0%}": (f"cut-{share:.0%}-{kind}", _cut(share, kind))
        for kind in ("plain.DNG", "packed.DNG", "picture.JPG")
        for share in (0.1, 0.5, 0.99)
    },
}
"""What is wrong, the name it lies under, and how to make it from the good captures on the shelf."""

NEEDS_LINKS = ("a dangling link", "a pipe", "a hostile name")
"""Cases that Windows cannot hold."""


def unreadable(path: Path, shelf: Path) -> None:
    """A good capture that nobody may read (root may, though)."""
    _unreadable(path, shelf)
