"""Change events of the system, used as hints to look again and no more: they come late, twice or not at all."""

import errno
import sys
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from tetherwatch.watch.mounts import reports_changes
from tetherwatch.watch.patience import at_most
from tetherwatch.watch.records import Problem

if TYPE_CHECKING:
    from watchdog.observers.api import BaseObserver

Mode = Literal["events", "polling"]

Wake = Callable[[Path | None], None]
"""Told that something may have changed, and the path of a file that may be complete now, if the event names one."""

_LIMITS = {errno.ENOSPC: "fs.inotify.max_user_watches", errno.EMFILE: "fs.inotify.max_user_instances"}


class Hints:
    """Calls `wake`, from a thread of its own, when something may have changed under `folder`."""

    def __init__(
        self,
        folder: Path,
        wake: Wake,
        reports: Callable[[Path], bool] = reports_changes,
        make_observer: "Callable[[], BaseObserver] | None" = None,
    ) -> None:
        self._folder = folder
        self._wake = wake
        self._reports = reports
        self._make_observer = make_observer
        self._observer: BaseObserver | None = None

    @property
    def mode(self) -> Mode:
        """`events` while the system reports changes, else `polling`."""
        return "polling" if self._observer is None else "events"

    def start(self) -> Problem | None:
        """Ask for events anew, where they can be had at all. A Problem if the system refuses; then we poll.

        Raises FileNotFoundError if there is no such folder.
        """
        self.stop()
        if not self._reports(self._folder):
            return None
        # It warns of sub-folders made and deleted quickly; the text would land in the middle of the screen.
        warnings.filterwarnings("ignore", category=RuntimeWarning, module=r"watchdog\.")
        from tetherwatch.watch import notices

        observer = (self._make_observer or notices.new_observer)()
        try:
            observer.schedule(notices.Wake(self._wake), str(self._folder), recursive=True)
            observer.start()
        except (OSError, RuntimeError, SystemError) as error:
            at_most(1.0, observer.unschedule_all)
            if isinstance(error, FileNotFoundError):
                raise
            return _refused(self._folder, error)
        self._observer = observer
        return None

    @property
    def sound(self) -> bool:
        """Whether everything that should report events still runs. Always so when polling."""
        if self._observer is None:
            return True
        emitters = tuple(self._observer.emitters)
        return self._observer.is_alive() and bool(emitters) and all(emitter.is_alive() for emitter in emitters)

    def stop(self) -> None:
        """Give the events up; does not wait longer than a second for the system to let go."""
        if self._observer is not None:
            at_most(1.0, self._observer.stop, self._observer.join)
        self._observer = None


def _refused(folder: Path, error: Exception) -> Problem:
    limit = _LIMITS.get(error.errno or 0) if isinstance(error, OSError) and sys.platform == "linux" else None
    problem = "the system does not report changes in this folder, so it is looked at every second instead"
    if limit is None:
        return Problem(folder, problem, "nothing needs to be done; captures may show up a second later")
    return Problem(folder, problem, f"raise the limit: sudo sysctl {limit}=1048576")
