"""A real dashboard in a pseudo-terminal, to measure from outside."""

import codecs
import re
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
from environment import ScriptError

PATIENCE_S = 60.0
_UNKNOWN_TO_PYTE = re.compile(r"\x1b\[[<>=][0-9;]*[a-zA-Z]|\x1b\[\?[0-9;]*\$p")


class Terminal:
    """A running dashboard and what its screen shows."""

    def __init__(self, folder: Path, columns: int, rows: int, options: tuple[str, ...]) -> None:
        import pexpect
        import pyte

        self._ended = (pexpect.EOF, pexpect.TIMEOUT)
        self._screen = pyte.Screen(columns, rows)
        self._stream = pyte.Stream(self._screen)
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        words = ["-m", "tetherwatch", "watch", str(folder), *options]
        self._child = pexpect.spawn(sys.executable, words, dimensions=(rows, columns), timeout=PATIENCE_S)

    @property
    def lines(self) -> list[str]:
        """The screen as it stood when it was last waited for."""
        return list(self._screen.display)

    def wait_for(self, shown: Callable[[list[str]], bool]) -> None:
        """Return once the screen shows something. Raises ScriptError if it does not in time."""
        end = time.perf_counter() + PATIENCE_S
        while not shown(self.lines):
            try:
                data = self._child.read_nonblocking(1 << 16, timeout=end - time.perf_counter())
            except self._ended:
                said = " ".join(line.strip() for line in self.lines if line.strip())
                raise ScriptError(f"The dashboard did not show what was awaited, but: {said[:400]}") from None
            self._stream.feed(_UNKNOWN_TO_PYTE.sub("", self._decoder.decode(data)))

    def press(self, keys: str) -> None:
        """Type keys."""
        self._child.send(keys)

    @property
    def processes(self) -> list[psutil.Process]:
        """The daemon, then every process that it started."""
        daemon = psutil.Process(self._child.pid)
        return [daemon, *daemon.children(recursive=True)]

    def close(self) -> None:
        """Have it quit, or end it."""
        try:
            self.press("q")
            self._child.expect(self._ended[0])
        except (*self._ended, OSError):
            pass
        self._child.close(force=True)


@contextmanager
def terminal(folder: Path, *options: str, columns: int = 80, rows: int = 24) -> Iterator[Terminal]:
    """A dashboard on a folder for the length of the block."""
    made = Terminal(folder, columns, rows, options)
    try:
        yield made
    finally:
        made.close()
