"""What the start loads: the first picture waits for nothing that only a capture needs."""

import subprocess
import sys
from pathlib import Path

import pytest

_START = """
import sys, time
from pathlib import Path

from tetherwatch.cli import watch
from tetherwatch.cli.live import LiveSession
from tetherwatch.screen import app
from tetherwatch.screen.layout import Scene, dashboard
from tetherwatch.screen.palette import choose
from tetherwatch.session.opening import Wish, opened

if __name__ == "__main__":
    folder = Path(sys.argv[1])
    with opened(folder, Wish("window-card")) as found:
        live = LiveSession(folder, found)
        dashboard(Scene(live.view(), choose({}, None), time.time()), 80, 24)
        print(*sys.modules)
        live.listen(lambda: None)
        end = time.monotonic() + 30
        while live.view().health is None and time.monotonic() < end:
            live.poll()
            time.sleep(0.01)
        print(*sys.modules)
        live.close()
"""


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> list[set[str]]:
    """The modules of a daemon once the first picture is drawn, and once the watch has looked at an empty folder."""
    folder = tmp_path_factory.mktemp("start")
    script = folder / "start.py"
    script.write_text(_START, encoding="utf-8")
    (folder / "captures").mkdir()
    command = [sys.executable, str(script), str(Path(folder, "captures"))]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    return [set(line.split()) for line in done.stdout.splitlines()]


def test_the_first_picture_waits_for_no_watch(loaded: list[set[str]]) -> None:
    """Change events and the arithmetic of setups are loaded once the first picture is drawn."""
    assert not loaded[0] & {"watchdog", "numpy"}
    assert loaded[1] >= {"numpy", "tetherwatch.setups.book"}


def test_a_worker_loads_no_command_line() -> None:
    """Each worker process loads the module that the program was started from again."""
    code = "import runpy, sys; runpy.run_module('tetherwatch', run_name='__mp_main__'); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert not {"click", "numpy", "textual", "tetherwatch.cli"} & set(done.stdout.split())


@pytest.mark.parametrize("name", ["matplotlib", "jinja2", "rawpy", "exiv2", "PIL"])
def test_nothing_heavy_is_in_the_daemon_before_the_first_capture(loaded: list[set[str]], name: str) -> None:
    """Decoders are left to the workers, pages and plots to their commands."""
    assert not [modules for modules in loaded if name in modules]
