"""The real program, started as a user would, for tests from end to end."""

import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timezone
from pathlib import Path
from queue import Empty, Queue
from threading import Thread
from typing import Any

from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.session import Truth, rehearse

PROGRAM = [sys.executable, "-m", "tetherwatch"]
PATIENCE_S = 60.0
"""Wall-clock limit for anything the program is waited for."""

Event = dict[str, Any]


def run(*words: str | Path, **options: Any) -> "subprocess.CompletedProcess[str]":
    """Run the program to its end."""
    command = [*PROGRAM, *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False, **options)


def shoot(folder: Path, **options: Any) -> list[Truth]:
    """Simulated captures, small unless told otherwise; `truth.jsonl` is removed."""
    chosen = Options(**{"frames": 1, "megapixels": 0.2, **options})
    truths = list(rehearse(folder, chosen, datetime(2026, 3, 14, 15, 9, 26, tzinfo=timezone.utc)))
    (folder / "truth.jsonl").unlink()
    return truths


class Watch:
    """A running `watch --headless`."""

    def __init__(self, process: "subprocess.Popen[bytes]") -> None:
        self.process = process
        self.raw: list[bytes] = []
        self._lines: Queue[bytes] = Queue()
        assert process.stdout is not None
        Thread(target=self._drain, args=(process.stdout,), daemon=True).start()

    def _drain(self, stream: Any) -> None:
        for line in stream:
            self.raw.append(line)
            self._lines.put(line)

    def events(self) -> Iterator[Event]:
        """Events as they come, without first looks, until there has been none for as long as we are patient."""
        for event in self.all_events():
            if not event.get("reading", {}).get("provisional"):
                yield event

    def all_events(self) -> Iterator[Event]:
        """The same with first looks, which may come at any moment or not at all."""
        while True:
            try:
                yield json.loads(self._lines.get(timeout=PATIENCE_S))
            except Empty:
                raise AssertionError(f"no further event; so far: {self.raw!r}") from None

    def until(self, wanted: Callable[[Event], bool]) -> list[Event]:
        """All events up to and with the first one that is wanted."""
        seen = []
        for event in self.events():
            seen.append(event)
            if wanted(event):
                return seen
        raise AssertionError("unreachable")

    def end(self) -> int:
        """Stop it politely; its exit code."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(PATIENCE_S)


@contextmanager
def watching(folder: Path, *words: str, before: Sequence[str] = ()) -> Iterator[Watch]:
    """`watch --headless` by the grey-card plan, once it is ready; killed at the end of the block if it still runs.

    `before`: what starts the command, if not this process itself.
    """
    command = [*before, *PROGRAM, "watch", str(folder), "--headless", "--plan", "window-card", *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        try:
            watch = Watch(process)
            watch.until(lambda event: event["event"] == "warning")
            yield watch
        finally:
            process.kill()


def is_frame(name: str) -> Callable[[Event], bool]:
    """Whether an event is the frame of a file."""
    return lambda event: event["event"] == "frame" and event["file"] == name


def wait_for(condition: Callable[[], bool], what: str) -> None:
    """Poll until something holds."""
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        if time.monotonic() > deadline:
            raise AssertionError(f"waited in vain for: {what}")
        time.sleep(0.02)


def drop(source: Path, target: Path) -> None:
    """Put a copy of a capture in place at once, as a careful transfer program would."""
    waiting = target.with_name(f".{target.name}.part")
    waiting.write_bytes(source.read_bytes())
    waiting.replace(target)
