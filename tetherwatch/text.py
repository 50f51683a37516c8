"""Text from outside (names, metadata, error messages, plan files) made safe to show.

A file name may carry escape codes, newlines or invisible direction marks. Everything that did not come from our
own source passes through `display_name` before it reaches a terminal, a log or a page.
"""

import unicodedata
from pathlib import PurePath

_HIDDEN_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_ELLIPSIS = "…"


def _visible(character: str) -> str:
    if unicodedata.category(character) not in _HIDDEN_CATEGORIES:
        return character
    code = ord(character)
    if 0xDC80 <= code <= 0xDCFF:  # a byte that was not text in the file system's encoding
        return f"\\x{code - 0xDC00:02x}"
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def display_name(text: str | PurePath, limit: int = 200) -> str:
    """Return `text` with every control, format and lone surrogate character spelled out, cut to `limit` characters.

    Emoji and letters of any script stay as they are; `\\x1b` and friends become visible escapes.
    """
    shown = "".join(map(_visible, str(text)))
    return shown if len(shown) <= limit else shown[: limit - 1] + _ELLIPSIS
