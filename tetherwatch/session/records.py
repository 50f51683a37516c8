"""What screens and the JSON stream are made of."""

from dataclasses import dataclass
from pathlib import Path

from tetherwatch.advise.records import Call, Plan
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Reading, Thumbnail
from tetherwatch.watch.records import Capture, Health, Problem


@dataclass(frozen=True, slots=True)
class FrameRecord:
    """One frame of the session, numbered from 1 in the order in which it was read."""

    number: int
    capture: Capture
    metadata: Metadata
    reading: Reading
    thumbnail: Thumbnail
    call: Call
    notes: tuple[str, ...] = ()


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
