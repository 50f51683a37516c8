"""Photographs and measurements of eyes for tests; the pictures are those of the benchmark."""

import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "scripts"))

from benchmarks.drawn_eyes import Pair, drawn
from benchmarks.simulated_eyes import CAMERA

from tetherwatch.body.records import Noise
from tetherwatch.face.records import SECTORS, EyeDetail, EyeState

SHARP = EyeDetail(200.0, 0.0, (100.0, 400.0, 900.0, 1600.0), (1.0, 2.0, 3.0, 4.0), (300.0,) * SECTORS, 1.0)
"""Eyes as sharp as they come here; the contrast of their fine detail is 40."""

STATE = EyeState("soft", "the eyes hold 45 %", 45.0, 5.0, 0.99, "focus", None)


@cache
def person(distance: int = 80) -> Pair:
    """A drawn pair of eyes."""
    return drawn(distance, seed=5)


def noise_at(iso: float) -> Noise:
    """What a ladder would have measured of the simulated camera."""
    rounding_e = 12**-0.5 / CAMERA.gain(iso)
    return Noise(iso, CAMERA.gain(iso), float(np.hypot(CAMERA.read_noise_e(iso), rounding_e)))


def scaled(part: float, sectors: tuple[float, ...] = (1.0,) * SECTORS, **changes: object) -> EyeDetail:
    """Eyes with a part of the fine contrast of sharp ones, by direction too."""
    made = replace(
        SHARP,
        energy=tuple(part**2 * energy for energy in SHARP.energy),
        sectors=tuple(part**2 * sector * each for sector, each in zip(sectors, SHARP.sectors, strict=True)),
    )
    return replace(made, **changes)  # type: ignore[arg-type]
