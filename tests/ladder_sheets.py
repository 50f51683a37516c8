"""A ladder's result made by hand, for tests of what shows it."""

import math
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from tetherwatch.exposure.settings import Settings
from tetherwatch.ladder.records import Ceiling, Crop, Figure, Finding, Ladder, Options, Part, PixelBox, Rung
from tetherwatch.rehearse.camera import GREY_SHARE, Camera

CAMERA = Camera()
NASTY = "<img src=x onerror=alert(1)>\x1b[31m\u202e&amp;\"'"
"""What a file name or a maker's entry might hold."""

BOX = PixelBox(10, 20, 60, 40)
_PARTS: dict[Part, float] = {"dark": 0.01, "bright": 0.6, "detail": 0.2}
_VIEWING = 2.0


def _snr(signal_e: float, read_e: float) -> Figure:
    snr = signal_e / math.hypot(math.sqrt(signal_e), read_e)
    return Figure(snr, 0.01 * snr)


def _crop(part: Part, iso: float) -> Crop:
    rng = np.random.default_rng(int(iso))
    level = _PARTS[part]
    light = level + rng.normal(0, 0.004 * math.sqrt(iso / 100), (BOX.height, BOX.width, 3))
    return Crop(part, BOX, light.astype(np.float32))


def made_rung(iso: float, **values: Any) -> Rung:
    """The figures of the simulated camera at one ISO."""
    gain, read = CAMERA.gain(iso), CAMERA.read_noise_e(iso)
    grey_e, full_e = GREY_SHARE * CAMERA.limit_e(iso), CAMERA.limit_e(iso)
    grey, shadow = _snr(grey_e, read), _snr(grey_e / 8, read)
    rung = Rung(
        iso=iso,
        settings=Settings(2.0**-3 * 100 / iso, 2.0**2.5, iso),
        files=(Path("a.DNG"), Path("b.DNG")),
        method="pair",
        gain_dn_per_e=Figure(gain, gain * 0.002),
        read_noise_dn=Figure(read * gain, 0.01),
        read_noise_e=Figure(read, 0.02),
        saturation_dn=15871.0,
        saturation_e=Figure(full_e, 100),
        dynamic_range_stops=Figure(math.log2(full_e / (read + 0.5)), 0.02),
        snr_grey=grey,
        snr_grey_viewing=Figure(grey.value * _VIEWING, grey.uncertainty * _VIEWING),
        snr_shadow=shadow,
        snr_shadow_viewing=Figure(shadow.value * _VIEWING, shadow.uncertainty * _VIEWING),
        snr_grey_colour=Figure(grey.value * 0.9, grey.uncertainty),
        row_noise_dn=Figure(0.1, 0.02),
        column_noise_dn=None,
        detail_kept=Figure(1.0, 0.01),
        mismatch_stops=0.004,
        crops=tuple(_crop(part, iso) for part in _PARTS),
    )
    return replace(rung, **values)


def made_ladder(count: int = 8, **values: Any) -> Ladder:
    """A ladder from ISO 100 up, a stop a rung, with its ceiling at ISO 3200."""
    ladder = Ladder(
        rungs=tuple(made_rung(100.0 * 2**place) for place in range(count)),
        ceiling=Ceiling(3200.0, (2519.84, 4031.75), "shadows", "shadows get too noisy first", 19.0, 5.2),
        camera="Harrow Q24",
        serial="HQ-204417",
        source="raw",
        width=6000,
        height=4000,
        orientation=1,
        captured_at=datetime(2026, 3, 14, 15, 9, 26),
        options=Options(),
        grades=(10.0, 2.5),
        boxes=dict.fromkeys(_PARTS, BOX),
    )
    return replace(ladder, **values)


def named_ladder(name: str) -> Ladder:
    """A ladder whose camera, serial number, file names and findings hold `name`."""
    finding = Finding("flicker", f"light in {name} pulses", 1600.0, Path(name.replace("/", "")))
    ladder = made_ladder(3, camera=name, serial=name, warnings=(finding,))
    return replace(ladder, rungs=(made_rung(100.0, warnings=(finding,)), *ladder.rungs[1:]))
