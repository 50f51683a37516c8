"""Which capture is read next, and what its outcome means. Pure: arrivals and outcomes in, jobs and events out."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from tetherwatch.exposure.dial import Step
from tetherwatch.frame.faults import Fault
from tetherwatch.meter.records import Aim
from tetherwatch.text import display_name
from tetherwatch.watch.arrivals import Arrival
from tetherwatch.watch.given import Given, IsThere
from tetherwatch.watch.lastfaces import LastFaces
from tetherwatch.watch.ledger import Identity, identity
from tetherwatch.watch.records import Capture, Metered, Problem
from tetherwatch.watch.task import Failure, Outcome, Read

GRACE_S = 3.0
"""A capture that changed less than this ago may still be on its way, however complete it looked."""

_FINAL = frozenset({Fault.NOT_A_FILE, Fault.TOO_SLOW, Fault.CRASHED, Fault.SET_ASIDE})
"""Faults that waiting does not mend. A half-written file can give any other."""

_BARRED = frozenset({Fault.NO_ACCESS, Fault.VANISHED})
"""Faults that are not the content's: a permission, a cable, a server. What still lies there is read when it can be."""

BARRED_S = 5.0
"""Time between two looks at whether a capture that could not be opened can be now."""


def _may_mend(outcome: Outcome) -> bool:
    if isinstance(outcome, Read) and outcome.fault is Fault.UNSUPPORTED:
        return False  # some cameras' raws are all like that; their previews must not come late each time
    return outcome.fault is not None and outcome.fault not in _FINAL


@dataclass(frozen=True, slots=True)
class Job:
    """One capture to be read, with what it is to be metered for. A higher `rank` goes first.

    `barred`: it was told that it cannot be opened, so another attempt is made only once it can. `started_at`: steady
    time of its last attempt, in seconds.
    """

    arrival: Arrival
    rank: int
    aim: Aim
    step: Step
    not_before: float = 0.0
    again: bool = False
    barred: bool = False
    started_at: float = 0.0

    @property
    def capture(self) -> Capture:
        """The capture to be read."""
        return self.arrival.capture


