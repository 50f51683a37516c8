"""The dashboard in a real terminal: a pseudo-terminal that is drawn into a screen of characters."""

import os
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from bad_files import HOSTILE_NAME
from program import PROGRAM, drop, shoot, wait_for

if sys.platform == "win32":
    pytest.skip("Windows has no pseudo-terminals for this", allow_module_level=True)

import pexpect
import pyte


class Terminal:
    """A running dashboard and what its screen shows."""

    def __init__(self, folder: Path, columns: int, rows: int, options: tuple[str, ...], **environment: str) -> None:
        self.screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self.screen)
        self.written = b""
        command = [*PROGRAM, "watch", str(folder), "--plan", "window-card", *options]
        known = dict(PATH="/usr/bin:/bin", TERM="xterm-256color", LANG="C.UTF-8")
        known["TETHERWATCH_DATA"] = os.environ["TETHERWATCH_DATA"]
        self.child = pexpect.spawn(command[0], command[1:], dimensions=(rows, columns), env={**known, **environment})

    def text(self) -> str:
        """The screen as it stands now."""
        while True:
            try:
                data = self.child.read_nonblocking(65536, timeout=0)
            except (pexpect.TIMEOUT, pexpect.EOF):
                return "\n".join(self.screen.display)
            self.written += data
            # The drawing library queries and keyboard modes that the screen model does not know.
            self._stream.feed(re.sub(rb"\x1b\[[<>=][0-9;]*[a-zA-Z]|\x1b\[\?[0-9;]*\$p", b"", data))

    def shows(self, *words: str) -> None:
        """Wait until all of these are on the screen."""
        wait_for(lambda: all(word in self.text() for word in words), f"{words} on\n{self.text()}")

    def press(self, keys: str) -> None:
        """Type keys."""
        self.child.send(keys)

    def gone(self) -> int | None:
        """Wait for the program to end; its exit code."""
        wait_for(lambda: bool(self.text()) and not self.child.isalive(), "the end of the program")
        self.text()
        code: int | None = self.child.exitstatus
        return code


@contextmanager
def dashboard(
    folder: Path, columns: int = 80, rows: int = 24, options: tuple[str, ...] = (), **environment: str
) -> Iterator[Terminal]:
    """A dashboard on a folder, ended at the end of the block."""
    terminal = Terminal(folder, columns, rows, options, **environment)
    try:
        yield terminal
    finally:
        terminal.child.close(force=True)


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """Two captures to drop from: 1 1/3 stop too dark."""
    folder = tmp_path / "shelf"
    folder.mkdir()
    shoot(folder, frames=2)
    return folder


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (100, 30), (200, 50)])
def test_the_dashboard_shows_the_call_at_every_size(shelf: Path, captures: Path, columns: int, rows: int) -> None:
    """It waits calmly, shows the call when a capture lands, and q leaves the terminal as it was."""
    with dashboard(captures, columns, rows) as terminal:
        terminal.shows("Waiting for the first capture", "Portrait by window light, grey card")
        drop(shelf / "RHS_0001.DNG", captures / "RHS_0001.DNG")
        terminal.shows("BRIGHTER", "ISO 100", "250", "+1.3", "RHS_0001.DNG", "-1.33")
        terminal.press("q")
        assert terminal.gone() == 0
    assert terminal.written.rstrip().rfind(b"\x1b[?1049l") > terminal.written.rfind(b"\x1b[?1049h")
    assert terminal.written.rfind(b"\x1b[?25h") > terminal.written.rfind(b"\x1b[?25l")
    assert b"Traceback" not in terminal.written


def test_locking_iso_changes_the_call_at_once(shelf: Path, captures: Path) -> None:
    """With ISO locked, no lever has room and the call says so; the second press gives the first call back."""
    with dashboard(captures) as terminal:
        terminal.shows("Waiting")
        drop(shelf / "RHS_0001.DNG", captures / "RHS_0001.DNG")
        terminal.shows("BRIGHTER")
        terminal.press("i")
        terminal.shows("BLOCKED")
        terminal.press("i")
        terminal.shows("BRIGHTER", "250")


def test_pause_holds_the_frame_and_counts_newer_ones(shelf: Path, captures: Path) -> None:
    """While paused the frame on the screen stays and the newer one is counted; space shows it."""
    with dashboard(captures) as terminal:
        terminal.shows("Waiting")
        drop(shelf / "RHS_0001.DNG", captures / "RHS_0001.DNG")
        terminal.shows("RHS_0001.DNG")
        terminal.press(" ")
        terminal.shows("PAUSED")
        drop(shelf / "RHS_0002.DNG", captures / "RHS_0002.DNG")
        terminal.shows("PAUSED", "1 newer", "RHS_0001.DNG")
        terminal.press(" ")
        terminal.shows("RHS_0002.DNG")


def test_an_earlier_frame_can_be_looked_at(shelf: Path, captures: Path) -> None:
    """The left arrow goes back to it, d tells all of it, the right arrow comes back."""
    with dashboard(captures) as terminal:
        terminal.shows("Waiting")
        for number in (1, 2):
            drop(shelf / f"RHS_000{number}.DNG", captures / f"RHS_000{number}.DNG")
            terminal.shows(f"RHS_000{number}.DNG", "reading: raw")
        terminal.press("\x1b[D")
        terminal.shows("PAUSED, 1 newer", "RHS_0001.DNG")
        terminal.press("d")
        terminal.shows("Frame #1", "Harrow Q24", "HQ-204417")
        terminal.press("d")
        terminal.shows("PAUSED, 1 newer", "RHS_0001.DNG")
        terminal.press("\x1b[C")
        terminal.shows("RHS_0002.DNG")


