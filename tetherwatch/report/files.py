"""Files that a report is written into: whole or not at all, and never in place of a capture or a session."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from tetherwatch.errors import UsageError
from tetherwatch.inplace import place_for


@contextmanager
def writing(path: Path, suffix: str, encoding: str = "utf-8") -> Iterator[TextIO]:
    """A text file that takes its place once it is complete. Raises UsageError if its name does not end in `suffix`.

    Raises UsageError too if it cannot be written; what was there before is kept then.
    """
    if path.suffix.lower() != suffix:
        raise UsageError(f"{path} is not named like its content", f"end the name in {suffix}")
    try:
        with (
            place_for(path) as unfinished,
            unfinished.open("x", encoding=encoding, newline="", errors="backslashreplace") as file,
        ):
            yield file
    except OSError as error:
        raise UsageError(f"{path} cannot be written ({error.strerror})", "name a place you may write to") from None
