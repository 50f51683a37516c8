"""The errors a user can cause, as data. `cli.advice` turns each into words.

TetherwatchError
├── UsageError          a wrong option or argument
├── FileError           a file of the user's with one or more mistakes, all of them carried
│   ├── PlanError       a plan
│   └── BodyError       a body profile
├── FolderError         the capture folder cannot be watched
├── MissingExtraError   an optional part is not installed
├── JournalError        a session's file cannot be used
├── SessionBusyError    another program is recording the session
├── WatchStoppedError   the watch behind the dashboard ended by a fault of ours
└── CaptureError        one capture cannot be metered (see frame.faults)
"""

from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar


class TetherwatchError(Exception):
    """Base of every error that is the user's to mend."""


class UsageError(TetherwatchError):
    """A wrong option or argument; `problem` and `advice` are single sentences."""

    def __init__(self, problem: str, advice: str) -> None:
        super().__init__(problem)
        self.problem = problem
        self.advice = advice


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake in a file: the dotted key, the line (None if unknown) and what is wrong."""

    key: str
    line: int | None
    problem: str


class FileError(TetherwatchError):
    """A file of the user's that cannot be used, with all its mistakes; `kind` is what it should be."""

    kind: ClassVar[str]

    def __init__(self, source: str, problems: tuple[Mistake, ...]) -> None:
        super().__init__(f"{source}: {len(problems)} problem(s)")
        self.source = source
        self.problems = problems


class PlanError(FileError):
    """A plan that cannot be used."""

    kind = "plan"


class BodyError(FileError):
    """A body profile that cannot be used."""

    kind = "body profile"


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
