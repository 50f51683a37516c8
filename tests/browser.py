"""Debian's chromium, for looking at our pages as a user's browser does."""

import json
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

_PATIENCE_S = 60.0
_FLAGS = (
    "--headless=new --no-sandbox --disable-gpu --no-first-run --disable-sync --disable-extensions "
    "--disable-background-networking --disable-component-update --hide-scrollbars --enable-logging=stderr --v=0"
).split()
_CONSOLE = re.compile(r":CONSOLE[:(].*")
_BY_THE_BROWSER = "not an origin"


@dataclass(frozen=True, slots=True)
class Opened:
    """A page as the browser has it: its DOM, lines of the console, and addresses the page asked for."""

    dom: str
    console: list[str]
    requests: list[str]


def chromium() -> str:
    """The browser; skips the test where there is none."""
    found = shutil.which("chromium")
    if found is None:
        pytest.skip("chromium is not installed")
    return found


def opened(page: Path, scratch: Path) -> Opened:
    """Open a page and say what it did."""
    log = scratch / "net.json"
    done = _run(scratch, f"--log-net-log={log}", "--dump-dom", page.as_uri())
    console = _CONSOLE.findall(done.stderr)
    return Opened(done.stdout, console, _requests(log))


def pictured(page: Path, scratch: Path, width: int, height: int) -> Path:
    """A screenshot of a page."""
    place = scratch / f"{page.stem}-{width}.png"
    _run(scratch, f"--screenshot={place}", f"--window-size={width},{height}", page.as_uri())
    return place


def printed(page: Path, scratch: Path) -> Path:
    """A page as PDF."""
    place = scratch / f"{page.stem}.pdf"
    _run(scratch, f"--print-to-pdf={place}", "--no-pdf-header-footer", page.as_uri())
    return place


def _run(scratch: Path, *words: str) -> "subprocess.CompletedProcess[str]":
    command = [chromium(), *_FLAGS, f"--user-data-dir={scratch / 'profile'}", *words]
    return subprocess.run(
        command, capture_output=True, text=True, encoding="utf-8", timeout=_PATIENCE_S, check=True, cwd=scratch
    )


def _requests(log: Path) -> list[str]:
    """What pages asked for: the browser's own questions to its maker are left out."""
    events = (event.get("params", {}) for event in json.loads(log.read_text("utf-8"))["events"])
    return [
        event["url"]
        for event in events
        if "url" in event and event.get("initiator", _BY_THE_BROWSER) != _BY_THE_BROWSER
    ]
