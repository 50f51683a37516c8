"""What it costs to take two frames for frames under one light, in nats: how unlikely their pictures are if so."""

from collections.abc import Mapping

from tetherwatch.advise.likeness import ALIKE_STOPS, setting_moves
from tetherwatch.advise.records import LightKind
from tetherwatch.exposure.stops import Setting
from tetherwatch.setups.kinship import Kinship, kinship
from tetherwatch.setups.records import Sample

STRANGE = 8.0
"""Cost, in nats, of a frame that shows another light: no frame costs more."""

_SAME_PART, _OTHER_PART = 0.65, 0.2
"""Parts of a picture that are found again: of clear simulated frames 95 % of those under one light show more than the
first (light drifts or is turned in the others) and 95 % of those under two lights less than the second."""

_UNSEEN_COST = 4.0
"""Cost of a picture of which so little is neither clipped nor black that it may be other clothes only."""

_BETTER_PART = 0.25
"""A shift that explains so much more of the picture is one of the light."""

_WARM_FOUND, _WARM_BETTER, _WARM_COST = 0.1, 0.45, 6.0
"""Warm materials of which so little is found, and so much more by a shift, tell of another light."""

_AREA_SIGMA_STOPS = 0.13
"""Scatter of the metered area's light from frame to frame: flash, shutter and iris together, and small movements."""

_AREA_TOLD = (-5.0, 1.5)
"""Levels of the metered area between which nothing much of it is black or clipped."""


def strangeness(light: LightKind, known: Sample, new: Sample, asked_stops: float = 0.0) -> float:
    """Cost in nats, 0 to `STRANGE`, of taking `new` for a frame under the light of `known`.

    `asked_stops`: light that was asked for between them.
    """
    moved = setting_moves(known.settings, new.settings)
    if moved is None:
        return 0.0
    explained = _explained(light, moved, asked_stops)
    kin = kinship(known.look, new.look, explained)
    if kin is None:
        return _of_area(known, new, explained)
    of_subject = _of_area(known, new, explained) if new.area == "face" else 0.0
    return min(_of_look(kin) + of_subject, STRANGE)


def _of_area(known: Sample, new: Sample, explained: tuple[float, float]) -> float:
    """The same of the metered area alone, where it is the same one and its level is told."""
    levels = (known.level_stops, new.level_stops)
    same = known.area == new.area and (known.area == "face" or known.metered == new.metered)
    if not same or min(levels) < _AREA_TOLD[0] or max(levels) > _AREA_TOLD[1]:
        return 0.0
    change = new.level_stops - known.level_stops
    beyond = change - min(max(change, explained[0]), explained[1])
    return min((beyond / _AREA_SIGMA_STOPS) ** 2 / 2, STRANGE)


def _of_look(kin: Kinship) -> float:
    if abs(kin.shift_stops) > ALIKE_STOPS and kin.shifted - kin.same > _BETTER_PART:
        return STRANGE
    warm = kin.warm < _WARM_FOUND and kin.warm_shifted - kin.warm > _WARM_BETTER
    return max(STRANGE * _doubt(kin.same), _UNSEEN_COST * _doubt(kin.seen), _WARM_COST if warm else 0.0)


def _doubt(part: float) -> float:
    return min(max((_SAME_PART - part) / (_SAME_PART - _OTHER_PART), 0.0), 1.0)


def _explained(light: LightKind, moved: Mapping[Setting, float], asked: float) -> tuple[float, float]:
    """The least and the most that settings, and light that was asked for, may have changed the level by."""
    most = sum(moved.values())
    least = most if light == "continuous" else most - moved[Setting.SHUTTER]
    return min(least, most) + min(asked, 0.0), max(least, most) + max(asked, 0.0)
