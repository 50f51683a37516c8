"""Tasks for worker processes that misbehave by the name of the file. Importable by spawned processes."""

import os
import signal
import time
from pathlib import Path

from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.faults import CaptureError, Fault
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import CENTRE_BOX, Aim, Reading, Thumbnail
from tetherwatch.watch.task import Failure, Outcome, Read


def read_of(aim: Aim, notes: tuple[str, ...] = (), fault: Fault | None = None) -> Read:
    """A reading without a file. Its offset repeats the aim, so that one can tell which aim was used."""
    reading = Reading(
        source="raw",
        area="frame",
        level_stops=0.0,
        offset_stops=-aim.from_grey_stops,
        uncertainty_stops=0.01,
        clipped_percent={"r": 0.0},
        crushed_percent=0.0,
        area_clipped_percent=0.0,
        headroom_stops=1.0,
        light_value=None,
        saturation={"r": 16383.0},
        pile_up=(),
        tones=(),
        area_tones=(),
    )
    metadata = Metadata(settings=Settings(1 / 256, 2.0, 100.0))
    return Read(metadata, reading, Thumbnail(1, 1, b"\x00\x00\x00", b"\x00", CENTRE_BOX), notes, fault)


def misbehave(path: Path, aim: Aim, step: Step) -> Outcome:
    """Do what the file's name says, else give a reading that names the process and its environment."""
    if path.stem == "die":
        os._exit(3)
    if path.stem == "segfault":
        os.kill(os.getpid(), signal.SIGSEGV)
    if path.stem == "hang":
        time.sleep(600)
    if path.stem == "swell":
        swollen = []
        while True:
            swollen.append(bytes(1 << 26))
    if path.stem == "raise":
        raise RuntimeError("an error the task let out")
    if path.stem == "refuse":
        return Failure(Fault.CUT_SHORT, "detail")
    if path.stem == "interrupt":
        os.kill(os.getpid(), signal.SIGINT)
    return read_of(aim, notes=(str(os.getpid()), os.environ.get("OMP_NUM_THREADS", "")))


def stuck_in_c(path: Path, aim: Aim, step: Step) -> Outcome:
    """Hang where no Python signal handler can run."""
    if path.stem == "hang":
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        pattern = "(a+)+$"
        import re

        re.match(pattern, "a" * 64 + "b")
    return read_of(aim)


def read_text(path: Path, aim: Aim, step: Step) -> Outcome:
    """A stand-in for decoding: a file that says "good" gives a reading; anything else is a fault."""
    try:
        if path.is_dir():
            raise CaptureError(Fault.NOT_A_FILE)
        text = path.read_text()
    except FileNotFoundError:
        return Failure(Fault.VANISHED)
    except CaptureError as error:
        return Failure(error.fault)
    except (OSError, UnicodeDecodeError):
        return Failure(Fault.NO_ACCESS)
    if text.startswith("preview"):
        return read_of(aim, fault=Fault.UNSUPPORTED)
    if text.startswith("good") and text.endswith("end"):
        return read_of(aim)
    return Failure(Fault.CUT_SHORT if text else Fault.EMPTY)
