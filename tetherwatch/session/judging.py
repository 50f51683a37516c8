"""The rules of advice applied to one frame of a session, in the light of the frames before it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from tetherwatch.advise.call import make_call
from tetherwatch.advise.hazards import hazards
from tetherwatch.advise.landing import Landing, Score, landed, odd
from tetherwatch.advise.levers import order
from tetherwatch.advise.mixture import ambient_part, claim_doubted
from tetherwatch.advise.records import Call, Finding, Knowledge, Plan, Shot
from tetherwatch.advise.steady import odd_frame, settled
from tetherwatch.session.records import FrameRecord
from tetherwatch.watch.records import Metered

LOOK_BACK = 24
"""Frames before a new one that it may be judged by."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A frame and what came before it. `odd` is the call to shoot it again, if it is odd.

    `asking` is the last frame before it that was not odd itself, with its call; `sound` all shots that were not, oldest
    first.
    """

    shot: Shot
    odd: Call | None
    asking: tuple[Call, Shot] | None
    sound: tuple[Shot, ...]


def seen(plan: Plan, before: Sequence[FrameRecord], frame: Metered | FrameRecord) -> Seen:
    """A frame among the last ones before it that its camera took: bodies differ, and each has its own settings."""
    serial = frame.metadata.serial
    before = [record for record in before[-LOOK_BACK:] if record.metadata.serial == serial]
    *history, shot = _shots([*before, frame])
    sound = [(record.call, each) for record, each in zip(before, history, strict=True) if not odd(record.call)]
    found_odd = [odd(record.call) for record in before]
    again = odd_frame(plan, history, found_odd, shot, sound[-1][0] if sound else None)
    shots = [each for _, each in sound] + ([] if again else [shot])
    return Seen(shot, again, sound[-1] if sound else None, tuple(shots))


def landing_of(plan: Plan, frame: Seen) -> Landing | None:
    """What came of the call that was asked before this frame. An odd frame tells nothing of it."""
    return None if frame.odd or frame.asking is None else landed(*frame.asking, frame.shot, plan)


def knowledge_of(frame: Seen, power: float | None) -> Knowledge:
    """What is known beyond the frame's settings; `power`: where the light's own stands, as a part of full power."""
    metadata = frame.shot.metadata
    return Knowledge(ambient_part(frame.sound), power, metadata.program, metadata.bias_stops)


def call_of(plan: Plan, frame: Seen, knowledge: Knowledge) -> Call:
    """The one instruction."""
    if frame.odd is not None:
        return frame.odd
    call = make_call(plan, frame.shot.metadata.settings, frame.shot.reading, knowledge)
    return settled(plan, frame.sound[:-1], frame.shot, call)


def findings_of(plan: Plan, frame: Seen, knowledge: Knowledge, score: Score) -> tuple[Finding, ...]:
    """What is to be told beside the call: hazards, doubts about the plan's light, levers that fall short."""
    doubt = None if frame.odd else claim_doubted(plan, frame.sound)
    levers = dict.fromkeys((*order(plan, knowledge, 1.0), *order(plan, knowledge, -1.0)))
    told = [doubt, *map(score.under_delivering, levers)]
    return (*hazards(plan, frame.shot.metadata), *(finding for finding in told if finding is not None))


def shot_of(frame: Metered | FrameRecord) -> Shot:
    """One frame as the rules see it, timed by the camera, or by its arrival."""
    return _shots([frame])[0]


def _shots(frames: Sequence[Metered | FrameRecord]) -> list[Shot]:
    """Frames as the rules see them, timed by the camera if it timed them all, else by their arrival."""
    moments = [frame.metadata.captured_at for frame in frames]
    times = [_seconds(moment) for moment in moments if moment is not None]
    if len(times) < len(frames):
        times = [frame.capture.arrived_at for frame in frames]
    return [Shot(frame.metadata, frame.reading, time_s) for frame, time_s in zip(frames, times, strict=True)]


def _seconds(moment: datetime) -> float:
    """By the clock on the camera: a `timestamp` would need its zone, and fails for absurd years on some systems."""
    return (moment.replace(tzinfo=None) - datetime(1970, 1, 1)).total_seconds()
