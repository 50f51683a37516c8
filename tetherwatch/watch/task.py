"""What a worker does with one capture: decode, meter, and hand back small records. Never raises."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from time import perf_counter

from tetherwatch.body.matching import NO_BODIES, Bodies
from tetherwatch.body.records import Noise
from tetherwatch.exposure.dial import Step
from tetherwatch.face.package import NOT_INSTALLED, is_installed
from tetherwatch.face.records import EyeDetail
from tetherwatch.frame.faults import CaptureError, Fault
from tetherwatch.frame.records import Frame, Metadata
from tetherwatch.meter.records import Aim, Face, Reading, Thumbnail
from tetherwatch.watch.stages import NOT_TIMED, Stages

DECODERS = (
    "tetherwatch.frame.load",
    "tetherwatch.frame.twin",
    "tetherwatch.frame.metadata",
    "tetherwatch.meter.reading",
    "tetherwatch.meter.thumbnail",
    "tetherwatch.face.eyedetail",
)
"""Heavy modules that only workers load: the daemon stays small, and a worker loads them before its first capture."""

PREVIEWERS = ("tetherwatch.frame.preview", *DECODERS[2:])
"""Same for the worker that takes first looks."""


@dataclass(frozen=True, slots=True)
class Read:
    """One capture read and metered. `fault`: what was wrong with the raw data if its preview was metered instead.

    `eyes`: the fine detail in those of the metered face, None where there is none or nothing can be said of it.
    `is_twin`: the capture is a picture of the same shot as a raw that lies beside it.
    """

    metadata: Metadata
    reading: Reading
    thumbnail: Thumbnail
    notes: tuple[str, ...] = ()
    fault: Fault | None = None
    eyes: EyeDetail | None = None
    is_twin: bool = False
    stages: Stages = NOT_TIMED


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
    from tetherwatch.frame.twin import is_twin
    from tetherwatch.meter.reading import meter_frame
    from tetherwatch.meter.thumbnail import make_thumbnail

    began = perf_counter()
    with open_frame(path) as frame:
        metadata = read_metadata(path)
        decoded = perf_counter()
        settings = metadata.settings.snapped(step)
        body = bodies.of(metadata.camera, metadata.serial).body
        calibration = None if body is None else body.calibration(settings.iso)
        faces, missing = _faces(frame, aim, metadata.orientation)
        reading = meter_frame(frame, _placed(aim, metadata), settings, metadata.orientation, calibration, faces)
        thumbnail = make_thumbnail(frame, reading, metadata.orientation, calibration)
        noise = None if body is None or settings.iso is None else body.noise_at(settings.iso)
        eyes = _eyes(frame, reading, metadata.orientation, noise)
        exact, twin = replace(metadata, settings=settings), is_twin(path, metadata)
        stages = Stages(decode_s=decoded - began, meter_s=perf_counter() - decoded)
        return Read(exact, reading, thumbnail, (*frame.notes, *missing), frame.fault, eyes, twin, stages)


def _faces(frame: Frame, aim: Aim, orientation: int) -> tuple[tuple[Face, ...] | None, tuple[str, ...]]:
    """The faces, if the aim is one, and what keeps them from being looked for."""
    if aim.area != "face":
        return None, ()
    if not is_installed():
        return None, (f"{NOT_INSTALLED}: the centre-weighted frame was metered instead",)
    from tetherwatch.face.detector import find_faces

    return find_faces(frame, orientation), ()


def _placed(aim: Aim, metadata: Metadata) -> Aim:
    """The aim without the place of a face in the frames of another camera, or of this one held another way."""
    last = aim.last
    if last is None or (last.serial, last.orientation) == (metadata.serial, metadata.orientation):
        return aim
    return replace(aim, last=None)


def _eyes(frame: Frame, reading: Reading, orientation: int, noise: Noise | None) -> EyeDetail | None:
    from tetherwatch.face.eyedetail import measure_eyes

    if reading.face is None:
        return None
    return measure_eyes(frame, reading.face, orientation, reading.saturation, noise)


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
    metered = meter_frame(frame, _placed(aim, metadata), settings, metadata.orientation)
    reading = replace(metered, provisional=True)
    thumbnail = make_thumbnail(frame, reading, metadata.orientation)
    return Read(replace(metadata, settings=settings), reading, thumbnail)
