"""The plan in force and the call it leads to."""

from dataclasses import dataclass, replace
from typing import Literal

from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.meter.records import Aim

LightKind = Literal["flash", "continuous", "mixed"]
CallKind = Literal["brighter", "darker", "hold", "check", "blocked"]

DEFAULT_CEILING_ISO = 3200.0
"""Highest ISO while the body's noise has not been measured: cautious for any body of recent years (common practice)."""


@dataclass(frozen=True, slots=True)
class Allowed:
    """The range one camera setting may take, in exact values (seconds, f-number or ISO), darkest and brightest end.

    Equal ends are a full lock. `start` is where the shoot begins.
    """

    setting: Setting
    darkest: float
    brightest: float
    start: float

    @property
    def locked(self) -> bool:
        """Whether the range is a single value."""
        return self.darkest == self.brightest


@dataclass(frozen=True, slots=True)
class Plan:
    """What is held, what may move, and in which order.

    `brighter` and `darker` list the levers in the order they may be spent. `sync_s` is the shortest shutter time at
    which a flash still lights the whole picture. `source` is the file or the shipped name; `notes` are single sentences
    the user should know ("no ceiling measured: ISO 3200 assumed"). `ceiling_iso` is the highest ISO the user accepts,
    also for an ISO that is unlocked later.
    """

    name: str
    source: str
    light: LightKind
    step: Step
    aim: Aim
    shutter: Allowed
    aperture: Allowed
    iso: Allowed
    brighter: tuple[Setting, ...]
    darker: tuple[Setting, ...]
    sync_s: float
    notes: tuple[str, ...] = ()
    ceiling_iso: float = DEFAULT_CEILING_ISO

    def allowed(self, setting: Setting) -> Allowed:
        """The range of a camera setting. Raises KeyError for `LIGHT`."""
        ranges = dict(zip(CAMERA_SETTINGS, (self.shutter, self.aperture, self.iso), strict=True))
        return ranges[setting]

    def levers(self, needed_stops: float) -> tuple[Setting, ...]:
        """The order to spend levers in: brighter for a positive need, darker for a negative one."""
        return self.brighter if needed_stops > 0 else self.darker

    def with_allowed(self, allowed: Allowed) -> "Plan":
        """A copy with the range of one camera setting replaced."""
        return replace(
            self,
            shutter=allowed if allowed.setting is Setting.SHUTTER else self.shutter,
            aperture=allowed if allowed.setting is Setting.APERTURE else self.aperture,
            iso=allowed if allowed.setting is Setting.ISO else self.iso,
        )


@dataclass(frozen=True, slots=True)
class Predicted:
    """What the next frame should read if the call is followed: the raw data are linear, so this can be known."""

    offset_stops: float
    clipped_percent: float


@dataclass(frozen=True, slots=True)
class Call:
    """One instruction to the photographer.

    `move_stops`: positive is brighter. `from_label` and `to_label` are in the trade's spelling, None where unknown
    (light has no dial; a capture may not say its settings). `left_stops`: what remains to be done after the move,
    signed like it. `reason` is one sentence.
    """

    kind: CallKind
    reason: str
    setting: Setting | None = None
    from_label: str | None = None
    to_label: str | None = None
    move_stops: float = 0.0
    left_stops: float = 0.0
    predicted: Predicted | None = None
