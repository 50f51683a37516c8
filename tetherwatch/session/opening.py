"""Which session a start goes on with, and all that is opened for it."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from tetherwatch.advise.records import Finding
from tetherwatch.body.matching import NO_BODIES, Bodies
from tetherwatch.errors import JournalError, UsageError
from tetherwatch.session.bodies import Shelf, take_stock
from tetherwatch.session.chosen import ChosenPlan, choose, chosen_plan
from tetherwatch.session.journal import Journal
from tetherwatch.session.places import check_place, latest, new_path, resumable
from tetherwatch.session.recall import Recalled, recall
from tetherwatch.session.recorded import RecordedSession
from tetherwatch.session.recorder import Recorder
from tetherwatch.session.records import SessionEvent, Warned
from tetherwatch.watch.ledger import Ledger, NoLedger
from tetherwatch.watch.records import Problem


@dataclass(frozen=True, slots=True)
class Wish:
    """What a start asks for; None leaves it to us.

    `session` is a file, made if need be. `resume`: the latest session of the folder however old, or a new one; left to
    us it is the latest if that is less than a day old. `plan` and `ceiling_iso` are those of the session that goes on,
    or `default_plan`. `from_start`: also read what lay in the folder before the session. `body`: a profile's name or
    file.
    """

    default_plan: str
    session: Path | None = None
    resume: bool | None = None
    plan: str | None = None
    ceiling_iso: float | None = None
    from_start: bool = False
    body: str | None = None


@dataclass(frozen=True, slots=True)
class Opened:
    """A session to be run. `from_start`, `ledger` and `bodies` are for its watch; `news` is to be said first."""

    session: RecordedSession
    ledger: Ledger
    from_start: bool
    news: tuple[SessionEvent, ...] = ()
    bodies: Bodies = NO_BODIES


@contextmanager
def opened(folder: Path, wish: Wish, clock: Callable[[], float] = time.time) -> Iterator[Opened]:
    """The session for the captures in `folder`, open for the length of the block. `clock` is wall-clock seconds.

    Where no session can be written and none was named, it runs unrecorded and says so. Raises UsageError, PlanError,
    BodyError, SessionBusyError, JournalError.
    """
    shelf = take_stock(wish.body)
    chosen = choose(wish.plan or wish.default_plan, wish.ceiling_iso, shelf.named)
    path = _path(folder, wish, clock())
    try:
        check_place(path, folder)
        journal = Journal.open(path, folder, clock)
    except JournalError as error:
        if wish.session is not None:
            raise
        yield _unrecorded(folder, chosen, wish, shelf, error)
        return
    recorder = None
    ended_well = False
    try:
        recalled = recall(journal)
        recorder = Recorder(journal, recalled, also_skipped=wish.from_start)
        yield _opened(folder, chosen, wish, shelf, recalled, recorder, path)
        ended_well = True
    finally:
        if recorder is not None:
            recorder.close(ended_well)
        else:
            journal.close()


def _path(folder: Path, wish: Wish, now: float) -> Path:
    if wish.session is not None:
        if wish.resume is False and wish.session.exists():
            raise UsageError(f"session {wish.session} is there already", "leave out --new, or name another file")
        return wish.session
    if wish.resume:
        found = latest(folder)
        if found is None:
            raise UsageError("there is no session of this folder yet", "leave out --resume")
        return found
    return (resumable(folder, now) if wish.resume is None else None) or new_path(folder, now)


def _unrecorded(folder: Path, chosen: ChosenPlan, wish: Wish, shelf: Shelf, error: JournalError) -> Opened:
    advice = "name a file on another disk with --session; metering goes on without"
    problem = Problem(error.path, f"this session is not recorded: {error.problem}", advice)
    bodies, problems = shelf.candidates(), (problem, *shelf.problems)
    session = RecordedSession(folder, chosen, Recalled().past, None, bodies)
    for each in problems:
        session.take(each)
    return Opened(session, NoLedger(), wish.from_start, problems, bodies)


def _opened(
    folder: Path, chosen: ChosenPlan, wish: Wish, shelf: Shelf, recalled: Recalled, recorder: Recorder, path: Path
) -> Opened:
    past, before = recalled.past, recalled.chosen
    bodies = shelf.candidates(None if before is None else before.body)
    if before is not None and wish.plan is None:
        ceiling = before.ceiling_iso if wish.ceiling_iso is None else wish.ceiling_iso
        chosen = chosen_plan(before.source, before.text, ceiling)
    elif before is not None and before.text != chosen.text:
        past = replace(past, locks={}, set_after=past.frame_count)
    chosen = chosen.under(bodies.chosen)
    news = (*_news(recalled, path), *shelf.problems)
    problems = tuple(each for each in news if isinstance(each, Problem))
    past = replace(past, problems=(*past.problems, *problems), problem_count=past.problem_count + len(problems))
    session = RecordedSession(folder, chosen, past, recorder, bodies)
    return Opened(session, recorder, wish.from_start or recalled.begun, news, bodies)


def _news(recalled: Recalled, path: Path) -> tuple[SessionEvent, ...]:
    """What the user should know of the runs before this one."""
    frames = f"{recalled.past.frame_count} frame{'' if recalled.past.frame_count == 1 else 's'}"
    if recalled.broke_off is not None:
        when = f"{datetime.fromtimestamp(recalled.broke_off):%Y-%m-%d at %H:%M:%S}"
        advice = f"{frames} kept; what came since is read now"
        return (Problem(path, f"the last run of this session ended unexpectedly, on {when}", advice),)
    if recalled.begun:
        return (Warned(None, Finding("session", f"going on with a session of {frames}; --new begins another")),)
    return ()
