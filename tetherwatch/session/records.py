"""What screens and the JSON stream are made of."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from tetherwatch.advise.landing import NO_LANDINGS, Landing, Score
from tetherwatch.advise.records import Call, Finding, Plan
from tetherwatch.body.records import Body
from tetherwatch.exposure.stops import Setting
from tetherwatch.face.records import EyeDetail, EyeState
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Reading, Thumbnail
from tetherwatch.setups.records import Match, Pin, Placement, Setup
from tetherwatch.watch.records import Capture, Health, Problem
from tetherwatch.watch.stages import NOT_TIMED, Stages


@dataclass(frozen=True, slots=True)
class FrameRecord:
    """One frame of the session, numbered from 1 in the order in which it was read.

    `findings` are what is to be told beside the call; `landing` is what came of an earlier call that it follows. A call
    that is not `firm` rests on a first look that is too uncertain to act on. `eyes` is the state of the metered face's
    eyes, judged by their `eye_detail` against that of earlier frames; None where no eyes were measured. `setup` is the
    number of its lighting setup, which later frames may correct; `match` how it compares with the one pinned there.
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
    firm: bool = True
    eye_detail: EyeDetail | None = None
    eyes: EyeState | None = None
    setup: int | None = None
    match: Match | None = None
    stages: Stages = field(default=NOT_TIMED, compare=False)


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


@dataclass(frozen=True, slots=True)
class Entered:
    """News: with the capture at `path` the light is that of another setup; `returned`: an earlier one."""

    path: Path
    setup: Setup
    returned: bool


@dataclass(frozen=True, slots=True)
class Past:
    """What a session goes on from: its last frames and problems, oldest first, how many there were, and its locks.

    A lock is the value that a setting is held at; None where it was unlocked. The plan in force was chosen after frame
    `set_after`.
    """

    frames: tuple[FrameRecord, ...] = ()
    frame_count: int = 0
    problems: tuple[Problem, ...] = ()
    problem_count: int = 0
    locks: Mapping[Setting, float | None] = field(default_factory=dict)
    set_after: int = 0
    setups: tuple[Setup, ...] = ()
    pins: Mapping[int, Pin] = field(default_factory=dict)
    placements: tuple[Placement, ...] = ()


NO_PAST = Past()

SessionEvent = FrameRecord | Landed | Warned | Entered | Problem | Health
"""What a session tells of, one piece of news at a time."""


@dataclass(frozen=True, slots=True)
class SessionView:
    """Everything a screen may draw, at one moment.

    Frames are the last few in the order in which they arrived, problems in the order in which they were found. `power`:
    where the light's own power stands if the calls for it were followed, as a part of full power. `look`: the newest
    capture by its preview, while it has not been read. `body` is the profile of the newest frame's camera. `setups` are
    all in their order, `pins` the pinned frames by the number of their setup, `placements` where cards place faces.
    """

    folder: Path
    plan: Plan
    frames: tuple[FrameRecord, ...]
    problems: tuple[Problem, ...]
    health: Health | None
    frame_count: int
    problem_count: int
    power: float | None = None
    look: FrameRecord | None = None
    score: Score = NO_LANDINGS
    body: Body | None = None
    setups: tuple[Setup, ...] = ()
    pins: Mapping[int, Pin] = field(default_factory=dict)
    placements: tuple[Placement, ...] = ()

    def with_look(self) -> "SessionView":
        """The view in which the first look, if there is one, is the newest frame."""
        return self if self.look is None else replace(self, frames=(*self.frames, self.look))
