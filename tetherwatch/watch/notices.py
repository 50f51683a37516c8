"""The system's change events, through watchdog: which of them are worth a look, and what ended with them.

Loaded by the watch's own thread when it asks for events: the first picture need not wait for it.
"""

import logging
import os
from collections.abc import Callable
from pathlib import Path

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver

# It logs what happens while it is stopped; the text would land in the middle of the screen.
logging.getLogger("watchdog").addHandler(logging.NullHandler())

_CHANGES = frozenset({"created", "modified", "moved", "closed", "deleted"})
"""Other kinds of event are caused by our own looking and reading."""

_ENDINGS = frozenset({"created", "moved", "closed"})
"""Those after which a file may be complete; that of a file made in place is not at `created`."""


class Wake(FileSystemEventHandler):
    """Passes on that something changed, with the path of a file that may be complete now, if the event names one."""

    def __init__(self, wake: Callable[[Path | None], None]) -> None:
        self._wake = wake

    def dispatch(self, event: FileSystemEvent) -> None:
        """Take one event."""
        if event.event_type in _CHANGES:
            ending = event.event_type in _ENDINGS and not event.is_directory
            self._wake(Path(os.fsdecode(event.dest_path or event.src_path)) if ending else None)


def new_observer() -> BaseObserver:
    """What reports changes on this system."""
    return Observer()
