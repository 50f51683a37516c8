"""The watch on soft eyes inside a session: which earlier frames a frame is compared with, and what is told of it."""

from collections.abc import Sequence
from dataclasses import replace

from tetherwatch.advise.records import Plan
from tetherwatch.advise.softeyes import soft_eyes
from tetherwatch.face.records import EyeState
from tetherwatch.face.softness import judge_eyes
from tetherwatch.session.records import FrameRecord
from tetherwatch.watch.records import Metered


def eyes_of(before: Sequence[FrameRecord], frame: Metered, setup: int) -> EyeState | None:
    """The state of the eyes of a frame in a setup, by the frames of that; None where none were measured."""
    if frame.eyes is None:
        return None
    alike = (record.eye_detail for record in before if record.setup == setup and _comparable(record, frame))
    return judge_eyes(frame.eyes, [detail for detail in alike if detail is not None])


def with_soft_eyes(plan: Plan, record: FrameRecord) -> FrameRecord:
    """The record with the warning for its eyes, if they are soft, beside what else is told."""
    if record.eyes is None or record.eye_detail is None:
        return record
    is_raw = record.reading.source == "raw"
    distance_px = record.eye_detail.distance_px if is_raw else None
    finding = soft_eyes(plan, record.metadata, record.eyes, distance_px, estimate=not is_raw)
    return record if finding is None else replace(record, findings=(*record.findings, finding))


def _comparable(record: FrameRecord, frame: Metered) -> bool:
    """Whether both are of one camera and one kind of file: a finished picture is sharpened, a raw is not."""
    return record.metadata.serial == frame.metadata.serial and record.reading.source == frame.reading.source
