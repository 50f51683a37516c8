"""What a capture says of itself, read by exiv2."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import exiv2

from tetherwatch.frame.exiv2_file import open_image
from tetherwatch.frame.records import Metadata
from tetherwatch.frame.tags import KEYS, metadata_from

_MAKERS_PLACES: dict[str, Callable[[Any], Any]] = {
    "isoSpeed": exiv2.isoSpeed,
    "serialNumber": exiv2.serialNumber,
    "lensName": exiv2.lensName,
}


def read_metadata(path: Path) -> Metadata:
    """The metadata of a capture; an empty `Metadata` for a file that has none or cannot be read. Never raises."""
    try:
        return metadata_from(dict(_entries(open_image(path))))
    except Exception:  # damaged files make the library raise whatever its parts raise
        return Metadata()


def _entries(image: Any) -> Iterator[tuple[str, str]]:
    exif, xmp = image.exifData(), image.xmpData()
    for key in KEYS:
        if key in _MAKERS_PLACES:
            datum = _MAKERS_PLACES[key](exif)
            if datum:
                yield key, datum.print(exif)
        else:
            group = xmp if key.startswith("Xmp.") else exif
            if key in group:
                yield key, group[key].toString()
