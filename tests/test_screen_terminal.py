"""The dashboard in a real terminal: what is written, and what is left behind."""

import os
import re
import signal
import sys
import time
from pathlib import Path

import pytest

if sys.platform == "win32":
    pytest.skip("needs a pseudo-terminal", allow_module_level=True)

import pexpect
import pyte

_LIMIT_SECONDS = 20
_SCRIPT = """
import screen_records as made
from tetherwatch.screen.app import run

class Session:
    now = made.view(made.frame(name=made.HOSTILE))
    def view(self): return self.now
    def listen(self, wake): pass
    def poll(self): return False
    def close(self): print("session closed")

run(Session())
"""
_COLOUR = re.compile(r"\x1b\[(?:[0-9;]*;)?(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])(?:;[0-9;]*)?m")


class Terminal:
    """A dashboard on a pseudo-terminal of the given size."""

    def __init__(self, width: int, height: int, **environ: str) -> None:
        here = str(Path(__file__).parent)
        known = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "COLORFGBG")}
        known |= {"TERM": "xterm-256color", "PYTHONPATH": here, "COLORTERM": "truecolor"} | environ
        self.child = pexpect.spawn(
            sys.executable,
            ["-c", _SCRIPT],
            dimensions=(height, width),
            env=known,
            encoding="utf-8",
            timeout=_LIMIT_SECONDS,
        )
        self.written = ""
        self._screen = pyte.Screen(width, height)
        self._stream = pyte.Stream(self._screen)

    def until(self, words: str) -> None:
        """Read until `words` stand on the screen."""
        end = time.monotonic() + _LIMIT_SECONDS
        while words not in "\n".join(self._screen.display):
            assert time.monotonic() < end, "\n".join(self._screen.display)
            self._read(0.1)

    def rest(self) -> str:
        """Read until the program has ended; what it wrote from now on."""
        before = len(self.written)
        self.written += self.child.read()
        self.child.close()
        return self.written[before:]

    def _read(self, seconds: float) -> None:
        try:
            text = self.child.read_nonblocking(65536, seconds)
        except pexpect.TIMEOUT:
            return
        self.written += text
        self._stream.feed(re.sub(r"\x1b\[[<>=?][0-9;]*[a-zA-Z$]+|\x1b\[\?[0-9;]*\$p", "", text))


def _assert_clean(end: str) -> None:
    for switched_back in ("\x1b[?1049l", "\x1b[?25h"):
        assert switched_back in end
    assert "session closed" in end
    assert "Traceback" not in end


@pytest.mark.parametrize(("width", "height"), [(80, 24), (100, 30), (200, 50)])
def test_the_call_stands_on_a_real_terminal_and_leaving_cleans_up(width: int, height: int) -> None:
    """The call is drawn, q gives back the screen and the cursor, and the session is closed."""
    terminal = Terminal(width, height)
    terminal.until("BRIGHTER   ISO 400 → 800   +1.0 stops")
    assert _COLOUR.search(terminal.written)
    terminal.child.send("q")
    _assert_clean(terminal.rest())
    assert terminal.child.exitstatus == 0


def test_no_color_is_honoured() -> None:
    """With NO_COLOR not one colour is sent, and the call is still there."""
    terminal = Terminal(100, 30, NO_COLOR="1")
    terminal.until("BRIGHTER   ISO 400 → 800   +1.0 stops")
    terminal.until("q quit")
    assert not _COLOUR.search(terminal.written)
    terminal.child.send("\x03")
    _assert_clean(terminal.rest())


def test_a_hostile_name_sends_no_code_and_no_title() -> None:
    """Neither the screen is cleared nor the title set by a file's name."""
    terminal = Terminal(100, 30)
    terminal.until("q quit")
    assert not re.search(r"\x1b\][012];", terminal.written)
    assert "\x1b[2J" not in terminal.written
    terminal.child.send("q")
    terminal.rest()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_killed_dashboard_gives_the_terminal_back(number: signal.Signals) -> None:
    """Termination and a closed terminal end as tidily as q."""
    terminal = Terminal(80, 24)
    terminal.until("q quit")
    terminal.child.kill(number)
    _assert_clean(terminal.rest())
