"""Setups: found and found again in simulated shoots, drift against its truth, and pins against what was changed."""

import random
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median
from time import perf_counter

import numpy as np
from environment import say

from benchmarks.captures import STARTED_AT, read
from benchmarks.lightings import Played, play, play_drift
from benchmarks.rows import Row, Rows
from benchmarks.stage import Lighting, Sight, paint
from benchmarks.stage import read as read_picture
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.meter.records import Aim, Reading
from tetherwatch.rehearse.camera import Camera
from tetherwatch.rehearse.capture import write_capture
from tetherwatch.rehearse.exif import capture_tags
from tetherwatch.rehearse.scene import paint as paint_studio
from tetherwatch.setups.pins import match, pin_of

SHOOTS, QUICK_SHOOTS = 300, 30
DRIFTS, QUICK_DRIFTS = 200, 30
MATCHES, QUICK_MATCHES = 400, 60
CAPTURES, QUICK_CAPTURES = 40, 8
NEAR_FRAMES = 1
"""How far a boundary may be from the truth."""

SEED = 2031
FIRST = Settings(2.0**-8, 2.0**1.5, 400.0)
PERCENT_STOPS = float(np.log2(1.02))
"""A ratio that is off by 2 %, in stops."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What came of one shoot: boundaries found of those there are, returns recognised, boundaries that are none by
    cause, and changes of clothes or framing that none came of."""

    boundaries: int
    found: int
    returns: int
    recognised: int
    restyles: int
    quiet: int
    invented: int


def measure(quick: bool) -> Rows:
    """Rows for boundaries, returns, what is invented, drift and pins."""
    shoots = QUICK_SHOOTS if quick else SHOOTS
    began = perf_counter()
    played = [play(seed) for seed in range(shoots)]
    frames = sum(len(shoot.takes) for shoot in played)
    say(f"  {frames} frames in {perf_counter() - began:.0f} s")
    rows = [*shoot_rows(played), *drift_rows(QUICK_DRIFTS if quick else DRIFTS)]
    return (
        *rows,
        *match_rows(QUICK_MATCHES if quick else MATCHES),
        *capture_rows(QUICK_CAPTURES if quick else CAPTURES),
    )


def shoot_rows(shoots: Sequence[Played]) -> list[Row]:
    """The figures of these shoots."""
    judged = [judge(shoot) for shoot in shoots]
    bounds, returns, restyles = (sum(getattr(each, name) for each in judged) for name in _COUNTED)
    found, recognised, quiet, invented = (sum(getattr(each, name) for each in judged) for name in _GOOD)
    frames = sum(len(shoot.takes) for shoot in shoots)
    return [
        Row(
            f"{len(shoots)} shoots: boundaries found within one frame, of {bounds}",
            percent(found, bounds),
            "%",
            at_least=98,
        ),
        Row(f"returns recognised, of {returns}", percent(recognised, returns), "%", at_least=95),
        Row(
            f"changes of clothes or framing that invent no setup, of {restyles}",
            percent(quiet, restyles),
            "%",
            at_least=98,
        ),
        Row(f"boundaries that are none, in {frames} frames", invented, ""),
    ]


_COUNTED = ("boundaries", "returns", "restyles")
_GOOD = ("found", "recognised", "quiet", "invented")


def percent(part: int, whole: int) -> float:
    """A share in percent; 100 of nothing."""
    return 100 * part / whole if whole else 100.0


def judge(shoot: Played) -> Judged:
    """What came of one shoot."""
    takes, found = shoot.takes, shoot.found
    true = [place for place in range(1, len(takes)) if takes[place].begins]
    seen = [place for place in range(1, len(found)) if found[place] != found[place - 1]]
    invented = [place for place in seen if not _near(place, true)]
    restyles = [place for place in range(1, len(takes)) if takes[place].restyled]
    returns = [*_returns(shoot)]
    return Judged(
        boundaries=len(true),
        found=sum(_near(place, seen) for place in true),
        returns=len(returns),
        recognised=sum(returns),
        restyles=len(restyles),
        quiet=sum(not any(0 <= place - at <= 2 for place in invented) for at in restyles),
        invented=len(invented),
    )


def _near(place: int, others: Sequence[int]) -> bool:
    return any(abs(place - other) <= NEAR_FRAMES for other in others)


def _returns(shoot: Played) -> Iterator[bool]:
    """For each return, whether most of its frames are in the setup that most frames of the first visit are in."""
    visits: list[tuple[int, bool, Counter[int]]] = []
    for take, found in zip(shoot.takes, shoot.found, strict=True):
        if take.begins:
            visits.append((take.setup, take.returns, Counter()))
        visits[-1][2][found] += 1
    first: dict[int, int] = {}
    for setup, returns, counts in visits:
        ((most, _),) = counts.most_common(1)
        if returns:
            yield most == first[setup]
        else:
            first[setup] = most


