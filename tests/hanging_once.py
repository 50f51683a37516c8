"""Loading this takes for ever, unless the file that HANGING_ONCE names is there; it is made if that is possible."""

import os
import time
from contextlib import suppress
from pathlib import Path

_HUNG = Path(os.environ["HANGING_ONCE"])

if not _HUNG.exists():
    with suppress(OSError):
        _HUNG.touch()
    time.sleep(600)
