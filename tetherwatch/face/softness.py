"""Eyes against the best that this setup has shown: sharp, soft, or not to be told; and what blurred them.

Motion takes detail along one direction and leaves it across; a missed focus takes it all round. Of soft eyes the
direction that lost most counts, so that a smear is not excused by what it left across.
"""

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

from tetherwatch.face.records import SECTORS, BlurCause, EyeDetail, EyeState

LEAST_FRAMES = 5
"""Earlier frames that it takes to know what sharp eyes look like here."""

SIMILAR = 1.5
"""Eye distances up to so many times larger or smaller are compared, over the detail that both can hold."""

SOFT_PART = 0.7
"""Eyes with less than this part of the fine contrast of the best frames are soft. Ours: drawn eyes keep 0.8 and more
while they look about and narrow, and go below it from a blur of 2 to 4 % of the eye distance on."""

_BEST_PART = 0.8
"""The best frames are those from this quantile on: a few odd ones above do not set the measure."""

_NATURAL = 0.05
"""One standard uncertainty of the part for gaze, lids and light, which differ from frame to frame (of drawn eyes)."""

_SURE = 0.9
_MOTION_FROM, _FOCUS_TO = 0.5, 0.4
"""How much the loss differs by direction, as a part of its mean: 1 for a pure smear, 0 for a pure defocus."""


@dataclass(frozen=True, slots=True)
class Loss:
    """What was lost against the best frames, in natural logarithms of energy.

    `mean` is over all directions (negative), `swing` from it to the direction that lost most, with one standard
    `uncertainty`; that direction is `direction_deg` clockwise from the line of the eyes.
    """

    mean: float
    swing: float
    direction_deg: float
    uncertainty: float


def shared_bands(details: Sequence[EyeDetail]) -> int:
    """The bands that all of them hold."""
    return min(len(detail.energy) for detail in details)


def fine_contrast(detail: EyeDetail, bands: int) -> float:
    """Contrast of the fine detail in so many bands, 0 where it drowns in noise."""
    return math.sqrt(max(detail.energy[bands - 1], 0.0))


def sure_contrast(detail: EyeDetail, bands: int) -> float:
    """The fine contrast less its uncertainty; frames are ranked by it, so that noise lifts none above others."""
    return math.sqrt(max(detail.energy[bands - 1] - detail.uncertainty[bands - 1], 0.0))


def judge_eyes(detail: EyeDetail, earlier: Sequence[EyeDetail]) -> EyeState:
    """The state of a frame's eyes against earlier frames of the same setup."""
    alike = [each for each in earlier if 1 / SIMILAR <= each.distance_px / detail.distance_px <= SIMILAR]
    if len(alike) < LEAST_FRAMES:
        return EyeState(
            "unknown", f"too few frames yet to know how sharp eyes can be here: {len(alike)} of {LEAST_FRAMES}"
        )
    bands = shared_bands([detail, *alike])
    ranked = sorted(alike, key=lambda each: sure_contrast(each, bands))
    best = ranked[math.ceil(_BEST_PART * (len(ranked) - 1)) :]
    reference = fine_contrast(best[0], bands)
    if sure_contrast(best[0], bands) <= 0:
        return EyeState("unknown", "no earlier frame here shows more than noise in the eyes")
    return _judged(detail, best, fine_contrast(detail, bands) / reference, _relative(detail, bands, reference))


def _relative(detail: EyeDetail, bands: int, reference: float) -> float:
    """Uncertainty of the contrast kept: where little is left, that of the least that would be seen."""
    energy, uncertainty = detail.energy[bands - 1], detail.uncertainty[bands - 1]
    seen = math.sqrt(max(energy, uncertainty, 1e-12))
    return math.hypot(uncertainty / (2 * seen * reference), _NATURAL)


def _judged(detail: EyeDetail, best: Sequence[EyeDetail], whole: float, uncertainty: float) -> EyeState:
    loss = loss_by_direction(detail, best)
    kept = whole * math.exp(-max(loss.swing - loss.uncertainty, 0.0) / 2)
    soft = 0.5 * (1 + math.erf((SOFT_PART - kept) / (uncertainty * math.sqrt(2))))
    percent, percent_uncertainty = 100 * kept, 100 * uncertainty
    held = f"the eyes hold {percent:.0f} % of the fine contrast of this setup's sharpest frames"
    if soft < 0.5:
        return EyeState("sharp", held, percent, percent_uncertainty, 1 - soft)
    if soft < _SURE:
        return EyeState("unknown", f"{held}, which may be soft", percent, percent_uncertainty, soft)
    cause = cause_of(loss)
    direction = (loss.direction_deg + detail.tilt_deg) % 180 if cause == "motion" else None
    return EyeState("soft", held, percent, percent_uncertainty, soft, cause, direction)


def loss_by_direction(detail: EyeDetail, best: Sequence[EyeDetail]) -> Loss:
    """The loss of energy as mean and one wave over half a turn; the part of it that noise would give is taken off."""
    least = max(detail.sector_uncertainty, 1e-12)
    usual = [max(sum(each.sectors[k] for each in best) / len(best), least) for k in range(SECTORS)]
    left = [max(energy, least) / most for energy, most in zip(detail.sectors, usual, strict=True)]
    losses = [math.log(part) for part in left]
    turns = (cmath.exp(2j * math.pi * k / SECTORS) for k in range(SECTORS))
    wave = 2 / SECTORS * sum(loss * turn for loss, turn in zip(losses, turns, strict=True))
    doubts = ((least / (most * part)) ** 2 for most, part in zip(usual, left, strict=True))
    by_noise = (2 / SECTORS) ** 2 * sum(doubts)
    swing = math.sqrt(max(abs(wave) ** 2 - by_noise, 0.0))
    direction_deg = math.degrees((cmath.phase(wave) - math.pi) / 2) % 180
    return Loss(sum(losses) / SECTORS, swing, direction_deg, math.sqrt(by_noise / 2))


def cause_of(loss: Loss) -> BlurCause:
    """What blurred the eyes, by how much the loss differs with direction."""
    part = loss.swing / -loss.mean if loss.mean < 0 else 0.0
    if part >= _MOTION_FROM:
        return "motion"
    return "focus" if part <= _FOCUS_TO else "unknown"
