"""Play a noise ladder: the same still life at ISO after ISO, each time with half the light time, and its truth.

The camera stands on a tripod, aperture and light stay. What can go wrong with a ladder is a `Disturbance`, and it
begins at the middle rung.
"""

import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import BASE_ISO, Setting, value_at
from tetherwatch.rehearse.camera import Camera
from tetherwatch.rehearse.capture import (
    capture_name,
    check_writable,
    file_name,
    next_number,
    write_capture,
    write_truth,
)
from tetherwatch.rehearse.exif import capture_tags
from tetherwatch.rehearse.options import Files, cell_grid, check_ranges
from tetherwatch.rehearse.scene import Cells
from tetherwatch.rehearse.still import set_table

Disturbance = Literal["flicker", "moved", "skipped", "repeated", "light", "nd", "aperture", "denoised", "clipped"]
"""Lamps that pulse with the mains; a tripod that was knocked; a rung not shot; a rung shot twice; light that changed; a
neutral density filter with a longer time; another aperture with a shorter time; the camera's own noise reduction; too
much exposure (from the first rung on)."""

CAMERA = replace(Camera(), prnu=0.005)

START = Settings(shutter_s=2.0**-3, aperture=2.0**2.5, iso=BASE_ISO)
"""1/8 s, f/5.6, ISO 100."""

LIGHT_CHANGE_STOPS = -0.5
ND_STOPS = 3.0
CLIPPED_STOPS = 4.0
MOVED_CELLS = (3, 5)
FLICKER_DEPTH = 0.3

_PULSES_HZ = 100.0
_KEPT_NOISE = 0.4

_RANGES = {
    "rungs": (1, 10),
    "frames": (1, 100),
    "seed": (0, 2**32 - 1),
    "every_s": (0.0, 3600.0),
    "megapixels": (0.05, 100.0),
    "offset_stops": (-10.0, 10.0),
}


