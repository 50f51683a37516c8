"""Typed errors become lines that say what, where and what to do."""

from tetherwatch.errors import (
    FileError,
    FolderError,
    JournalError,
    MissingExtraError,
    Mistake,
    SessionBusyError,
    TetherwatchError,
    UsageError,
    WatchStoppedError,
)
from tetherwatch.text import display_name


def advice_lines(error: TetherwatchError) -> list[str]:
    """One line for each thing to mend."""
    if isinstance(error, FileError):
        return mistake_lines(error)
    if isinstance(error, FolderError):
        return [f"{display_name(error.folder)}: {display_name(error.problem)}; name the folder your captures land in"]
    if isinstance(error, MissingExtraError):
        return [f"this needs an optional part: pip install 'tetherwatch[{error.extra}]'"]
    if isinstance(error, JournalError):
        what = f"session {display_name(error.path)} cannot be used: {display_name(error.problem)}"
        return [f"{what}; give --session another file on a disk of this machine"]
    if isinstance(error, SessionBusyError):
        busy = f"session {display_name(error.path)} is being recorded by another tetherwatch"
        return [f"{busy}; look at that one, or begin a session of its own with --new"]
    if isinstance(error, WatchStoppedError):
        return [f"the watch stopped ({display_name(error.reason)}); start it again: it goes on where it was"]
    if isinstance(error, UsageError):
        return [f"{display_name(error.problem)}; {display_name(error.advice)}"]
    return [display_name(str(error))]


def mistake_lines(error: FileError) -> list[str]:
    """A heading, then each mistake of a file with its line and key."""
    count = len(error.problems)
    heading = f"{display_name(error.source)}: {count} mistake{'' if count == 1 else 's'}, nothing was changed"
    return [heading, *(f"  {_place(problem)}{display_name(problem.problem)}" for problem in error.problems)]


def _place(problem: Mistake) -> str:
    line = "" if problem.line is None else f"line {problem.line}"
    return ", ".join(filter(None, [line, display_name(problem.key)])) + ": "
