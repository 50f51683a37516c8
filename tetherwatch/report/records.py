"""A session as its record tells it: everything but the pictures and the tones."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tetherwatch.advise.landing import Landing, odd
from tetherwatch.advise.oddities import MISFIRES
from tetherwatch.advise.records import Call, Finding, Plan
from tetherwatch.advise.softeyes import KIND as SOFT_EYES
from tetherwatch.frame.records import Channel, Metadata, Source
from tetherwatch.meter.records import AreaKind
from tetherwatch.setups.records import Pin, Setup


@dataclass(frozen=True, slots=True)
class Measured:
    """What of a reading (see `meter.records.Reading`) the record shows."""

    source: Source
    area: AreaKind
    level_stops: float
    offset_stops: float
    uncertainty_stops: float
    clipped_percent: Mapping[Channel, float]
    crushed_percent: float
    area_clipped_percent: float
    headroom_stops: float
    light_value: float | None
    notes: tuple[str, ...] = ()
    provisional: bool = False

    @property
    def worst_clipped_percent(self) -> float:
        """The worst channel's clipped percent in the whole picture."""
        return max(self.clipped_percent.values(), default=0.0)


@dataclass(frozen=True, slots=True)
class FrameEntry:
    """One frame. `arrived_at` is wall-clock time in seconds, None where it lay there before the session.

    `plan` is the one that was in force, `setup` the number of the setup it belongs to, None where none is known.
    """

    number: int
    path: Path
    pair: Path | None
    arrived_at: float | None
    metadata: Metadata
    measured: Measured
    call: Call
    plan: Plan
    findings: tuple[Finding, ...] = ()
    landing: Landing | None = None
    notes: tuple[str, ...] = ()
    setup: int | None = None

    @property
    def inside(self) -> bool:
        """Whether the metered area is within the tolerance."""
        return abs(self.measured.offset_stops) <= self.plan.aim.tolerance_stops

    @property
    def odd(self) -> bool:
        """Whether it was to be shot again: a misfire, a blocked light, a card, the cap."""
        return odd(self.call)

    @property
    def misfired(self) -> bool:
        """Whether its flash failed it."""
        return self.call.odd in MISFIRES

    @property
    def clipped(self) -> bool:
        """Whether more of the metered area is clipped than the plan allows."""
        return self.measured.area_clipped_percent > self.plan.aim.clip_limit_percent

    @property
    def soft(self) -> tuple[Finding, ...]:
        """What says that it is not sharp."""
        return tuple(finding for finding in self.findings if finding.kind == SOFT_EYES)

    @property
    def wants_a_look(self) -> bool:
        """Whether a person should look at it: odd, clipped, soft or outside the tolerance."""
        return self.odd or self.clipped or bool(self.soft) or not self.inside


@dataclass(frozen=True, slots=True)
class ProblemEntry:
    """A line that was said about a capture or the folder; `said_at` in wall-clock seconds."""

    path: Path
    problem: str
    advice: str
    said_at: float


@dataclass(frozen=True, slots=True)
class Run:
    """One start of the program. `ended_at` is None while it runs, and if it ended unexpectedly."""

    began_at: float
    ended_at: float | None


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """A whole session, resumed or not. Frames are in the order in which they arrived; times are wall-clock seconds."""

    path: Path
    folder: Path
    began_at: float
    runs: tuple[Run, ...]
    plans: tuple[Plan, ...]
    frames: tuple[FrameEntry, ...]
    problems: tuple[ProblemEntry, ...]
    setups: tuple[Setup, ...] = ()
    pins: tuple[Pin, ...] = ()

    def setup(self, number: int | None) -> Setup | None:
        """A setup by its number."""
        return next((setup for setup in self.setups if setup.number == number), None)
