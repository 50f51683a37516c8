"""Sharp eyes against blurred ones at every ISO, exposure and size, and whether the kind of blur is told right."""

import statistics
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from benchmarks.drawn_eyes import Look, Pair, astronaut, drawn
from benchmarks.rows import Row, Rows, median_row
from benchmarks.simulated_eyes import SATURATION, Blur, face_of, photographed, shot
from tetherwatch.face.eyedetail import measure_eyes
from tetherwatch.face.records import EyeDetail, EyeState
from tetherwatch.face.softness import judge_eyes, shared_bands, sure_contrast

SEED = 2031
ISOS = tuple(100 * 2**k for k in range(7))
PIXELS = (2, 3, 4, 6, 8, 12)
NOISY_ISO = 800
LEAST_AREA = 97.0
"""Percent."""

_PERSON = 5
_SIZES = (60, 120, 240)
_LOOKS = 8
_SOFT_PART = 0.04
"""Blur, as a part of the eye distance, from which on the verdict should be "soft"."""


@dataclass(frozen=True, slots=True)
class Series:
    """Photographs of one pair of eyes at one ISO: sharp ones, and blurred ones by blur."""

    iso: int
    distance: int
    sharp: tuple[EyeDetail, ...]
    blurred: tuple[tuple[Blur, EyeDetail], ...]

    def by(self, kind: str, pixels: float) -> list[EyeDetail]:
        """The photographs with one blur, in any direction."""
        return [detail for blurred, detail in self.blurred if (blurred.kind, blurred.pixels) == (kind, pixels)]


def measure(quick: bool) -> Rows:
    """Rows for ranking by ISO, by blur and across sizes and exposures, for verdicts, and for the time it takes."""
    isos, each, size = (ISOS[::3], 2, 80) if quick else (ISOS, 8, 120)
    pairs = [astronaut(2.0), drawn(80, _PERSON)] if quick else _pairs()
    rng = np.random.default_rng(SEED)
    taken = [series(pair, iso, each, rng) for pair in pairs for iso in isos]
    return (
        *ranking_rows(taken),
        *blur_rows([one for one in taken if one.iso == isos[-1]]),
        size_row(size, each, rng),
        exposure_row(pairs[0], 4 * each, rng),
        *verdict_rows(judged(size, isos, 2 * each, rng), size),
        time_row(pairs[-1], rng),
    )


def _pairs() -> list[Pair]:
    return [astronaut(1.0), astronaut(2.0), *(drawn(size, _PERSON) for size in _SIZES)]


def series(pair: Pair, iso: int, each: int, rng: np.random.Generator) -> Series:
    """So many photographs of each blur, three times as many sharp ones, all of them exposed and found with errors."""
    blurs = [blurred for _ in range(each) for blurred in any_blurs(rng)]
    return Series(
        iso,
        round(pair.distance),
        tuple(shot(pair, iso, rng) for _ in range(3 * each)),
        tuple((blurred, shot(pair, iso, rng, blurred)) for blurred in blurs),
    )


def any_blurs(rng: np.random.Generator) -> Iterable[Blur]:
    """Every length of a smear, in some direction, and every disc."""
    for pixels in PIXELS:
        yield Blur("motion", pixels, rng.uniform(0, 180))
        yield Blur("focus", pixels)


def area_under_curve(better: Sequence[float], worse: Sequence[float]) -> float:
    """Percent of pairs in which one of `better` ranks above one of `worse`, ties counting half."""
    above = np.subtract.outer(np.asarray(better), np.asarray(worse))
    return 100 * float((above > 0).mean() + (above == 0).mean() / 2)


def ranks(details: Sequence[EyeDetail], bands: int) -> list[float]:
    """What frames are ranked by."""
    return [sure_contrast(detail, bands) for detail in details]


def ranking_rows(taken: Sequence[Series]) -> Rows:
    """Sharp against blurred at each ISO, eyes for eyes, and noisy blurred frames against sharp clean ones."""
    rows = []
    for iso in sorted({one.iso for one in taken}):
        areas = [_area(one.sharp, [detail for _, detail in one.blurred]) for one in taken if one.iso == iso]
        name = f"ISO {iso}: area under the ROC curve, worst of {len(areas)} pairs of eyes"
        rows.append(Row(name, min(areas), "%", min(areas), max(areas), at_least=LEAST_AREA))
    return (*rows, above_row(taken))


def _area(sharp: Sequence[EyeDetail], blurred: Sequence[EyeDetail]) -> float:
    bands = shared_bands([*sharp, *blurred])
    return area_under_curve(ranks(sharp, bands), ranks(blurred, bands))


def above_row(taken: Sequence[Series]) -> Row:
    """Pairs of a noisy blurred frame and a sharp clean one that are ranked the wrong way round."""
    wrong, count = 0, 0
    for clean in (one for one in taken if one.iso == ISOS[0]):
        for noisy in (one for one in taken if one.iso >= NOISY_ISO and one.distance == clean.distance):
            for _, detail in noisy.blurred:
                bands = shared_bands([detail, *clean.sharp])
                wrong += sum(rank <= sure_contrast(detail, bands) for rank in ranks(clean.sharp, bands))
                count += len(clean.sharp)
    name = f"blurred at ISO {NOISY_ISO} and up, ranked above sharp at ISO {ISOS[0]}, of {count} pairs"
    return Row(name, wrong, "", at_most=0)


