"""One program on one session: a lock that the system itself takes back when the program dies."""

import sys
from pathlib import Path

from tetherwatch.errors import JournalError, SessionBusyError


class Alone:
    """Held from the start until `release`. Raises SessionBusyError if another program holds it."""

    def __init__(self, session: Path) -> None:
        """Take the lock, a file beside the session. Raises JournalError too, where no file can be made."""
        try:
            self._file = session.with_name(f"{session.name}.lock").open("ab")
        except OSError as error:
            raise JournalError(session, f"no file can be written there ({error.strerror})") from None
        try:
            _lock(self._file.fileno())
        except OSError:
            self.release()
            raise SessionBusyError(session) from None

    def release(self) -> None:
        """Let others in. The file stays: to remove it would let two in."""
        self._file.close()


if sys.platform == "win32":
    import msvcrt

    def _lock(file: int) -> None:
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
