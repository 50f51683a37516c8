"""What watching hands on."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from tetherwatch.face.records import EyeDetail
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Reading, Thumbnail
from tetherwatch.watch.stages import NOT_TIMED, Stages


@dataclass(frozen=True, slots=True)
class Capture:
    """One settled capture. `pair` is the other file of a RAW+JPEG pair, which is shown but not metered.

    `size` and `mtime_ns` tell a file that changed; `fingerprint` whether its content did (None until it is read, or if
    that is not known). `arrived_at` is wall-clock time in seconds, which may jump; `sequence` grows with each arrival.
    """

    path: Path
    size: int
    mtime_ns: int
    arrived_at: float
    pair: Path | None = None
    sequence: int = 0
    fingerprint: bytes | None = None


@dataclass(frozen=True, slots=True)
class Metered:
    """One capture read and metered. `metadata.settings` are exact dial values.

    `replaces` is True when this is a better reading of a capture already given (a raw that came after its JPEG, or the
    same capture under another aim), so it is not a new frame. `eyes`: the fine detail in those of the metered face.
    """

    capture: Capture
    metadata: Metadata
    reading: Reading
    thumbnail: Thumbnail
    notes: tuple[str, ...] = ()
    replaces: bool = False
    eyes: EyeDetail | None = None
    stages: Stages = NOT_TIMED


@dataclass(frozen=True, slots=True)
class FirstLook:
    """What the embedded preview of a capture says while the capture itself is still on its way or being read.

    It promises nothing: what follows is a `Metered` event of the same path, a `Problem`, or nothing at all. Its capture
    has no number of arrival yet.
    """

    capture: Capture
    metadata: Metadata
    reading: Reading
    thumbnail: Thumbnail


@dataclass(frozen=True, slots=True)
class Problem:
    """One clear line about a capture or the folder: what is wrong and what to do. Text is safe to show."""

    path: Path
    problem: str
    advice: str


@dataclass(frozen=True, slots=True)
class Health:
    """How the watch is doing. `mode` says whether the system reports changes or we look at intervals.

    `backlog`: captures seen but not read yet. `last_look`: wall-clock time of the last completed look at the folder.
    """

    folder: Path
    here: bool
    mode: Literal["events", "polling"]
    backlog: int
    last_look: float | None


WatchEvent = Metered | FirstLook | Problem | Health
