"""What screens and the JSON stream are made of."""

from dataclasses import dataclass
from pathlib import Path

from tetherwatch.advise.landing import NO_LANDINGS, Landing, Score
from tetherwatch.advise.records import Call, Finding, Plan
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Reading, Thumbnail
from tetherwatch.watch.records import Capture, Health, Problem


@dataclass(frozen=True, slots=True)
class FrameRecord:
    """One frame of the session, numbered from 1 in the order in which it was read.

    `findings` are what is to be told beside the call; `landing` is what came of an earlier call that it follows.
    """

    number: int
    capture: Capture
    metadata: Metadata
    reading: Reading
    thumbnail: Thumbnail
    call: Call
    notes: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    landing: Landing | None = None


@dataclass(frozen=True, slots=True)
class Landed:
    """News: the capture at `path` follows a call."""

    path: Path
    landing: Landing


@dataclass(frozen=True, slots=True)
class Warned:
    """News: something to tell that was not so in the frame before. `path` is None where it is about no capture."""

    path: Path | None
    finding: Finding


SessionEvent = FrameRecord | Landed | Warned | Problem | Health
"""What a session tells of, one piece of news at a time."""


@dataclass(frozen=True, slots=True)
class SessionView:
    """Everything a screen may draw, at one moment.

    Frames are the last few in the order in which they arrived, problems in the order in which they were found.
    """

    folder: Path
    plan: Plan
    frames: tuple[FrameRecord, ...]
    problems: tuple[Problem, ...]
    health: Health | None
    frame_count: int
    problem_count: int
    score: Score = NO_LANDINGS