def drift_rows(count: int) -> list[Row]:
    """Slopes against the truth."""
    errors, held, silent = [], 0, 0
    for seed in range(count):
        shoot, slope = play_drift(seed)
        drift = max(shoot.session.lighting.setups, key=lambda setup: setup.frame_count).drift
        if drift is None:
            silent += 1
        else:
            errors.append(100 * abs(drift.slope / slope - 1))
            held += drift.interval[0] <= slope <= drift.interval[1]
    within = sum(error <= 10 for error in errors)
    return [
        Row(f"drift slopes within 10 % of the truth, of {count}", percent(within, count), "%", at_least=95),
        Row("median error of a slope", median(errors), "%", min(errors), max(errors), at_most=10),
        Row("intervals that hold the truth (95 % are meant)", percent(held, len(errors)), "%", at_least=92),
        Row("drifts that were not told", silent, ""),
    ]


def match_rows(count: int) -> list[Row]:
    """Matches of small pictures against what was changed between them: light, its colour, settings, white balance."""
    rng = random.Random(SEED)
    offsets, ratios = [], []
    for _ in range(count):
        sight = Sight("half", 0.1, 0.0, (0.2, 0.2, 0.2), (0.1, 0.1, 0.2), (0.3, 0.3, 0.3), card=True)
        before = Lighting(8.0 - 1.0, -0.5, (rng.gauss(0, 0.2), rng.gauss(0, 0.2)))
        change, red, blue = rng.uniform(-1.5, 1.0), rng.gauss(0, 0.15), rng.gauss(0, 0.15)
        after = replace(before, key=before.key + change, tint=(before.tint[0] + red, before.tint[1] + blue))
        settings = _turned(rng)
        pinned = pin_of(1, 1, _picture(rng, before, sight, FIRST), FIRST)
        found = match(pinned, _picture(rng, after, sight, settings))
        assert found is not None
        offsets.append(found.offset_stops - change - _brightness(settings) + _brightness(FIRST))
        ratios += [found.channel_stops["r"] - red, found.channel_stops["b"] - blue]
    return _error_rows("readings", offsets, ratios)


def capture_rows(count: int) -> list[Row]:
    """The same with real captures of a studio, written and read as raws whose white balance is anything."""
    rng = random.Random(SEED)
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        offsets, ratios = [], []
        pinned = pin_of(1, 1, _capture(Path(folder), rng, 0, FIRST, 0.0, (0.0, 0.0)), FIRST)
        for number in range(1, count + 1):
            change, tint = rng.uniform(-1.5, 1.0), (rng.gauss(0, 0.15), rng.gauss(0, 0.15))
            settings = _turned(rng)
            level = change + _brightness(settings) - _brightness(FIRST)
            found = match(pinned, _capture(Path(folder), rng, number, settings, level, tint))
            assert found is not None
            offsets.append(found.offset_stops - level)
            ratios += [found.channel_stops["r"] - tint[0], found.channel_stops["b"] - tint[1]]
    return _error_rows("raw captures", offsets, ratios)


def _error_rows(what: str, offsets: Sequence[float], ratios: Sequence[float]) -> list[Row]:
    worst, ratio = max(map(abs, offsets)), max(map(abs, ratios))
    return [
        Row(f"pins, {len(offsets)} {what}: worst error of the offset", worst, "stop", at_most=0.03),
        Row(f"pins, {len(offsets)} {what}: worst error of a channel ratio", 100 * (2**ratio - 1), "%", at_most=2),
    ]


def _turned(rng: random.Random) -> Settings:
    """Other ISO and aperture; the picture gets up to 1 stop brighter or darker."""
    iso, aperture = Dial(Setting.ISO, Step.THIRD), Dial(Setting.APERTURE, Step.THIRD)
    opened = rng.randint(-6, 6)
    assert FIRST.iso is not None and FIRST.aperture is not None
    places = (iso.position(FIRST.iso), aperture.position(FIRST.aperture))
    assert places[0] is not None and places[1] is not None
    speed = max(places[0] - opened + rng.randint(-3, 0), iso.positions[3])
    return Settings(FIRST.shutter_s, aperture.value(places[1] + min(opened, 3)), iso.value(speed))


def _brightness(settings: Settings) -> float:
    brightness = settings.brightness_stops
    assert brightness is not None
    return brightness


def _picture(rng: random.Random, lighting: Lighting, sight: Sight, settings: Settings) -> Reading:
    balance = (rng.uniform(0.0, 1.5), rng.uniform(0.0, 1.5))
    shifted = replace(lighting, key=lighting.key - 7.0 - _brightness(FIRST) - 0.5)
    return read_picture(Aim("card"), settings, paint(shifted, sight, None, 0.0), sight, balance)[0]


def _capture(
    folder: Path, rng: random.Random, number: int, settings: Settings, level: float, tint: tuple[float, float]
) -> Reading:
    """A raw of the studio under light of a colour, with a white balance that has nothing to do with it."""
    cells = paint_studio(200, 300) * np.float32(2.0 ** np.reshape((tint[0], 0.0, tint[1]), (3, 1, 1)))
    camera = Camera()
    assert settings.iso is not None
    mosaic = camera.expose(cells.astype(np.float32), level - 0.5, settings.iso, np.random.default_rng(number))
    tags = capture_tags(camera, settings, Step.THIRD, STARTED_AT, False, mosaic.shape[1])
    neutral = (rng.uniform(0.3, 0.9), 1.0, rng.uniform(0.3, 0.9))
    write_capture(folder / f"PIN_{number:04}", mosaic, replace(camera, response=neutral), tags, "dng", True)
    return read(folder / f"PIN_{number:04}.DNG", Aim("card")).reading
