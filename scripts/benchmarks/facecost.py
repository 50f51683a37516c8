"""Time, in a process like a worker's, what looking for a face and metering it add to a capture. Prints JSON."""

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

from tetherwatch.exposure.settings import Settings
from tetherwatch.face.detector import find_faces
from tetherwatch.frame.load import open_frame
from tetherwatch.meter.reading import meter_frame
from tetherwatch.meter.records import Aim, Reading


def timed(path: Path, repeats: int) -> dict[str, list[float]]:
    """Seconds of processor time, once each in turn: the frame's reading, the face's, and looking for it alone."""
    with open_frame(path) as frame:

        def face() -> Reading:
            return meter_frame(frame, Aim("face"), Settings(), 1, faces=find_faces(frame, 1))

        works: dict[str, Callable[[], object]] = {
            "frame": lambda: meter_frame(frame, Aim(), Settings(), 1),
            "face": face,
            "looking": lambda: find_faces(frame, 1),
        }
        face()
        times: dict[str, list[float]] = {name: [] for name in works}
        for _ in range(repeats):
            for name, work in works.items():
                start = time.process_time()
                work()
                times[name].append(time.process_time() - start)
    return times


if __name__ == "__main__":
    print(json.dumps(timed(Path(sys.argv[1]), int(sys.argv[2]))))
