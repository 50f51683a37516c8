"""The errors a user can cause, as data. `cli.advice` turns each into words.

TetherwatchError
├── UsageError          a wrong option or argument
├── PlanError           a plan file with one or more problems, all of them carried
├── FolderError         the capture folder cannot be watched
├── MissingExtraError   an optional part is not installed
├── JournalError        a session's file cannot be used
├── SessionBusyError    another program is recording the session
├── WatchStoppedError   the watch behind the dashboard ended by a fault of ours
└── CaptureError        one capture cannot be metered (see frame.faults)
"""

from dataclasses import dataclass
from pathlib import Path


class TetherwatchError(Exception):
    """Base of every error that is the user's to mend."""


class UsageError(TetherwatchError):
    """A wrong option or argument; `problem` and `advice` are single sentences."""

    def __init__(self, problem: str, advice: str) -> None:
        super().__init__(problem)
        self.problem = problem
        self.advice = advice


@dataclass(frozen=True, slots=True)
class PlanProblem:
    """One mistake in a plan: the dotted key, the line (None if unknown) and what is wrong."""

    key: str
    line: int | None
    problem: str


class PlanError(TetherwatchError):
    """A plan file that cannot be used, with all its problems."""

    def __init__(self, source: str, problems: tuple[PlanProblem, ...]) -> None:
        super().__init__(f"{source}: {len(problems)} problem(s)")
        self.source = source
        self.problems = problems


class FolderError(TetherwatchError):
    """The capture folder cannot be watched."""

    def __init__(self, folder: Path, problem: str) -> None:
        super().__init__(problem)
        self.folder = folder
        self.problem = problem


class MissingExtraError(TetherwatchError):
    """An optional part is not installed; `extra` is its name in pyproject.toml."""

    def __init__(self, extra: str) -> None:
        super().__init__(extra)
        self.extra = extra


class JournalError(TetherwatchError):
    """A session's file cannot be used."""

    def __init__(self, path: Path, problem: str) -> None:
        super().__init__(problem)
        self.path = path
        self.problem = problem


class SessionBusyError(TetherwatchError):
    """Another program is recording the session at `path`."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.path = path


class WatchStoppedError(TetherwatchError):
    """The watch behind the dashboard ended by a fault of ours; `reason` is not yet safe to show."""

    def __init__(self, reason: str) -> None:
        super().__init__(f"the watch stopped: {reason}")
        self.reason = reason