class Schedule:
    """Newest capture first, the backlog behind it; one frame a shot; one problem a file."""

    def __init__(self, aim: Aim, step: Step, grace_s: float = GRACE_S) -> None:
        """Nothing to be read so far."""
        self._aim = aim
        self._step = step
        self._grace_s = grace_s
        self._waiting: dict[Path, Job] = {}
        self._running: list[Job] = []
        self._newest_rank = 0
        self._early_rank = 0
        self._newest: Job | None = None
        self._given = Given()
        self._faces = LastFaces()
        self._covered: set[str] = set()  # JPEGs whose frame is now that of their raw
        self._complained: set[tuple[object, ...]] = set()

    @property
    def backlog(self) -> int:
        """Captures seen but not read yet."""
        return len(self._waiting) + len(self._running)

    def go_on(self, given: Mapping[Identity, bytes | None]) -> None:
        """Go on from captures, with their fingerprints, that a whole frame was given for before, oldest first."""
        self._given.go_on(given)

    def add(self, arrivals: Iterable[Arrival]) -> None:
        """Take settled captures, oldest first. Those there before we came are read in order, behind all others."""
        for arrival in arrivals:
            self._covered.discard(str(arrival.capture.path))
            if arrival.capture.pair is not None:
                self._waiting.pop(arrival.capture.pair, None)
            self._wait(Job(arrival, self._rank(arrival), self._aim, self._step))

    def pass_over(self, capture: Capture) -> None:
        """Know a capture that is not to be read, should its time or name change."""
        self._given.pass_over(capture)

    def use(self, aim: Aim, step: Step) -> None:
        """Meter everything from now on, and the newest capture given once more, under this aim and dial step."""
        if (aim, step) == (self._aim, self._step):
            return
        self._aim, self._step = aim, step
        self._waiting = {path: replace(job, aim=aim, step=step) for path, job in self._waiting.items()}
        if self._newest is not None:
            self._repeat(self._newest)

    @property
    def target(self) -> tuple[Aim, Step]:
        """What captures are metered for now."""
        return self._faces.aim(self._aim, self._newest_rank + 1), self._step

    def aim_of(self, job: Job) -> Aim:
        """What a job is to be metered for, with what is known by now."""
        return self._faces.aim(job.aim, job.rank)

    def knows(self, capture: Capture, is_there: IsThere) -> bool:
        """Whether a frame was given for this content, which its fingerprint tells."""
        return self._given.knows(capture, is_there)

    def awaits(self, capture: Capture) -> bool:
        """Whether this content is still to be read."""
        jobs = (*self._waiting.values(), *self._running)
        return any(identity(job.capture) == identity(capture) for job in jobs)

    def next_job(self, now: float) -> Job | None:
        """The job to start now, which then counts as running; None if there is none."""
        ready = (job for job in self._waiting.values() if job.not_before <= now)
        job = max(ready, key=lambda job: job.rank, default=None)
        if job is not None:
            del self._waiting[job.capture.path]
            job = replace(job, started_at=now)
            self._running.append(job)
        return job

    def recognise(self, job: Job, fingerprint: bytes | None, is_there: IsThere) -> Job | None:
        """The job with its capture's fingerprint; None, and no longer running, if that is a frame already.

        It is if the file was only touched, or renamed: then what was given is no longer where it was, or what was to be
        given. To be asked before reading, and after it: a capture may be renamed while it is read.
        """
        self._running.remove(job)
        job = replace(job, arrival=replace(job.arrival, capture=replace(job.capture, fingerprint=fingerprint)))
        if not job.again and self._given.knows(job.capture, is_there):
            if is_there(identity(job.capture)):
                self._move(job.capture)
            return None
        self._running.append(job)
        return job

    def next_due(self, after: float) -> float | None:
        """When, later than `after`, the next job that has to wait may start; None if none has to."""
        return min((job.not_before for job in self._waiting.values() if job.not_before > after), default=None)

    def drop(self, job: Job) -> None:
        """Forget a job: its file has changed since and is added as an arrival again, or it is no frame of its own."""
        self._running.remove(job)

    def put_back(self, job: Job, not_before: float = 0.0) -> None:
        """Take back a job that could not be tried, for another time."""
        self._running.remove(job)
        again = replace(job, aim=self._aim, step=self._step, not_before=not_before)
        self._waiting.setdefault(job.capture.path, again)

    def finish(self, job: Job, outcome: Outcome, now: float) -> list[Metered | Problem]:
        """What to hand on now that `job` has come to an end."""
        self._running.remove(job)
        due = job.arrival.changed_at + self._grace_s
        if str(job.capture.path) in self._covered:
            return []
        if _may_mend(outcome) and now < due:
            self._wait(replace(job, aim=self._aim, step=self._step, not_before=due))
            return []
        if outcome.fault in _BARRED and job.capture.size:
            self._wait(replace(job, aim=self._aim, step=self._step, not_before=now + BARRED_S, barred=True))
        events = self._fail(job, outcome) if isinstance(outcome, Failure) else [self._give(job, outcome)]
        return events + self._complain(job, outcome)

    def _wait(self, job: Job) -> None:
        self._waiting[job.capture.path] = job

    def _rank(self, arrival: Arrival) -> int:
        if arrival.early:
            self._early_rank -= 1
            return self._early_rank
        self._newest_rank += 1
        return self._newest_rank

    def _keep_up(self, newest: Job) -> None:
        if (newest.aim, newest.step) != (self._aim, self._step):
            self._repeat(newest)

    def _repeat(self, job: Job) -> None:
        if job.capture.path not in self._waiting:
            self._wait(replace(job, aim=self._aim, step=self._step, not_before=0.0, again=True))

    def _move(self, capture: Capture) -> None:
        """What was given before has this name and time now."""
        self._given.note(capture, whole=True)
        newest = self._newest
        if newest is not None and newest.capture.fingerprint == capture.fingerprint:
            moved = replace(newest.capture, path=capture.path, mtime_ns=capture.mtime_ns)
            self._newest = replace(newest, arrival=replace(newest.arrival, capture=moved))
            self._keep_up(self._newest)

    def _give(self, job: Job, read: Read) -> Metered:
        path, pair = job.capture.path, job.capture.pair
        replaces = job.again or self._given.has(pair) or self._given.has_poor(path)
        self._given.note(job.capture, whole=read.fault is None)
        self._faces.note(job.rank, read)
        if pair is not None:
            self._given.forget(pair)
            self._covered.add(str(pair))
        if self._newest is None or job.rank >= self._newest.rank:
            self._newest = job
            self._keep_up(job)
        stages = replace(read.stages, wait_s=job.started_at - job.arrival.changed_at)
        return Metered(
            job.capture, read.metadata, read.reading, read.thumbnail, read.notes, replaces, read.eyes, stages
        )

    def _fail(self, job: Job, failure: Failure) -> list[Metered | Problem]:
        spare = job.arrival.spare
        if (
            spare is not None
            and not self._given.has(spare.path)
            and all(j.capture.path != spare.path for j in self._running)
        ):
            fallback = replace(job.arrival, capture=spare, spare=None)
            self._wait(Job(fallback, job.rank, self._aim, self._step))
        return []

    def _complain(self, job: Job, outcome: Outcome) -> list[Metered | Problem]:
        capture = job.capture
        key = (capture.path, capture.fingerprint or (capture.size, capture.mtime_ns))
        if outcome.fault is None or key in self._complained:
            return []
        self._complained.add(key)
        return [problem_of(job.capture.path, outcome.fault, outcome.detail if isinstance(outcome, Failure) else "")]


def problem_of(path: Path, fault: Fault, detail: str = "") -> Problem:
    """A fault in words. The decoder's own are added only where ours cannot say what happened."""
    if fault is Fault.CRASHED and detail:
        return Problem(path, f"{fault.problem} ({display_name(detail, 120)})", fault.advice)
    return Problem(path, fault.problem, fault.advice)
