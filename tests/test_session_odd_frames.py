"""Odd frames of real captures: rehearsed, read as a worker reads them, and judged in a session."""

from collections import Counter
from datetime import datetime, timezone
from pathlib import Path

import pytest

from tetherwatch.advise.library import load_plan
from tetherwatch.advise.records import Call, Plan
from tetherwatch.exposure.settings import Settings
from tetherwatch.rehearse.light import LightKind
from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.session import Truth, rehearse
from tetherwatch.session.events import call_object
from tetherwatch.session.records import FrameRecord
from tetherwatch.session.session import Session
from tetherwatch.watch.records import Capture, Metered
from tetherwatch.watch.task import Read, read_capture

MORNING = datetime(2031, 3, 4, 9, 30, tzinfo=timezone.utc)


def shot(folder: Path, plan: Plan, light: LightKind, seed: int) -> list[tuple[Truth, Call]]:
    """A rehearsal with a flash that repeats to 0.05 stop, its calls followed; each frame's truth and call."""
    session, calls = Session(folder, plan), []

    def next_call(file: str) -> dict[str, object]:
        done = read_capture(folder / file, plan.aim, plan.step)
        assert isinstance(done, Read)
        event = Metered(Capture(folder / file, 0, 0, 0.0), done.metadata, done.reading, done.thumbnail, done.notes)
        record, *_ = session.take(event)
        assert isinstance(record, FrameRecord)
        calls.append(record.call)
        return call_object(record.call)

    start = Settings(plan.shutter.start, plan.aperture.start, plan.iso.start)
    options = Options("misfires", 41, seed, megapixels=0.3, light=light, start=start, spread_stops=0.05)
    truths = list(rehearse(folder, options, MORNING, next_call))
    return list(zip(truths, calls, strict=False))


def named(call: Call) -> str:
    """What a call takes its frame for: an oddity by its stable name, or its own kind."""
    return call.odd or call.kind


@pytest.mark.parametrize(
    ("plan", "light", "of_a_misfire", "of_a_card"),
    [
        ("studio-card", "flash", "gone", "hold"),
        ("studio-portrait", "flash", "gone", "card"),
        ("studio-card", "mixed", "misfire", "hold"),
    ],
)
def test_each_odd_frame_is_named_rightly(
    tmp_path: Path, plan: str, light: LightKind, of_a_misfire: str, of_a_card: str
) -> None:
    """All five kinds are told apart and move nothing; a card is as good as any where the card is metered."""
    found = Counter(
        (truth.odd, named(call)) for truth, call in shot(tmp_path, load_plan(plan), light, seed=7) if truth.odd
    )
    assert found == {
        ("misfire", of_a_misfire): 1,
        ("weak", "weak"): 1,
        ("blocked", "blocked"): 1,
        ("cap", "black"): 1,
        ("card", of_a_card): 1,
    }
