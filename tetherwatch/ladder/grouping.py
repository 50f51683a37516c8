"""Captures become rungs by what they say of themselves, and what that says against a ladder is found."""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import NoReturn

from tetherwatch.exposure.dial import Step, label
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.ladder.records import Finding, Kind

FRAMES_USED = 2
"""Frames of a rung that are measured: the pair whose difference shows the noise."""

_WIDEST_STEP = 1.2
"""Stops between two rungs; more is a gap."""

_STEP_TOLERANCE = 1.5
"""A step so many times the ladder's usual one is a gap too."""

Shot = tuple[Path, Metadata]


class Refusal(Exception):
    """The ladder cannot be measured at all, for the reason in `finding`."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.reason)
        self.finding = finding


@dataclass(frozen=True, slots=True)
class Group:
    """The frames of one rung that will be measured; `settings` are exact dial values with a known ISO."""

    iso: float
    settings: Settings
    files: tuple[Path, ...]
    metadata: Metadata


def iso_words(iso: float) -> str:
    """An ISO as the trade writes it."""
    return f"ISO {label(Setting.ISO, iso)}"


def refuse(kind: Kind, reason: str) -> NoReturn:
    """Give up on the whole ladder."""
    raise Refusal(Finding(kind, reason, refuses=True))


def group_shots(shots: Sequence[Shot], found: list[Finding]) -> tuple[Group, ...]:
    """Rungs from low to high ISO; what is found is added to `found`. `shots` in the order taken. Raises Refusal."""
    if not shots:
        refuse("one rung", "there are no captures here")
    known = [(path, metadata) for path, metadata in shots if metadata.settings.iso is not None]
    if not known:
        refuse("no metadata", "none of the captures says which ISO it was taken at")
    _one_camera(metadata for _, metadata in known)
    found += [_nameless(path) for path, metadata in shots if metadata.settings.iso is None]
    rungs: dict[float, list[Shot]] = {}
    for path, metadata in known:
        iso = metadata.settings.snapped(Step.THIRD).iso
        rungs.setdefault(iso or 0.0, []).append((path, metadata))
    kept = _same_aperture(rungs, found)
    groups = [_group(iso, members, found) for iso, members in sorted(kept.items())]
    check_count(len(groups))
    found += _gaps(groups)
    return tuple(groups)


def check_count(rungs: int) -> None:
    """Raise Refusal unless there are at least two rungs."""
    if rungs < 2:
        refuse("one rung", "a ladder needs frames at two ISOs or more; shoot it with ISO doubled from frame to frame")


def _nameless(path: Path) -> Finding:
    return Finding("no metadata", f"{path.name} does not say its ISO, so it was left out", file=path, refuses=True)


def _one_camera(all_metadata: Iterable[Metadata]) -> None:
    named = list(all_metadata)
    for known in ({m.camera for m in named if m.camera}, {m.serial for m in named if m.serial}):
        if len(known) > 1:
            names = " and ".join(sorted(known))
            refuse("cameras", f"the captures come from more than one camera: {names}; measure one at a time")


def _same_aperture(rungs: dict[float, list[Shot]], found: list[Finding]) -> dict[float, list[Shot]]:
    """Leave out frames at another aperture than most: another lens opening draws another picture."""
    counted = Counter(_aperture(shot) for members in rungs.values() for shot in members if _aperture(shot))
    if len(counted) < 2:
        return rungs
    usual = counted.most_common(1)[0][0]
    kept = {}
    for iso, members in rungs.items():
        alike = [shot for shot in members if _aperture(shot) in (usual, None)]
        if len(alike) < len(members):
            found.append(_other_aperture(iso, usual or 0.0, alike))
        if alike:
            kept[iso] = alike
    return kept


def _other_aperture(iso: float, usual: float, alike: Sequence[Shot]) -> Finding:
    what = "a frame" if alike else "the rung"
    wanted = label(Setting.APERTURE, usual)
    reason = f"{what} at {iso_words(iso)} was left out: it was not shot at {wanted} like the others"
    return Finding("aperture", reason, iso=iso, refuses=True)


def _aperture(shot: Shot) -> float | None:
    return shot[1].settings.snapped(Step.THIRD).aperture


def _group(iso: float, members: Sequence[Shot], found: list[Finding]) -> Group:
    """The first frames of a rung that share their settings."""
    settings = members[0][1].settings.snapped(Step.THIRD)
    alike = [shot for shot in members if shot[1].settings.snapped(Step.THIRD) == settings]
    where = iso_words(iso)
    if len(alike) < len(members):
        found.append(
            Finding("settings", f"the frames at {where} differ in their settings; the first were used", iso=iso)
        )
    if len(alike) > FRAMES_USED:
        reason = f"{where} was shot {len(alike)} times; the first {FRAMES_USED} frames were used"
        found.append(Finding("repeated rung", reason, iso=iso))
    if settings.shutter_s is None or settings.aperture is None:
        reason = f"the frames at {where} do not say their shutter time or aperture, so the light cannot be checked"
        found.append(Finding("no metadata", reason, iso=iso))
    return Group(iso, settings, tuple(path for path, _ in alike[:FRAMES_USED]), alike[0][1])


def _gaps(groups: Sequence[Group]) -> list[Finding]:
    steps = [math.log2(higher.iso / lower.iso) for lower, higher in pairwise(groups)]
    usual = sorted(steps)[(len(steps) - 1) // 2] if steps else 1.0
    found = []
    for (lower, higher), step in zip(pairwise(groups), steps, strict=True):
        if step > min(_WIDEST_STEP, _STEP_TOLERANCE * usual):
            between = f"{iso_words(lower.iso)} and {iso_words(higher.iso)}"
            reason = f"a rung is missing between {between}, so figures there are coarser"
            found.append(Finding("missing rung", reason, iso=higher.iso))
    return found
