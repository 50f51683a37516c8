"""Simulated captures to measure with."""

from datetime import datetime, timezone
from pathlib import Path

from environment import ScriptError

from tetherwatch.exposure.dial import Step
from tetherwatch.meter.records import Aim
from tetherwatch.rehearse.options import Files, Options
from tetherwatch.rehearse.session import rehearse
from tetherwatch.watch.task import Failure, Read, read_capture

STARTED_AT = datetime(2024, 5, 14, 9, 30, tzinfo=timezone.utc)


def make_captures(
    folder: Path, megapixels: float, frames: int = 1, compressed: bool = True, files: Files = "dng"
) -> list[Path]:
    """Write some captures of the steady studio into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    options = Options(frames=frames, megapixels=megapixels, compressed=compressed, files=files)
    return [folder / truth.file for truth in rehearse(folder, options, STARTED_AT)]


def copied(capture: Path, folder: Path, number: int) -> Path:
    """A copy that counts as another capture: it ends with other bytes, which no decoder looks at."""
    folder.mkdir(parents=True, exist_ok=True)
    copy = folder / f"COPY_{number:04}{capture.suffix}"
    copy.write_bytes(capture.read_bytes() + number.to_bytes(4, "big"))
    return copy


def read(path: Path, aim: Aim, step: Step = Step.THIRD) -> Read:
    """What a worker does with a capture, in this process. Raises ScriptError if it cannot be read."""
    outcome = read_capture(path, aim, step)
    if isinstance(outcome, Failure):
        raise ScriptError(f"{path.name} cannot be read: {outcome.fault.name} {outcome.detail}")
    return outcome
