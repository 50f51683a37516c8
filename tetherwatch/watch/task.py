"""What a worker does with one capture: decode, meter, and hand back small records. Never raises."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from tetherwatch.body.matching import NO_BODIES, Bodies
from tetherwatch.exposure.dial import Step
from tetherwatch.frame.faults import CaptureError, Fault
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Aim, Reading, Thumbnail

DECODERS = (
    "tetherwatch.frame.load",
    "tetherwatch.frame.metadata",
    "tetherwatch.meter.reading",
    "tetherwatch.meter.thumbnail",
)
"""Heavy modules that only workers load: the daemon stays small, and a worker loads them before its first capture."""

PREVIEWERS = ("tetherwatch.frame.preview", *DECODERS[1:])
"""Same for the worker that takes first looks."""


@dataclass(frozen=True, slots=True)
class Read:
    """One capture read and metered. `fault`: what was wrong with the raw data if its preview was metered instead."""

    metadata: Metadata
    reading: Reading
    thumbnail: Thumbnail
    notes: tuple[str, ...] = ()
    fault: Fault | None = None


@dataclass(frozen=True, slots=True)
class Failure:
    """One capture that gave no reading. `detail` (may be empty) is not yet safe to show."""

    fault: Fault
    detail: str = ""


Outcome = Read | Failure


def read_capture(path: Path, aim: Aim, step: Step, bodies: Bodies = NO_BODIES) -> Outcome:
    """Read and meter one capture under `aim`; its settings are given in exact values of a dial with `step`.

    `bodies`: the profiles it may be of.
    """
    return _safely(partial(_read, path, aim, step, bodies))


def look_at(path: Path, aim: Aim, step: Step) -> Outcome:
    """Read and meter the embedded preview of a capture that may not even be complete; see `read_capture`."""
    return _safely(partial(_look, path, aim, step))


def _safely(read: Callable[[], Read]) -> Outcome:
    try:
        return read()
    except CaptureError as error:
        return Failure(error.fault, error.detail)
    except MemoryError:
        return Failure(Fault.OUT_OF_MEMORY)
    except Exception as error:  # the supervised unit: whatever a decoder throws costs this capture only
        return Failure(Fault.CRASHED, f"{type(error).__name__}: {error}")


def _read(path: Path, aim: Aim, step: Step, bodies: Bodies) -> Read:
    from tetherwatch.frame.load import open_frame
    from tetherwatch.frame.metadata import read_metadata
    from tetherwatch.meter.reading import meter_frame
    from tetherwatch.meter.thumbnail import make_thumbnail

    with open_frame(path) as frame:
        metadata = read_metadata(path)
        settings = metadata.settings.snapped(step)
        body = bodies.of(metadata.camera, metadata.serial).body
        calibration = None if body is None else body.calibration(settings.iso)
        reading = meter_frame(frame, aim, settings, metadata.orientation, calibration)
        thumbnail = make_thumbnail(frame, reading, metadata.orientation)
        return Read(replace(metadata, settings=settings), reading, thumbnail, frame.notes, frame.fault)


def _look(path: Path, aim: Aim, step: Step) -> Read:
    from tetherwatch.frame.metadata import read_metadata
    from tetherwatch.frame.preview import quick_preview
    from tetherwatch.meter.reading import meter_frame
    from tetherwatch.meter.thumbnail import make_thumbnail

    frame = quick_preview(path)
    if frame is None:
        raise CaptureError(Fault.UNSUPPORTED)
    metadata = read_metadata(path)
    settings = metadata.settings.snapped(step)
    reading = replace(meter_frame(frame, aim, settings, metadata.orientation), provisional=True)
    thumbnail = make_thumbnail(frame, reading, metadata.orientation)
    return Read(replace(metadata, settings=settings), reading, thumbnail)
