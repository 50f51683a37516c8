"""A real `watch --headless` to measure from outside."""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Timer

import psutil
from environment import ScriptError

from benchmarks.machine import peak_mib

PATIENCE_S, LONG_PATIENCE_S = 120.0, 600.0
END_S = 10.0


class Headless:
    """A running watch of one folder."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        self._process = process

    def wait_for(self, *files: str, first_look: bool = False) -> None:
        """Return once every one of the files has had its frame event, or a first look at it.

        Raises ScriptError if the watch ends or hangs.
        """
        awaited = set(files)
        give_up = Timer(PATIENCE_S, self._process.kill)
        give_up.start()
        try:
            while awaited:
                awaited.discard(self._frame(first_look))
        finally:
            give_up.cancel()

    def lines(self, patience_s: float = PATIENCE_S) -> Iterator[str]:
        """What it prints, until it ends; it is ended if that takes too long."""
        assert self._process.stdout is not None
        give_up = Timer(patience_s, self._process.kill)
        give_up.start()
        try:
            yield from self._process.stdout
        finally:
            give_up.cancel()

    def frames(self) -> Iterator[tuple[float, str, bool]]:
        """Steady time, file, and whether it is a first look, of each frame event as it comes."""
        for line in self.lines(LONG_PATIENCE_S):
            event = json.loads(line)
            if event["event"] == "problem":
                raise ScriptError(f"The watch had a problem: {event['problem']}.")
            if event["event"] == "frame":
                yield time.perf_counter(), event["file"], event["reading"]["provisional"]
        raise ScriptError("The watch ended or gave no event in time.")

    def peaks_mib(self) -> tuple[float, list[float]]:
        """Peak memory of the daemon, and of each process it started."""
        daemon = psutil.Process(self._process.pid)
        return peak_mib(daemon), [peak_mib(child) for child in daemon.children(recursive=True)]

    def _frame(self, first_look: bool) -> str | None:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            raise ScriptError("The watch ended or gave no event in time.")
        event = json.loads(line)
        if event["event"] == "problem":
            raise ScriptError(f"The watch had a problem: {event['problem']}.")
        is_awaited = event["event"] == "frame" and event["reading"]["provisional"] in (False, first_look)
        return event["file"] if is_awaited else None


@contextmanager
def headless(folder: Path, *options: str) -> Iterator[Headless]:
    """Watch a folder, captures that lie there included, for the length of the block."""
    command = [sys.executable, "-m", "tetherwatch", "watch", str(folder), "--headless", "--from-start", *options]
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True) as process:
        try:
            yield Headless(process)
        finally:
            _end(process)


def _end(process: "subprocess.Popen[str]") -> None:
    process.terminate()
    try:
        process.wait(END_S)
    except subprocess.TimeoutExpired:
        process.kill()
