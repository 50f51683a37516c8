"""What looking at eyes hands on: how much fine detail they hold, and whether that is as much as it can be."""

from dataclasses import dataclass
from typing import Literal

EyeVerdict = Literal["sharp", "soft", "unknown"]
BlurCause = Literal["motion", "focus", "unknown"]

LOWEST_CYCLES = 8.0
BANDS_PER_OCTAVE = 4
"""Fine detail is counted from so many cycles per eye distance on, in bands of a quarter of an octave."""

SECTORS = 6
"""Directions told apart, over half a turn."""


@dataclass(frozen=True, slots=True)
class EyeDetail:
    """The fine detail in the eyes of one face, with the noise taken off.

    `distance_px`: from eye to eye in pixels of the stored picture; `tilt_deg`: how far the line from the left eye to
    the right one is turned clockwise in the upright picture. `energy[k]` is that of the gradient of the light against
    its whole contrast, in (cycles per eye distance) squared, over all detail up to the upper edge of band k, of the eye
    that is sharper up to there; it may be negative where there is nothing but noise. `uncertainty` goes with it, one
    standard uncertainty. `sectors` are the same energy over all bands and both eyes, by the direction along which the
    light varies: sector k lies around k * 180 / `SECTORS` degrees clockwise from the line of the eyes; each with
    `sector_uncertainty`.
    """

    distance_px: float
    tilt_deg: float
    energy: tuple[float, ...]
    uncertainty: tuple[float, ...]
    sectors: tuple[float, ...]
    sector_uncertainty: float


@dataclass(frozen=True, slots=True)
class EyeState:
    """Whether the eyes of a frame are sharp, against the best earlier frames of the same setup.

    `kept_percent`: the fine contrast left of what those frames hold, with one standard uncertainty; None where there is
    nothing to compare with. `confidence`, 0 to 1, is that of the verdict. `cause` and `direction_deg` (of the motion,
    clockwise from level, 0 to 180) are told of soft eyes only. `reason` is one plain sentence.
    """

    verdict: EyeVerdict
    reason: str
    kept_percent: float | None = None
    uncertainty_percent: float | None = None
    confidence: float = 0.0
    cause: BlurCause = "unknown"
    direction_deg: float | None = None
