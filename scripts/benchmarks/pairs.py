"""Run in a process of its own: time bare decoding and reading of one file turn and turn about; print seconds as JSON.

python pairs.py FILE AREA PAIRS NAIVE_REPEATS WORK, where WORK is "both" or "bare": then nothing is read.
"""

import json
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import rawpy
from PIL import Image

from tetherwatch.exposure.dial import Step
from tetherwatch.meter.records import Aim
from tetherwatch.watch.task import Read, read_capture

PICTURES = (".JPG", ".jpg")


def main(path: str, area: str, pairs: str, naive_repeats: str, work: str) -> None:
    """Warm up once, then measure."""
    capture, aim = Path(path), Aim(area)  # type: ignore[arg-type]
    bare = partial(decode if capture.suffix in PICTURES else unpack, capture)
    full = partial(read, capture, aim) if work == "both" else bare
    bare(), full()
    timed = [alternated(bare, full, bare_first=index % 2 == 0) for index in range(int(pairs))]
    naive = [seconds(partial(develop, capture)) for _ in range(int(naive_repeats))]
    times = {"unpack": [pair[0] for pair in timed], "reading": [pair[1] for pair in timed], "naive": naive}
    print(json.dumps(times))


def decode(path: Path) -> None:
    """What no reader of finished pictures can do without."""
    with Image.open(path) as image:
        image.load()


def unpack(path: Path) -> None:
    """What no reader of sensor data can do without."""
    raw = rawpy.RawPy()
    raw.open_file(str(path))
    raw.unpack()
    raw.close()


def read(path: Path, aim: Aim) -> None:
    """The work of one worker for one capture."""
    outcome = read_capture(path, aim, Step.THIRD)
    if not isinstance(outcome, Read) or outcome.reading.source == "preview":
        sys.exit(f"{path} gave no exact reading: {outcome}")


def develop(path: Path) -> None:
    """The script anyone would write first: develop the picture, then count its tones."""
    with rawpy.imread(str(path)) as raw:
        picture = raw.postprocess()
    for plane in range(3):
        np.histogram(picture[..., plane], bins=256, range=(0, 256))


def alternated(bare: Callable[[], None], full: Callable[[], None], bare_first: bool) -> tuple[float, float]:
    """Times of both in one pair; the order changes so that a machine slowing down favours neither."""
    if bare_first:
        return seconds(bare), seconds(full)
    last = seconds(full)
    return seconds(bare), last


def seconds(work: Callable[[], None]) -> float:
    """How long one run takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


if __name__ == "__main__":
    main(*sys.argv[1:])
