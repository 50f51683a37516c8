"""Captures that a command names, read once each."""

from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from queue import SimpleQueue

from tetherwatch.body.matching import Bodies
from tetherwatch.exposure.dial import Step
from tetherwatch.meter.records import Aim
from tetherwatch.watch.task import Outcome, read_capture
from tetherwatch.watch.workers import Workers


def outcomes(files: Sequence[Path], aim: Aim, step: Step, bodies: Bodies) -> Iterator[tuple[Path, Outcome]]:
    """Read in worker processes, so that a decoder that fails costs one file; outcomes in the order of the files."""
    done: SimpleQueue[tuple[int, Outcome]] = SimpleQueue()
    ready: dict[int, Outcome] = {}
    waiting = iter(enumerate(files))
    with Workers(partial(read_capture, bodies=bodies)) as workers:
        for index, path in enumerate(files):
            while index not in ready:
                while workers.free and (job := next(waiting, None)) is not None:
                    workers.start(job[1], aim, step, partial(_put, done, job[0]))
                number, outcome = done.get()
                ready[number] = outcome
            yield path, ready.pop(index)


def _put(done: SimpleQueue[tuple[int, Outcome]], number: int, outcome: Outcome) -> None:
    done.put((number, outcome))
