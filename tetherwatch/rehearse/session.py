"""Play a rehearsal: expose each frame of a script, write it, and write down the truth about it."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tetherwatch.exposure.dial import Dial
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import BASE_ISO, Setting, brightness
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
from tetherwatch.rehearse.follow import NextCall, apply_call
from tetherwatch.rehearse.light import Light
from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.scene import SHADE_STOPS, Cells, held_card, paint, shaded
from tetherwatch.rehearse.script import Moment, Odd, moments

CAP_STOPS = -20.0
"""What a lens cap does to the light."""

WEAK_POP = 0.6
"""Part of its flash that a head gives which has not recharged: 0.7 stop less."""

_POPS: dict[Odd | None, float] = {"misfire": 0.0, "weak": WEAK_POP}


@dataclass(frozen=True, slots=True)
class Truth:
    """What is known of a rehearsed capture.

    `offset_stops`: the grey card against mid-grey. `light_stops`: the level the lamps are set to (see `light`).
    `settings` are exact dial values. `clipped_percent` by channel is that of the whole picture before noise. `odd`:
    what is wrong with this one frame, None if nothing is.
    """

    file: str
    captured_at: str
    offset_stops: float
    light_stops: float
    settings: Settings
    flash_fired: bool
    setup: int
    clipped_percent: Mapping[str, float]
    odd: Odd | None = None


@dataclass(frozen=True, slots=True)
class _Shot:
    """One press of the release: file name without its suffix, light, settings, and what the script says."""

    name: str
    light: Light
    settings: Settings
    moment: Moment
    captured_at: datetime


def rehearse(
    folder: Path,
    options: Options,
    started_at: datetime,
    next_call: NextCall | None = None,
    camera: Camera | None = None,
) -> Iterator[Truth]:
    """Write the captures of a rehearsal into `folder`, one for each truth taken from the iterator.

    The truth is also added to `truth.jsonl` there, before the capture appears. With `next_call` the settings follow its
    calls, asked for when the next frame is taken; without it, a photographer works unaided. File numbers go on from
    those in the folder: nothing is overwritten. The same options give the same pixels. Raises UsageError for a call
    that cannot be followed, MissingExtraError when DNG files cannot be written, OSError when the folder cannot be.
    """
    check_writable(options.files)
    camera = camera or Camera()
    cells = paint(*options.cell_grid)
    for index, shot in enumerate(_shots(folder, options, started_at, next_call)):
        rng = np.random.default_rng((options.seed, index))
        picture, stops = _picture(cells, shot.moment.odd), _picture_stops(shot, options, rng)
        truth = _truth(shot, options, stops, camera.clipped_percent(picture, stops, _iso(shot.settings)))
        write_truth(folder, asdict(truth))
        mosaic = camera.expose(picture, stops, _iso(shot.settings), rng)
        _write(folder, shot, mosaic, options, camera)
        yield truth


def _shots(folder: Path, options: Options, started_at: datetime, next_call: NextCall | None) -> Iterator[_Shot]:
    first, settings, moved_stops = next_number(folder), options.start, 0.0
    right = Light(options.light_kind, 0.0)
    right = right.moved(-right.offset_stops(options.start))
    name, paused_s = "", 0.0
    for index, moment in enumerate(moments(options.scene, options.frames, options.seed)):
        if next_call is None:
            settings = _unaided(options, moment)
        elif name:
            call = next_call(file_name(name, options.files)) or {}
            settings, moved_stops = apply_call(settings, moved_stops, call, options.step)
        name = capture_name(first + index)
        light = right.moved(moment.light_stops + moved_stops)
        paused_s += moment.pause_s
        captured_at = started_at + timedelta(seconds=index * options.every_s + paused_s)
        yield _Shot(name, light, settings, moment, captured_at)


def _unaided(options: Options, moment: Moment) -> Settings:
    """What a photographer without calls sets: the start, put right by ISO once noticed."""
    dial = Dial(Setting.ISO, options.step)
    start = brightness(Setting.ISO, _iso(options.start))
    if not moment.correction_stops:
        return options.start
    return options.start.with_value(Setting.ISO, dial.value(dial.nearest(start + moment.correction_stops)))


def _picture(cells: Cells, odd: Odd | None) -> Cells:
    if odd == "blocked":
        return shaded(cells)
    return held_card(*cells.shape[1:]) if odd == "card" else cells


def _picture_stops(shot: _Shot, options: Options, rng: np.random.Generator) -> float:
    """A grey card in the open light against mid-grey."""
    odd = shot.moment.odd
    capped = CAP_STOPS if odd == "cap" else 0.0
    scatter = float(rng.normal(0.0, options.spread_stops))
    return shot.light.offset_stops(shot.settings, _POPS.get(odd, 1.0)) + scatter + capped


def _truth(shot: _Shot, options: Options, picture_stops: float, clipped_percent: Mapping[str, float]) -> Truth:
    odd = shot.moment.odd
    return Truth(
        file=file_name(shot.name, options.files),
        captured_at=shot.captured_at.isoformat(),
        offset_stops=picture_stops + (SHADE_STOPS if odd == "blocked" else 0.0),
        light_stops=shot.light.stops,
        settings=shot.settings,
        flash_fired=shot.light.kind != "continuous" and odd != "misfire",
        setup=shot.moment.setup,
        clipped_percent=clipped_percent,
        odd=odd,
    )


def _write(folder: Path, shot: _Shot, mosaic: NDArray[np.uint16], options: Options, camera: Camera) -> None:
    flash_asked = shot.light.kind != "continuous"
    tags = capture_tags(camera, shot.settings, options.step, shot.captured_at, flash_asked, mosaic.shape[1])
    write_capture(folder / shot.name, mosaic, camera, tags, options.files, options.compressed)


def _iso(settings: Settings) -> float:
    return BASE_ISO if settings.iso is None else settings.iso
