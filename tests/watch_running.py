"""A watch that runs in a thread of its own, for tests."""

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from queue import Empty, SimpleQueue

import worker_stubs

from tetherwatch.exposure.dial import Step
from tetherwatch.meter.records import Aim
from tetherwatch.watch.arrivals import Patience
from tetherwatch.watch.pipeline import Watcher
from tetherwatch.watch.records import FirstLook, Health, Metered, Problem, WatchEvent

AIM = Aim()
QUICK = Patience(settle_s=0.05, odd_s=0.1, pair_s=0.5)
LIMIT_S = 10.0


class Threads:
    """A reader that reads each capture in a thread of this process, `count` at once."""

    def __init__(self, task=worker_stubs.read_text, count: int = 1) -> None:
        self.task, self.free, self.entered, self.left = task, count, 0, 0
        self.started: list[Path] = []
        self.lock = threading.Lock()

    def __enter__(self) -> "Threads":
        self.entered += 1
        return self

    def __exit__(self, *_: object) -> None:
        self.left += 1

    def start(self, path, aim, step, done, begun=lambda: None) -> None:
        """Read in a thread."""
        assert self.free > 0
        with self.lock:
            self.free -= 1
        self.started.append(path)
        threading.Thread(target=self._run, args=(path, aim, step, done, begun), daemon=True).start()

    def _run(self, path, aim, step, done, begun) -> None:
        begun()
        outcome = self.task(path, aim, step)
        with self.lock:
            self.free += 1
        done(outcome)


class NoReader(Threads):
    """A reader that is never free."""

    def __init__(self) -> None:
        super().__init__(count=0)


class Running:
    """A watcher running in a thread of its own, its events collected."""

    def __init__(self, folder: Path, reader=None, looker=None, **options) -> None:
        self.reader = Threads() if reader is None else reader
        self.looker = NoReader() if looker is None else looker
        options = {"patience": QUICK, "grace_s": 0.3} | options
        self.watcher = Watcher(folder, AIM, Step.THIRD, reader=self.reader, looker=self.looker, **options)
        self.step = Step.THIRD
        self.stop = threading.Event()
        self.queue: SimpleQueue[WatchEvent] = SimpleQueue()
        self.seen: list[WatchEvent] = []
        self.thread = threading.Thread(target=self._run, daemon=True)

    def _run(self) -> None:
        for event in self.watcher.events(self.stop):
            self.queue.put(event)

    def __enter__(self) -> "Running":
        self.thread.start()
        self.until(lambda: self.health)
        return self

    def __exit__(self, *_: object) -> None:
        self.stop.set()
        self.watcher.close()
        self.thread.join(LIMIT_S)
        assert not self.thread.is_alive()

    @property
    def frames(self) -> list[tuple[str, bool]]:
        """Name and `replaces` of the captures metered so far."""
        return [(e.capture.path.name, e.replaces) for e in self.seen if isinstance(e, Metered)]

    @property
    def looks(self) -> list[str]:
        """Names of the captures that were shown before they were metered."""
        return [e.capture.path.name for e in self.seen if isinstance(e, FirstLook)]

    @property
    def problems(self) -> list[tuple[str, str]]:
        """Name and problem of what went wrong so far."""
        return [(e.path.name, e.problem) for e in self.seen if isinstance(e, Problem)]

    @property
    def health(self) -> Health | None:
        """The last word on how it is doing."""
        return next((event for event in reversed(self.seen) if isinstance(event, Health)), None)

    def until(self, condition: Callable[[], object]) -> None:
        """Collect events until `condition` is true."""
        end = time.monotonic() + LIMIT_S
        while not condition():
            assert time.monotonic() < end, self.seen
            with suppress(Empty):
                self.seen.append(self.queue.get(timeout=0.02))

    def idle(self) -> None:
        """Collect events until nothing waits and, for longer than any grace here, nothing more comes."""
        self.until(lambda: self.health.backlog == 0)
        while True:
            try:
                self.seen.append(self.queue.get(timeout=0.5))
            except Empty:
                return


def write(path: Path, text: str = "good end") -> Path:
    """A capture, complete unless `text` lacks its end."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    return path
