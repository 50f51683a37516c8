"""A real browser, without a window, that tells what a page does: its console, its requests, its look."""

import json
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

PATIENCE_S = 60.0
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")

_FLAGS = (
    "--headless=new --no-sandbox --disable-gpu --no-first-run --disable-sync --disable-extensions "
    "--disable-background-networking --disable-component-update --hide-scrollbars --enable-logging=stderr"
).split()
_BY_THE_BROWSER = "not an origin"


@dataclass(frozen=True, slots=True)
class Visit:
    """What came of opening a page: the document as it stood then, lines of the console, addresses it asked for."""

    document: str
    console: tuple[str, ...]
    requests: tuple[str, ...]


def visit(page: Path, profile: Path, *options: str) -> Visit:
    """Open a page and say what it did."""
    log = profile.with_name("net.json")
    done = _run(profile, f"--log-net-log={log}", "--dump-dom", *options, page.as_uri())
    console = tuple(line for line in done.stderr.splitlines() if ":CONSOLE" in line)
    return Visit(done.stdout, console, _requests(log))


def print_pdf(page: Path, pdf: Path, profile: Path) -> None:
    """Print a page as its reader would."""
    _run(profile, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", page.as_uri())


def screenshot(page: Path, png: Path, profile: Path, width: int, height: int) -> None:
    """A window of a page as a picture."""
    _run(profile, f"--screenshot={png}", f"--window-size={width},{height}", page.as_uri())


def _run(profile: Path, *options: str) -> "subprocess.CompletedProcess[str]":
    assert CHROMIUM is not None
    command = [CHROMIUM, *_FLAGS, f"--user-data-dir={profile}", *options]
    return subprocess.run(
        command, capture_output=True, timeout=PATIENCE_S, check=True, encoding="utf-8", errors="replace"
    )


def _requests(log: Path) -> tuple[str, ...]:
    """What pages asked for, by the browser's own log of the network; its questions to its maker are left out."""
    events = (event.get("params", {}) for event in json.loads(log.read_text("utf-8"))["events"])
    return tuple(
        event["url"]
        for event in events
        if "url" in event and event.get("initiator", _BY_THE_BROWSER) != _BY_THE_BROWSER
    )
