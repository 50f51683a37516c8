"""Whether a finished picture is the JPEG of a raw that lies beside it."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

from tetherwatch.frame.metadata import read_metadata
from tetherwatch.frame.names import RAW_EXTENSIONS, is_raw_name
from tetherwatch.frame.records import Metadata

_SAME_MOMENT = timedelta(seconds=1)
"""Some cameras write the parts of a second into one of the two only."""


def is_twin(path: Path, metadata: Metadata) -> bool:
    """Whether a raw of the same name was taken by the same camera at the same moment as the picture at `path`.

    Never so where either does not say when. Never raises.
    """
    taken = metadata.captured_at
    if taken is None or is_raw_name(path.name):
        return False
    for raw in map(read_metadata, _raws_beside(path)):
        at = raw.captured_at
        if at is not None and raw.camera == metadata.camera and abs(_bare(at) - _bare(taken)) <= _SAME_MOMENT:
            return True
    return False


def _bare(moment: datetime) -> datetime:
    return moment.replace(tzinfo=None)


def _raws_beside(path: Path) -> Iterator[Path]:
    for extension in sorted(RAW_EXTENSIONS):
        for spelled in (extension, extension.upper()):
            raw = path.with_suffix(f".{spelled}")
            if raw.is_file():
                yield raw
