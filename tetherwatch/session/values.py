"""How paths and pictures are written into a session, and read back."""

import os
import zlib
from pathlib import Path, PurePosixPath

from tetherwatch.meter.records import Box, Thumbnail

Text = str | bytes
"""Text as it is stored: bytes where a name is not text in the file system's encoding."""


def stored_text(text: str) -> Text:
    """Text from outside, which may hold bytes that are no text."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        try:
            return os.fsencode(text)
        except UnicodeEncodeError:  # halves of characters, which metadata may hold and names on this system cannot
            return text.encode("utf-8", "surrogatepass")
    return text


def stored_path(path: Path, folder: Path) -> Text:
    """A path, relative to `folder` if it lies there."""
    return stored_text(path.relative_to(folder).as_posix() if path.is_relative_to(folder) else str(path))


def path_of(stored: Text, folder: Path) -> Path:
    """The path that was stored."""
    return folder / PurePosixPath(os.fsdecode(stored))


def name_of(stored: Text, folder: Path) -> str:
    """The same path in plain text, which takes a tenth of the time: a session may have thousands."""
    return os.path.join(*folder.parts, os.fsdecode(stored).replace("/", os.sep))  # noqa: PTH118


def stored_pixels(thumbnail: Thumbnail) -> bytes:
    """The pixels of a thumbnail, then its clipping marks, compressed."""
    return zlib.compress(thumbnail.rgb + thumbnail.clipped)


def thumbnail_of(width: int, height: int, metered: Box, pixels: bytes) -> Thumbnail:
    """The thumbnail that was stored. Raises ValueError or zlib.error if it was not."""
    data = zlib.decompress(pixels)
    if len(data) != 4 * width * height:
        raise ValueError("a thumbnail of another size")
    return Thumbnail(width, height, data[: 3 * width * height], data[3 * width * height :], metered)
