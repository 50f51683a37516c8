"""The one entry: a path becomes a frame, or a `CaptureError` that says why not."""

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import BinaryIO

from tetherwatch.frame.container import HEAD_BYTES, Kind, holds_sensor_data, is_cut_short, kind_of, lacks_data
from tetherwatch.frame.faults import CaptureError, Fault
from tetherwatch.frame.names import is_raw_name
from tetherwatch.frame.picture import read_picture
from tetherwatch.frame.preview import read_preview
from tetherwatch.frame.raw import open_raw
from tetherwatch.frame.records import Frame

_NO_ACCESS_CODES = (errno.EACCES, errno.EPERM)
_HAVE_NO_FALLBACK = (Fault.TOO_LARGE, Fault.TOO_SMALL)


@contextmanager
def open_frame(path: Path) -> Iterator[Frame]:
    """The pixels of a capture, valid inside the `with`; the file is opened read-only and closed at its end.

    What a file holds is told by its first bytes; its name only decides between a raw and a finished picture where both
    begin alike. A raw that the decoder does not know, or whose data are blank or damaged, is read from its embedded
    preview (`Frame.fault` and the first of `Frame.notes` say so). Raises CaptureError for everything else.
    """
    with ExitStack() as stack:
        try:
            kind, is_raw = _look_at(path)
            frame = _raw_or_preview(path, kind, stack) if is_raw else read_picture(path)
        except OSError as error:
            raise _unreadable(error) from error
        yield frame


def _raw_or_preview(path: Path, kind: Kind, stack: ExitStack) -> Frame:
    try:
        _check_data(path, kind)
        return stack.enter_context(open_raw(path))
    except CaptureError as error:
        if error.fault in _HAVE_NO_FALLBACK:
            raise
        fault = _refined(path, kind, error.fault)
        frame = None if fault is Fault.NOT_A_CAPTURE else read_preview(path, fault)
        if frame is None:
            raise CaptureError(fault, error.detail) from error
        return frame


def _check_data(path: Path, kind: Kind) -> None:
    if kind == "tiff":
        with path.open("rb") as file:
            if lacks_data(file):
                raise CaptureError(Fault.CUT_SHORT, "data it names lie beyond its end")


def _refined(path: Path, kind: Kind, fault: Fault) -> Fault:
    """What "unsupported" means: the decoder says it of rubbish and of files cut in their tables too."""
    if fault is not Fault.UNSUPPORTED:
        return fault
    if kind == "unknown":
        return Fault.NOT_A_CAPTURE
    with path.open("rb") as file:
        return Fault.CUT_SHORT if is_cut_short(file) else fault


def _look_at(path: Path) -> tuple[Kind, bool]:
    """The container, and whether the raw decoder should have it. Special files are never opened: they may block."""
    status = path.stat()
    if not stat.S_ISREG(status.st_mode):
        raise CaptureError(Fault.NOT_A_FILE)
    if status.st_size == 0:
        raise CaptureError(Fault.EMPTY)
    with path.open("rb") as file:
        kind = kind_of(file.read(HEAD_BYTES))
        return kind, _is_for_raw_decoder(kind, path.name, file)


def _is_for_raw_decoder(kind: Kind, name: str, file: BinaryIO) -> bool:
    if kind == "unknown" and not is_raw_name(name):
        raise CaptureError(Fault.NOT_A_CAPTURE)
    if kind == "tiff":
        return is_raw_name(name) or holds_sensor_data(file)
    return kind != "jpeg"


def _unreadable(error: OSError) -> CaptureError:
    fault = Fault.NO_ACCESS if error.errno in _NO_ACCESS_CODES else Fault.VANISHED
    return CaptureError(fault, os.strerror(error.errno) if error.errno else str(error))
