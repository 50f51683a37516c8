"""The plan in force and the call it leads to."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.frame.records import Channel, Metadata, Program
from tetherwatch.meter.records import Aim, Reading

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
class Scene:
    """What the hazards of a setting depend on; None where the plan does not say.

    `speed_m_s`: how fast the subject moves across the frame, `distance_m` how far away it is. `mains_hz`: lamps that
    flicker with the mains.
    """

    tripod: bool = False
    speed_m_s: float | None = None
    distance_m: float | None = None
    mains_hz: int | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """What is held, what may move, and in which order.

    `brighter` and `darker` list the levers in the order they may be spent. `sync_s` is the shortest shutter time at
    which a flash still lights the whole picture. `source` is the file or the shipped name; `notes` are single sentences
    the user should know ("no noise ceiling known: ISO 3200 is assumed"). `ceiling_iso` is the highest ISO that is
    accepted, also for an ISO that is unlocked later; `ceiling_assumed` if neither the user said so nor a body profile.
    `power` is the range of the light's own power as parts of full power, None where the plan does not say.
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
    ceiling_assumed: bool = True
    power: Allowed | None = None
    scene: Scene = field(default_factory=Scene)

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
class Shot:
    """One capture as the rules see it. `time_s`: when it was taken, in seconds on any steady scale."""

    metadata: Metadata
    reading: Reading
    time_s: float


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number that was worked out, with one standard uncertainty."""

    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class Knowledge:
    """What earlier frames and the capture itself tell beyond its settings; None where they do not.

    `ambient`: the part of the light that the shutter acts on, 0 (all flash) to 1 (all continuous), at the settings of
    the capture. `power`: where the light's own power stands, as a part of full power. `program`: what the camera sets
    by itself. `bias_stops`: its exposure compensation.
    """

    ambient: Estimate | None = None
    power: float | None = None
    program: Program | None = None
    bias_stops: float | None = None

    @property
    def automatic(self) -> bool:
        """Whether the camera sets its exposure by itself, so that only compensation moves it."""
        return self.program not in (None, "manual", "other")

    def after(self, setting: Setting, value: float) -> "Knowledge":
        """What is known once the light's power or the compensation was moved to `value`."""
        return replace(self, power=value) if setting is Setting.LIGHT else replace(self, bias_stops=value)


NOTHING_KNOWN = Knowledge()


@dataclass(frozen=True, slots=True)
class Finding:
    """Something to tell beside the call. `kind` is a stable name for programs, `reason` one plain sentence."""

    kind: str
    reason: str


@dataclass(frozen=True, slots=True)
class Predicted:
    """What the next frame should read if the call is followed: the raw data are linear, so this can be known.

    `uncertainty_stops` is that of the move's effect, beside the reading's own: 0 where the lever acts in full.
    `clipped_percent` is the worst channel's in the metered area, `clipped_by_channel` that of the whole picture.
    `grey_snr`: signal to noise of one pixel of a mid-grey that is exposed right; None if the body was not measured.
    """

    offset_stops: float
    clipped_percent: float
    uncertainty_stops: float = 0.0
    clipped_by_channel: Mapping[Channel, float] = field(default_factory=dict)
    grey_snr: float | None = None


@dataclass(frozen=True, slots=True)
class Call:
    """One instruction to the photographer.

    `move_stops`: positive is brighter. `from_label` and `to_label` are in the trade's spelling, None where unknown
    (light has no dial; a capture may not say its settings). `left_stops`: what remains to be done after the move,
    signed like it. `reason` is one sentence. `odd` is the name of what is odd about the frame (`advise.oddities`).
    """

    kind: CallKind
    reason: str
    setting: Setting | None = None
    from_label: str | None = None
    to_label: str | None = None
    move_stops: float = 0.0
    left_stops: float = 0.0
    predicted: Predicted | None = None
    odd: str | None = None
