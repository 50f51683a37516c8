"""Whether the rungs of a ladder show the same scene in the same light, with their noise untouched: before any figure.

The thresholds are ours unless said otherwise, tested against simulated ladders with and without disturbances.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tetherwatch.frame.picture import OTHER_PROFILE, UNSOUND
from tetherwatch.ladder.grouping import Group, iso_words, refuse
from tetherwatch.ladder.look import Look
from tetherwatch.ladder.records import Finding, Kind
from tetherwatch.ladder.register import Shift, find_shift
from tetherwatch.ladder.tiles import Tiles
from tetherwatch.ladder.transfer import Transfer

MATCH_STOPS = 1 / 6
"""Rungs whose light differs by no more than half a third-stop step are matched."""

MOST_UNMATCHED_STOPS = 1.0
"""A rung that is further from the ladder's exposure than this is left out."""

FLICKER_STOPS = 0.04
"""The two frames of a pair may differ by so much: shutters repeat to a few percent (judgement)."""

MOVED_PIXELS = 1.0
"""Pixels of the picture; what a knocked tripod exceeds and a shutter's shake does not."""

LEAST_LIKENESS = 0.5

CLIPPED_PERCENT, ALL_CLIPPED_PERCENT = 2.0, 60.0
BLACK_PERCENT, ALL_BLACK_PERCENT = 60.0, 99.0

CORRELATION = 0.05
"""Noise of a bare sensor is white: neighbours of the same colour have nothing in common but rows and columns."""

_SPREADS = 4.0
"""Tiles that come so near to saturation or to code 0, in their own standard deviations, are not measured."""

_LEAST_SIGNAL = 0.01
"""Part of saturation below which the light of a tile says little."""


@dataclass(frozen=True, slots=True)
class Checked:
    """What the checks found at one rung.

    `level_stops`: its picture against the lowest rung's; `mismatch_stops` and `compensated_stops` as in `Rung`.
    `in_place`: it shows the same scene, unshifted. `refused`: it is left out.
    """

    findings: tuple[Finding, ...]
    level_stops: float
    mismatch_stops: float
    compensated_stops: float
    in_place: bool

    @property
    def refused(self) -> bool:
        """Whether the rung is left out of the figures."""
        return any(finding.refuses for finding in self.findings)


@dataclass(frozen=True, slots=True)
class Seen:
    """One rung that is measured: what was asked for, what was seen, what the checks said."""

    group: Group
    look: Look
    checked: Checked


def check_all(looks: Sequence[Look]) -> tuple[Finding, ...]:
    """What concerns the ladder as a whole. Raises Refusal."""
    if all(look.clipped_percent > ALL_CLIPPED_PERCENT for look in looks):
        refuse(
            "clipped", "nearly everything in all frames is clipped: expose less, so that only lamps and mirrors clip"
        )
    if all(look.black_percent > ALL_BLACK_PERCENT for look in looks):
        refuse("black", "all frames are black: take the lens cap off or give more light")
    if any(OTHER_PROFILE in look.notes for look in looks):
        refuse("unknown curve", "these pictures are not in sRGB, so their tones say nothing about light: shoot raw")
    pairs = all(look.is_pair for look in looks)
    if looks[0].source != "raw" and not pairs:
        refuse("single frames", "finished pictures show their noise only in pairs: shoot two frames a rung, or raw")
    found = []
    if looks[0].source != "raw":
        reason = "only finished pictures were there: all figures are those after the camera's processing"
        found.append(Finding("processed", reason))
    if not pairs:
        found.append(
            Finding("single frames", "not every rung has two frames, so figures are less certain: shoot pairs")
        )
    if not looks[0].contrast:
        found.append(Finding("scene", "the scene is too even to see whether the camera moved"))
    return tuple(found)


def check_rung(group: Group, look: Look, lowest_group: Group, lowest: Look) -> Checked:
    """What is found at one rung, against the lowest one."""
    find = _Found(group.iso)
    level = level_stops(look, lowest)
    in_place = _check_scene(look, lowest, find)
    mismatch, compensated = _check_light(level, _settings_stops(group, lowest_group), find)
    _check_tones(look, find)
    if UNSOUND in look.notes:
        find("damaged", "its data are not quite sound, so that a part of its picture may be wrong; left out", True)
    if abs(look.pair_stops) > FLICKER_STOPS:
        find("flicker", f"its two frames differ by {abs(look.pair_stops):.2f} stop, so the light flickers or drifts")
    raw = look.source == "raw"
    if raw and look.is_pair and not find.refused and _is_smoothed(look):
        find("noise reduction", "its noise is alike in neighbouring pixels, as noise reduction in the camera leaves it")
    if raw and not look.is_pair and not in_place and not find.refused:
        find(
            "single frames", "a single frame shows its noise only where the lowest rung shows the same; left out", True
        )
    return Checked(tuple(find.findings), level, mismatch, compensated, in_place)


class _Found:
    """Collects what is found at one rung."""

    def __init__(self, iso: float) -> None:
        self.findings: list[Finding] = []
        self._iso = iso

    @property
    def refused(self) -> bool:
        """Whether something refuses the rung."""
        return any(finding.refuses for finding in self.findings)

    def __call__(self, kind: Kind, reason: str, refuses: bool = False) -> None:
        """Add one thing."""
        self.findings.append(Finding(kind, f"{iso_words(self._iso)}: {reason}", iso=self._iso, refuses=refuses))


