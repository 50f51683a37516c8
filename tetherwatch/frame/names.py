"""What counts as a capture by its name alone. What is inside decides later (`container.kind_of`)."""

import os
from pathlib import Path

RAW_EXTENSIONS = frozenset(
    """
    3fr ari arw bay cap cr2 cr3 crw cs1 dc2 dcr dcs dng drf dxo eip erf fff gpr ia iiq k25 kc2 kdc mdc mef mfw mos mrw
    nef nrw orf ori pef ptx pxn qtk r3d raf raw rw2 rwl rwz sr2 srf srw sti stx x3f
    """.split()
)
"""Makers' raw formats and DNG, without the dot."""

PICTURE_EXTENSIONS = frozenset("jpg jpeg jpe jfif mpo tif tiff heic heif hif".split())
"""Finished pictures cameras write. The last three cannot be read, which the user should be told."""

_UNFINISHED = ("~", ".part", ".partial", ".tmp", ".temp", ".crdownload", ".download", ".filepart", ".swp", ".bak")
_HIDDEN = (".", "~", "#")


def _extension(name: str) -> str:
    return name.rpartition(".")[2].lower()


def is_raw_name(name: str) -> bool:
    """Whether a file name (no folders) ends like a maker's raw format."""
    return "." in name and _extension(name) in RAW_EXTENSIONS


def is_capture_name(name: str) -> bool:
    """Whether a file name (no folders) is that of a capture: not hidden, not a program's unfinished or helper file."""
    if name.startswith(_HIDDEN) or name.lower().endswith(_UNFINISHED):
        return False
    return is_raw_name(name) or ("." in name and _extension(name) in PICTURE_EXTENSIONS)


def has_plain_name(path: Path) -> bool:
    """Whether a path can be handed to a library that wants UTF-8; if not, the file's bytes must be."""
    try:
        return os.fsencode(path) == str(path).encode()
    except UnicodeEncodeError:
        return False
