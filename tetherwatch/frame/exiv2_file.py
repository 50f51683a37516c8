"""The one place where exiv2 opens a file: silent, read-only, one at a time in a process."""

from pathlib import Path
from typing import Any

import exiv2

from tetherwatch.frame.names import has_plain_name

exiv2.LogMsg.setLevel(exiv2.LogMsg.Level.mute)
exiv2.XmpParser.initialize()  # the toolkit behind it keeps global state and must start on one thread


def open_image(path: Path) -> Any:
    """An exiv2 image with its metadata read. Raises whatever exiv2 makes of a damaged file: catch Exception."""
    image = exiv2.ImageFactory.open(str(path) if has_plain_name(path) else path.read_bytes())
    image.readMetadata()
    return image
