"""How far the metered offset of the grey card is from the simulated truth."""

import random
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from environment import ScriptError

from benchmarks.captures import STARTED_AT, read
from benchmarks.rows import Row, Rows
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.meter.records import Aim
from tetherwatch.rehearse.light import LightKind
from tetherwatch.rehearse.options import START, Options
from tetherwatch.rehearse.session import Truth, rehearse

AT_MOST = {"raw": 0.03, "jpeg": 0.10}
"""Stops, by source."""

SOURCES = {".DNG": "raw", ".JPG": "jpeg"}
OFFSETS = (-3.0, 2.0)
LIGHTS: tuple[LightKind, ...] = ("flash", "continuous", "mixed")
ISO_POSITIONS = range(22)
"""Third-stops above ISO 100: up to ISO 12800."""

FRAMES_A_SERIES = 10
MEGAPIXELS = 1.0
SEED = 2024


@dataclass(frozen=True, slots=True)
class Sample:
    """One reading against the truth, in stops. `clipped`: pixels of the card are at saturation, so it bounds only."""

    source: str
    offset_stops: float
    error_stops: float
    clipped: bool


def measure(quick: bool) -> Rows:
    """Rows for raw and JPEG: worst, 95th percentile and median error, and the worst by offset."""
    return rows_of(samples(40 if quick else 200, SEED))


def samples(frames: int, seed: int) -> list[Sample]:
    """Both readings of `frames` captures of random light, ISO and offset."""
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        series = [
            _series(Path(folder, str(start)), rng, min(FRAMES_A_SERIES, frames - start))
            for start in range(0, frames, FRAMES_A_SERIES)
        ]
    return [sample for part in series for sample in part]


def _series(folder: Path, rng: random.Random, frames: int) -> list[Sample]:
    """Captures at one ISO under one kind of light, whose lamps someone turns to a random offset before each."""
    folder.mkdir()
    iso = Dial(Setting.ISO, Step.THIRD).value(rng.choice(ISO_POSITIONS))
    options = Options(
        frames=frames + 1,
        seed=rng.randrange(2**32),
        files="both",
        megapixels=MEGAPIXELS,
        light=rng.choice(LIGHTS),
        start=Settings(START.shutter_s, START.aperture, iso),
    )
    taken: list[Truth] = []

    def turn_lamps(_: str) -> dict[str, object]:
        move = rng.uniform(*OFFSETS) - taken[-1].offset_stops
        return {"kind": "brighter", "setting": "light", "move_stops": move}

    for truth in rehearse(folder, options, STARTED_AT, turn_lamps):
        taken.append(truth)
    return [_sample(folder / truth.file, suffix, truth) for truth in taken[1:] for suffix in SOURCES]


def _sample(path: Path, suffix: str, truth: Truth) -> Sample:
    reading = read(path.with_suffix(suffix), Aim("card")).reading
    if reading.source != SOURCES[suffix]:
        raise ScriptError(f"{truth.file} was not read from its {SOURCES[suffix]} data.")
    error = reading.offset_stops - truth.offset_stops
    return Sample(reading.source, truth.offset_stops, error, reading.area_clipped_percent > 0)


def rows_of(measured: Sequence[Sample]) -> Rows:
    """The figures of both sources; samples with a clipped card are only counted."""
    rows: list[Row] = []
    for source, at_most in AT_MOST.items():
        sound = [sample for sample in measured if sample.source == source and not sample.clipped]
        clipped = sum(sample.source == source and sample.clipped for sample in measured)
        rows += _rows(source, sound, at_most)
        rows.append(Row(f"{source}: frames left out because the card is clipped", clipped, ""))
    return tuple(rows)


def _rows(source: str, sound: Sequence[Sample], at_most: float) -> Rows:
    errors = [sample.error_stops for sample in sound]
    sizes = np.abs(errors)
    worst = f"{source}: worst error of {len(sound)} frames, {OFFSETS[0]:+g} to {OFFSETS[1]:+g} stops"
    summary = (
        Row(worst, float(max(sizes)), "stop", min(errors), max(errors), at_most),
        Row(f"{source}: 95th percentile of the error", float(np.percentile(sizes, 95)), "stop"),
        Row(f"{source}: median error", float(np.median(sizes)), "stop"),
    )
    return summary + tuple(_band_rows(source, sound))


def _band_rows(source: str, sound: Sequence[Sample]) -> list[Row]:
    """The worst error in each stop of the range."""
    rows = []
    for floor in range(round(OFFSETS[0]), round(OFFSETS[1])):
        inside = [abs(s.error_stops) for s in sound if floor <= s.offset_stops < floor + 1]
        if inside:
            rows.append(Row(f"{source}: worst error from {floor:+d} to {floor + 1:+d} stops", max(inside), "stop"))
    return rows
