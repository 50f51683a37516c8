"""Files that are complete from the first moment they are there; until then, and if writing fails, the old one stays."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def place_for(path: Path) -> Iterator[Path]:
    """A hidden place beside `path` to write a file to, which takes the place of `path` at the end of the block.

    If that raises, it is gone and `path` is as it was.
    """
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield unfinished
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)


def put_in_place(path: Path, content: bytes) -> None:
    """Have `path` hold `content`. Raises OSError if it cannot be written."""
    with place_for(path) as unfinished:
        unfinished.write_bytes(content)
