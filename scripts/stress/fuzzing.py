"""Damaged captures through the workers in use, with sound ones between them that must not suffer."""

import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timezone
from pathlib import Path
from queue import SimpleQueue

from PIL import Image

from stress.mutants import Mutant, Original, mutants
from tetherwatch.exposure.dial import Step
from tetherwatch.meter.records import Aim
from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.session import rehearse
from tetherwatch.watch.task import Failure, Outcome, Read, read_capture
from tetherwatch.watch.workers import Workers

STARTED_AT = datetime(2024, 5, 14, 9, 30, tzinfo=timezone.utc)
SOUND_EVERY = 10
"""After so many damaged captures comes a sound one."""

DEADLINE_S = 20.0


@dataclass
class Tally:
    """What came of the captures: by kind of damage and outcome, with the details of crashes, and sound ones lost."""

    outcomes: Counter[tuple[str, str]] = field(default_factory=Counter)
    crashes: list[tuple[int, Mutant, str]] = field(default_factory=list)
    slowest_s: float = 0.0
    sound: int = 0
    sound_lost: int = 0

    def note(self, number: int, mutant: Mutant | None, outcome: Outcome, took_s: float) -> None:
        """Count one outcome; `mutant` is None for a sound capture."""
        if mutant is None:
            self.sound += 1
            self.sound_lost += not isinstance(outcome, Read) or outcome.fault is not None
            return
        self.slowest_s = max(self.slowest_s, took_s)
        name = outcome.fault.name if outcome.fault else "READ"
        name += "_FROM_PREVIEW" if outcome.fault and isinstance(outcome, Read) else ""
        self.outcomes[mutant.kind, name] += 1
        if isinstance(outcome, Failure) and outcome.fault.name in ("CRASHED", "TOO_SLOW", "OUT_OF_MEMORY"):
            self.crashes.append((number, mutant, f"{outcome.fault.name} {outcome.detail}"))


def originals() -> list[Original]:
    """Small captures of every kind that is read here: raws plain and packed, pictures of two formats."""
    with tempfile.TemporaryDirectory(prefix="tetherwatch-fuzz-") as place:
        folder = Path(place)
        for name, options in {
            "plain": Options(frames=1, megapixels=0.1, compressed=False),
            "packed": Options(frames=1, megapixels=0.1, compressed=True),
            "picture": Options(frames=1, megapixels=0.1, files="jpeg"),
        }.items():
            (folder / name).mkdir()
            (truth,) = rehearse(folder / name, options, STARTED_AT)
            (folder / name / truth.file).rename(folder / f"{name}{Path(truth.file).suffix.lower()}")
        with Image.open(folder / "picture.jpg") as image:
            image.save(folder / "progressive.jpg", progressive=True, exif=image.getexif())
            image.save(folder / "plain.tif")
            image.save(folder / "packed.tif", compression="tiff_lzw")
        files = sorted(path for path in folder.iterdir() if path.is_file())
        return [Original(path.name, path.suffix, path.read_bytes()) for path in files]


def fuzz(captures: Sequence[Original], count: int, seed: int) -> Tally:
    """Read `count` damaged captures, and those of the originals that are sound between them, in worker processes."""
    tally = Tally()
    with tempfile.TemporaryDirectory(prefix="tetherwatch-fuzz-") as folder, _runner(Path(folder), tally) as read:
        sound_ones = [capture for capture in captures if _is_sound(capture, Path(folder))]
        for number, mutant in enumerate(mutants(captures, count, seed)):
            read.start(number, mutant.original.ending, mutant.content, mutant)
            if sound_ones and number % SOUND_EVERY == SOUND_EVERY - 1:
                sound = sound_ones[number // SOUND_EVERY % len(sound_ones)]
                read.start(number, sound.ending, sound.content, None)
    return tally


def _is_sound(capture: Original, folder: Path) -> bool:
    path = folder / f"original{capture.ending}"
    path.write_bytes(capture.content)
    return read_capture(path, Aim(), Step.THIRD).fault is None


class _Runner:
    def __init__(self, folder: Path, workers: Workers, tally: Tally) -> None:
        self._folder, self._workers, self._tally = folder, workers, tally
        self._done: SimpleQueue[tuple[int, Path, Mutant | None, float, Outcome]] = SimpleQueue()
        self._count = self._out = 0

    def start(self, number: int, ending: str, content: bytes, mutant: Mutant | None) -> None:
        """Read one capture as soon as a worker is free."""
        while not self._workers.free:
            self._take()
        self._count += 1
        self._out += 1
        path = self._folder / f"{self._count}{ending}"
        path.write_bytes(content)
        began = time.monotonic()
        self._workers.start(
            path,
            Aim(),
            Step.THIRD,
            lambda outcome: self._done.put((number, path, mutant, time.monotonic() - began, outcome)),
        )

    def finish(self) -> None:
        """Wait for what is still being read."""
        while self._out:
            self._take()

    def _take(self) -> None:
        number, path, mutant, took_s, outcome = self._done.get(timeout=2 * DEADLINE_S + 30)
        self._out -= 1
        path.unlink()
        self._tally.note(number, mutant, outcome, took_s)


@contextmanager
def _runner(folder: Path, tally: Tally) -> Iterator[_Runner]:
    with Workers(deadline_s=DEADLINE_S) as workers:
        runner = _Runner(folder, workers, tally)
        yield runner
        runner.finish()