def test_another_plan_can_be_chosen(shelf: Path, captures: Path) -> None:
    """p lists the plans; the chosen one takes effect on the frame shown."""
    with dashboard(captures, 100, 30) as terminal:
        terminal.shows("Waiting")
        drop(shelf / "RHS_0001.DNG", captures / "RHS_0001.DNG")
        terminal.shows("BRIGHTER")
        terminal.press("p")
        terminal.shows("landscape", "movement", "studio-card")
        terminal.press("\x1b[A" * 20 + "\r")
        terminal.shows("Landscape on a tripod")


def test_a_setting_can_be_tried_out(shelf: Path, captures: Path) -> None:
    """t asks what if: two steps of the shutter are worked out on the sheet, and escape leaves the call as it was."""
    with dashboard(captures) as terminal:
        terminal.shows("Waiting")
        drop(shelf / "RHS_0001.DNG", captures / "RHS_0001.DNG")
        terminal.shows("BRIGHTER", "ISO 100 → 250")
        terminal.press("t")
        terminal.shows("What if", "RHS_0001.DNG", "ISO 100   not moved")
        terminal.press("\x1b[A" * 4)
        terminal.shows("ISO 100 → 250   +1.3 stops", "right")
        terminal.press("\x1b")
        terminal.shows("BRIGHTER", "quit")


def test_the_stages_of_a_capture_are_timed(shelf: Path, captures: Path) -> None:
    """w shows what each stage took, all of them timed by the program itself; any key goes back."""
    with dashboard(captures) as terminal:
        terminal.shows("Waiting")
        drop(shelf / "RHS_0001.DNG", captures / "RHS_0001.DNG")
        terminal.shows("BRIGHTER", "RHS_0001.DNG", "reading: raw ")
        terminal.press("w")
        terminal.shows("Where the time goes", "RHS_0001.DNG", "arrival wait", "decode", "meter", "advise", "draw")
        assert "unknown" not in terminal.text()
        terminal.press("\x1b")
        terminal.shows("BRIGHTER", "quit")


def test_help_names_the_keys_and_the_cautions(captures: Path) -> None:
    """h explains; any listed way closes it again."""
    with dashboard(captures) as terminal:
        terminal.shows("Waiting")
        terminal.press("h")
        terminal.shows("pause", "quit", "makers'")
        terminal.press("\x1b")
        terminal.shows("Waiting")


def test_a_hostile_name_is_drawn_not_obeyed(shelf: Path, captures: Path) -> None:
    """The escape code in a capture's name appears as visible text."""
    with dashboard(captures, 100, 30) as terminal:
        terminal.shows("Waiting")
        drop(shelf / "RHS_0001.DNG", captures / HOSTILE_NAME)
        terminal.shows(r"bad\x1b[31m[red]\x0a[b]", "BRIGHTER")
        assert b"bad\x1b" not in terminal.written


def test_no_colour_where_it_is_not_wanted(shelf: Path, captures: Path) -> None:
    """With NO_COLOR the same words appear and no colour code is written."""
    with dashboard(captures, NO_COLOR="1") as terminal:
        terminal.shows("Waiting")
        drop(shelf / "RHS_0001.DNG", captures / "RHS_0001.DNG")
        terminal.shows("BRIGHTER", "ISO 100", "250")
        terminal.press("q")
        terminal.gone()
    codes = re.findall(rb"\x1b\[([0-9;]*)m", terminal.written)
    numbers = {int(number) for code in codes for number in code.split(b";") if number}
    assert not numbers & {*range(30, 39), *range(40, 49), *range(90, 98), *range(100, 108)}


def test_a_new_size_is_taken_up(shelf: Path, captures: Path) -> None:
    """When the window shrinks, the call is still on the screen."""
    with dashboard(captures, 120, 40) as terminal:
        terminal.shows("Waiting")
        drop(shelf / "RHS_0001.DNG", captures / "RHS_0001.DNG")
        terminal.shows("BRIGHTER")
        terminal.screen.resize(24, 80)
        terminal.screen.reset()
        terminal.child.setwinsize(24, 80)
        terminal.shows("BRIGHTER", "RHS_0001.DNG", "quit")


@pytest.mark.parametrize("end", [lambda child: child.sendintr(), lambda child: child.kill(15)], ids=["Ctrl-C", "kill"])
def test_every_way_out_leaves_the_terminal_clean(captures: Path, end: Callable[[pexpect.spawn], None]) -> None:
    """Ctrl-C and a polite kill restore the screen and show no traceback."""
    with dashboard(captures) as terminal:
        terminal.shows("Waiting")
        end(terminal.child)
        terminal.gone()
    assert terminal.written.rfind(b"\x1b[?1049l") > terminal.written.rfind(b"\x1b[?1049h")
    assert b"Traceback" not in terminal.written


def test_a_folder_pulled_away_is_said_and_forgiven(shelf: Path, captures: Path) -> None:
    """The dashboard says that the folder is away and goes on when it is back."""
    with dashboard(captures) as terminal:
        terminal.shows("Waiting")
        captures.rename(captures.with_name("elsewhere"))
        terminal.shows("away")
        captures.with_name("elsewhere").rename(captures)
        drop(shelf / "RHS_0001.DNG", captures / "RHS_0001.DNG")
        terminal.shows("BRIGHTER", "RHS_0001.DNG")