def blur_rows(taken: Sequence[Series]) -> Rows:
    """The worst pair of eyes for each blur, at the highest ISO."""
    rows = []
    for kind in ("motion", "focus"):
        for pixels in PIXELS:
            areas = [_area(one.sharp, one.by(kind, pixels)) for one in taken]
            name = f"ISO {taken[0].iso}, {kind}, {pixels} pixels: area, worst pair of eyes"
            rows.append(Row(name, min(areas), "%", min(areas), max(areas)))
    return tuple(rows)


def size_row(distance: int, each: int, rng: np.random.Generator) -> Row:
    """The same eyes at one size and at twice that, blurred in proportion, all ranked together."""
    sharp, blurred = [], []
    for scale in (1, 2):
        pair = drawn(scale * distance, _PERSON)
        sharp += [shot(pair, ISOS[0], rng) for _ in range(2 * each)]
        for part in (0.04, 0.06, 0.1):
            pixels = part * pair.distance
            for one in (Blur("focus", pixels), Blur("motion", pixels, rng.uniform(0, 180))):
                blurred += [shot(pair, ISOS[0], rng, one) for _ in range(each)]
    name = f"eyes {distance} and {2 * distance} pixels apart, blurred by 4 % of that and more, ranked together: area"
    return Row(name, _area(sharp, blurred), "%", at_least=LEAST_AREA)


def exposure_row(pair: Pair, each: int, rng: np.random.Generator) -> Row:
    """Sharp and dark against blurred and bright, and the other way round."""
    areas = []
    for dark, bright in ((-2.0, 1.0), (1.0, -2.0)):
        sharp = [shot(pair, ISOS[0], rng, None, dark) for _ in range(each)]
        areas.append(_area(sharp, [shot(pair, ISOS[0], rng, Blur("focus", 2), bright) for _ in range(each)]))
    name = "sharp 2 stops under against 2 pixels of defocus 1 stop over, and reversed: area"
    return Row(name, min(areas), "%", at_least=LEAST_AREA)


Told = tuple[Blur | None, EyeState]


def judged(distance: int, isos: Sequence[int], each: int, rng: np.random.Generator, looks: int = _LOOKS) -> list[Told]:
    """Verdicts on someone who looks about, after a dozen sharp frames; blurred frames by what blurred them."""
    pairs = [drawn(distance, _PERSON, _any_look(rng)) for _ in range(looks)]
    told: list[Told] = []
    for iso in isos:
        earlier = [shot(pairs[k % looks], iso, rng) for k in range(12)]
        for blurred in [None] * (4 * each) + [one for _ in range(each) for one in any_blurs(rng)]:
            detail = shot(pairs[rng.integers(looks)], iso, rng, blurred)
            told.append((blurred, judge_eyes(detail, earlier)))
    return told


def _any_look(rng: np.random.Generator) -> Look:
    return Look((rng.uniform(-0.04, 0.04), rng.uniform(-0.02, 0.02)), rng.uniform(0.7, 1.1))


def verdict_rows(told: Sequence[Told], distance: int) -> Rows:
    """False alarms, what is found, and how often cause and direction are right."""
    sharp = [state for blurred, state in told if blurred is None]
    strong = [state for blurred, state in told if blurred is not None and blurred.pixels >= _SOFT_PART * distance]
    soft = [(blurred, state) for blurred, state in told if blurred is not None and state.verdict == "soft"]
    right = [blurred.kind == state.cause for blurred, state in soft]
    wrong = [state.cause not in (blurred.kind, "unknown") for blurred, state in soft]
    moved = [(blurred.degrees, state.direction_deg) for blurred, state in soft if blurred.kind == "motion"]
    errors = [_apart(true, seen) for true, seen in moved if seen is not None]
    blurred_by = f"blurred by {100 * _SOFT_PART:g} % of their distance and more"
    return (
        Row(f"sharp eyes called soft, of {len(sharp)}", _soft_percent(sharp), "%", at_most=1),
        Row(f"eyes {blurred_by} called soft, of {len(strong)}", _soft_percent(strong), "%", at_least=90),
        Row(f"motion or focus told right, of {len(soft)} soft", _percent(right), "%", at_least=90),
        Row("told wrong", _percent(wrong), "%"),
        median_row("direction of the motion, degrees off", errors, ""),
    )


def _soft_percent(states: Sequence[EyeState]) -> float:
    return _percent([state.verdict == "soft" for state in states])


def _percent(hits: Sequence[bool]) -> float:
    return 100 * sum(hits) / len(hits)


def _apart(one: float, other: float) -> float:
    """Angle between two directions, in degrees."""
    return abs((one - other + 90) % 180 - 90)


def time_row(pair: Pair, rng: np.random.Generator) -> Row:
    """How long a frame's eyes take."""
    frame, face, times = photographed(pair.light, 400, 0.0, rng), face_of(pair), []
    for _ in range(9):
        start = time.perf_counter()
        measure_eyes(frame, face, 1, SATURATION)
        times.append(1000 * (time.perf_counter() - start))
    return Row(
        f"time for eyes {pair.distance:.0f} pixels apart", statistics.median(times), "ms", min(times), max(times)
    )