@dataclass(frozen=True, slots=True)
class LadderOptions:
    """Which ladder to rehearse. Raises UsageError for what cannot be played.

    `frames` are those of each rung; `offset_stops` is where the grey card sits against mid-grey.
    """

    rungs: int = 8
    frames: int = 2
    seed: int = 1
    every_s: float = 4.0
    files: Files = "dng"
    compressed: bool = True
    megapixels: float = 6.0
    offset_stops: float = 0.0
    disturbance: Disturbance | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be played."""
        check_ranges(self, _RANGES)


@dataclass(frozen=True, slots=True)
class LadderTruth:
    """What is known of one frame of a rehearsed ladder.

    `rung` counts from 1 at the lowest ISO. `settings` are exact dial values, `offset_stops` is the grey card against
    mid-grey. `gain_dn_per_e` are codes per electron, `read_noise_e` is before rounding to codes, `saturation_e` the
    electrons at which a pixel clips at this ISO, `full_well_e` what it can hold at all. `prnu` is relative. `nd_stops`
    is the filter before the lens. `disturbance`: what is wrong with this frame, None if nothing is.
    """

    file: str
    captured_at: str
    rung: int
    settings: Settings
    offset_stops: float
    gain_dn_per_e: float
    read_noise_e: float
    saturation_e: float
    full_well_e: float
    prnu: float
    nd_stops: float = 0.0
    disturbance: Disturbance | None = None


@dataclass(frozen=True, slots=True)
class _Rung:
    """One stop of the ladder, shot `frames` times; `light_stops` is the light against that of the first rung."""

    number: int
    settings: Settings
    frames: int
    light_stops: float = 0.0
    nd_stops: float = 0.0
    disturbance: Disturbance | None = None


def rehearse_ladder(
    folder: Path, options: LadderOptions, started_at: datetime, camera: Camera = CAMERA
) -> Iterator[LadderTruth]:
    """Write a ladder into `folder`, a capture for each truth taken from the iterator.

    The truth is also added to `truth.jsonl` there, before the capture appears. The same options give the same pixels;
    nothing is overwritten. Raises MissingExtraError when DNG files cannot be written, OSError when the folder cannot.
    """
    check_writable(options.files)
    cells = set_table(*cell_grid(options.megapixels))
    first = next_number(folder)
    shots = (rung for rung in _rungs(options) for _ in range(rung.frames))
    for index, rung in enumerate(shots):
        rng = np.random.default_rng((options.seed, index))
        name, captured_at = capture_name(first + index), started_at + timedelta(seconds=index * options.every_s)
        truth = _truth(file_name(name, options.files), captured_at, rung, _offset_stops(rung, options, index), camera)
        write_truth(folder, asdict(truth))
        mosaic = _expose(cells, rung, truth.offset_stops, camera, rng)
        tags = capture_tags(camera, rung.settings, Step.THIRD, captured_at, False, mosaic.shape[1])
        write_capture(folder / name, mosaic, camera, tags, options.files, options.compressed)
        yield truth


def _rungs(options: LadderOptions) -> Iterator[_Rung]:
    middle = options.rungs // 2
    for place in range(options.rungs):
        rung = _Rung(place + 1, _settings(place), options.frames)
        if options.disturbance == "clipped":
            yield replace(rung, light_stops=CLIPPED_STOPS, disturbance="clipped")
        elif options.disturbance is None or place < middle:
            yield rung
        else:
            yield from _disturbed(rung, options.disturbance, place == middle)


def _settings(place: int, longer_stops: float = 0.0) -> Settings:
    """ISO doubled and time halved `place` times."""
    shutter = value_at(Setting.SHUTTER, math.log2(START.shutter_s or 1.0) - place + longer_stops)
    return Settings(shutter, START.aperture, value_at(Setting.ISO, float(place)))


def _disturbed(rung: _Rung, disturbance: Disturbance, at_middle: bool) -> Iterator[_Rung]:
    """What becomes of a rung from the middle of the ladder on."""
    place = rung.number - 1
    if disturbance == "light":
        yield replace(rung, light_stops=LIGHT_CHANGE_STOPS, disturbance=disturbance)
    elif disturbance == "nd":
        yield replace(rung, settings=_settings(place, ND_STOPS), nd_stops=ND_STOPS, disturbance=disturbance)
    elif disturbance in ("flicker", "moved", "denoised"):
        yield replace(rung, disturbance=disturbance)
    elif not at_middle:
        yield rung
    elif disturbance == "repeated":
        yield rung
        yield replace(rung, disturbance=disturbance)
    elif disturbance == "aperture":
        wider = replace(_settings(place, -1.0), aperture=2.0**2)
        yield replace(rung, settings=wider, disturbance=disturbance)


def _offset_stops(rung: _Rung, options: LadderOptions, index: int) -> float:
    """The grey card against mid-grey."""
    moved = (rung.settings.brightness_stops or 0.0) - (START.brightness_stops or 0.0)
    flicker = _flicker_stops(rung.settings, options.seed, index) if rung.disturbance == "flicker" else 0.0
    return options.offset_stops + moved + rung.light_stops - rung.nd_stops + flicker


def _flicker_stops(settings: Settings, seed: int, index: int) -> float:
    """What lamps that pulse like a cosine give over the shutter's time; every other frame meets the opposite phase."""
    phase = math.pi * index + np.random.default_rng((seed, index // 2)).uniform(-math.pi / 4, math.pi / 4)
    share = float(np.sinc(_PULSES_HZ * (settings.shutter_s or 0.0)))
    return math.log2(1 + FLICKER_DEPTH * share * math.cos(phase))


def _truth(file: str, captured_at: datetime, rung: _Rung, offset_stops: float, camera: Camera) -> LadderTruth:
    iso = rung.settings.iso or BASE_ISO
    return LadderTruth(
        file=file,
        captured_at=captured_at.isoformat(),
        rung=rung.number,
        settings=rung.settings,
        offset_stops=offset_stops,
        gain_dn_per_e=camera.gain(iso),
        read_noise_e=camera.read_noise_e(iso),
        saturation_e=camera.limit_e(iso),
        full_well_e=camera.full_well_e,
        prnu=camera.prnu,
        nd_stops=rung.nd_stops,
        disturbance=rung.disturbance,
    )


def _expose(
    cells: Cells, rung: _Rung, offset_stops: float, camera: Camera, rng: np.random.Generator
) -> NDArray[np.uint16]:
    seen = np.roll(cells, MOVED_CELLS, axis=(1, 2)) if rung.disturbance == "moved" else cells
    mosaic = camera.expose(seen, offset_stops, rung.settings.iso or BASE_ISO, rng)
    return _denoised(mosaic) if rung.disturbance == "denoised" else mosaic


def _denoised(mosaic: NDArray[np.uint16]) -> NDArray[np.uint16]:
    """A camera's own noise reduction: each pixel mixed with the mean of its neighbours of the same colour."""
    smooth = np.empty(mosaic.shape, np.float32)
    for place in ((0, 0), (0, 1), (1, 0), (1, 1)):
        site = mosaic[place[0] :: 2, place[1] :: 2].astype(np.float32)
        around = sum(np.roll(site, step, axis) for axis in (0, 1) for step in (-1, 1)) / 4
        smooth[place[0] :: 2, place[1] :: 2] = _KEPT_NOISE * site + (1 - _KEPT_NOISE) * around
    return np.rint(smooth).astype(np.uint16)