def level_stops(look: Look, lowest: Look) -> float:
    """Brightness of a rung's picture against the lowest rung's, in stops: the median of the tiles sound in both.

    Of a pair half-way between its frames.
    """
    return first_level_stops(look, lowest) + (look.pair_stops - lowest.pair_stops) / 2


def first_level_stops(look: Look, lowest: Look) -> float:
    """The same of their first frames."""
    enough = lowest.texture.signal > _LEAST_SIGNAL * lowest.saturation[lowest.green]
    both = enough & sound_tiles(look.texture, look) & sound_tiles(lowest.texture, lowest) & (look.texture.signal > 0)
    if not both.any():
        return math.log2(max(float(look.texture.signal.mean()), 1e-9) / max(float(lowest.texture.signal.mean()), 1e-9))
    return float(np.median(np.log2(look.texture.signal[both] / lowest.texture.signal[both])))


def sound_tiles(tiles: Tiles, look: Look, noise: Transfer | None = None) -> NDArray[np.bool_]:
    """Which tiles reach neither saturation nor the lowest code.

    Without `noise`, the line that the rung's noise follows, that is told from each tile's own spread: which leaves out
    tiles whose noise came out large, so that near the ends those that are left show too little of it.
    """
    square = tiles.spread**2
    if noise is not None:
        scene = np.maximum(square - tiles.variance, 0.0)
        square = scene + np.maximum(noise.gain * tiles.signal + noise.dark, 0.0)
    reach = _SPREADS * np.sqrt(square)
    return (tiles.signal + reach < look.saturation[tiles.channel]) & (tiles.signal - reach > -max(look.black, 1.0))


def _settings_stops(group: Group, lowest: Group) -> float | None:
    """How much brighter than the lowest rung's picture the settings make this one; None if they are not known."""
    own, other = group.settings.brightness_stops, lowest.settings.brightness_stops
    return None if own is None or other is None else own - other


def _check_light(level: float, settings: float | None, find: _Found) -> tuple[float, float]:
    """Mismatch and compensation in stops, from how much brighter a rung's picture is and its settings make it."""
    asked = settings or 0.0
    mismatch = level - asked
    if abs(level) > MATCH_STOPS:
        _find_other_exposure(level, mismatch, find)
    elif abs(mismatch) > MATCH_STOPS:
        who = "a filter or the lamps took" if mismatch < 0 else "the lamps gave"
        stops = f"{abs(mismatch):.1f} stops of light"
        find("compensated", f"{who} {stops}, which the settings made up for; taken into account")
        return level, -asked
    return mismatch, 0.0


def _find_other_exposure(level: float, mismatch: float, find: _Found) -> None:
    side = "darker" if level < 0 else "brighter"
    far = abs(level) > MOST_UNMATCHED_STOPS
    fate = "left out" if far else "taken into account"
    kind: Kind = "light"
    why = "though its settings do not say so: the light changed"
    if abs(mismatch) <= MATCH_STOPS:
        kind, why = "settings", "by its settings"
    find(kind, f"its picture is {abs(level):.2f} stop {side} than the lowest rung's {why}; {fate}", far)


def _check_scene(look: Look, lowest: Look, find: _Found) -> bool:
    """Whether the rung shows the lowest rung's scene, unshifted, and its two frames each other's."""
    if not lowest.contrast:
        return True
    shift = Shift(0.0, 0.0, 1.0) if look is lowest else find_shift(lowest.small[0], look.small[0])
    if shift.likeness < LEAST_LIKENESS:
        find("scene", "it shows another scene than the lowest rung; left out", True)
        return False
    pixels = shift.distance * look.small_side
    if look.is_pair and _distance(find_shift(look.small[0], look.small[1]), look) > MOVED_PIXELS:
        find("moved", "the camera moved between its two frames; left out", True)
        return False
    if pixels > MOVED_PIXELS:
        find(
            "moved", f"the camera moved: the picture is shifted by {pixels:.0f} pixels, so its detail was not compared"
        )
    return pixels <= MOVED_PIXELS


def _distance(shift: Shift, look: Look) -> float:
    return shift.distance * look.small_side


def _check_tones(look: Look, find: _Found) -> None:
    if look.clipped_percent > CLIPPED_PERCENT:
        refused = look.clipped_percent > ALL_CLIPPED_PERCENT
        find("clipped", f"{look.clipped_percent:.0f} % of a channel is clipped{'; left out' * refused}", refused)
    if look.black_percent > BLACK_PERCENT:
        refused = look.black_percent > ALL_BLACK_PERCENT
        find("black", f"{look.black_percent:.0f} % of the picture is black{'; left out' * refused}", refused)


def _is_smoothed(look: Look) -> bool:
    """Whether noise is alike in neighbouring pixels, in green and along both or either axis."""
    pairs = [tiles.neighbours for tiles in look.noise if tiles.channel == look.green and tiles.neighbours is not None]
    return bool(pairs) and max(np.mean(pairs, axis=0)) > CORRELATION
