"""Soft eyes in a session: judged against its own frames, told beside the call, kept with the frame."""

from dataclasses import replace

import pytest
from eye_records import SHARP, scaled
from rich.cells import cell_len
from screen_records import frame as screen_frame
from session_records import FOLDER, PLAN, metered
from test_session_events import check_frame

from tetherwatch.face.records import EyeDetail, EyeState, EyeVerdict
from tetherwatch.face.softness import LEAST_FRAMES
from tetherwatch.frame.records import Metadata
from tetherwatch.screen.header import header_panel
from tetherwatch.screen.palette import choose
from tetherwatch.session.codec import fields_from_plain, to_plain
from tetherwatch.session.events import frame_event, news_event
from tetherwatch.session.records import FrameRecord, SessionEvent, Warned
from tetherwatch.session.session import Session
from tetherwatch.watch.records import Metered

SOFT = scaled(0.4)


def shot(number: int, eyes: EyeDetail | None, **changes: object) -> Metered:
    """One capture with its eyes."""
    return replace(metered(f"{number}.DNG", at=float(number)), eyes=eyes, **changes)  # type: ignore[arg-type]


def session(count: int = LEAST_FRAMES) -> Session:
    """A session of so many sharp frames."""
    made = Session(FOLDER, PLAN)
    for number in range(count):
        made.take(shot(number, SHARP))
    return made


def eyes_of(news: tuple[SessionEvent, ...]) -> EyeState:
    """Of the frame that was taken."""
    record = news[0]
    assert isinstance(record, FrameRecord) and record.eyes is not None
    return record.eyes


def kinds(news: tuple[SessionEvent, ...]) -> list[str]:
    """Warnings that were sent."""
    return [each.finding.kind for each in news if isinstance(each, Warned)]


def test_soft_eyes_are_told_beside_the_call_which_they_do_not_change() -> None:
    """A warning of their own; the call is that of the same frame without eyes."""
    with_eyes, without = session(), session()
    news, plain = with_eyes.take(shot(9, SOFT)), without.take(shot(9, None))
    assert eyes_of(news).verdict == "soft"
    assert kinds(news) == ["eyes"] and kinds(plain) == []
    soft, blind = news[0], plain[0]
    assert isinstance(soft, FrameRecord) and isinstance(blind, FrameRecord)
    assert soft.call == blind.call
    assert blind.eyes is None


def test_every_soft_frame_is_told_of() -> None:
    """Each one is lost by itself, so that a second one is news again; a sharp one is not."""
    made = session()
    assert [kinds(made.take(shot(n, eyes))) for n, eyes in ((6, SOFT), (7, SOFT), (8, SHARP))] == [
        ["eyes"],
        ["eyes"],
        [],
    ]


def test_a_first_few_frames_are_not_judged() -> None:
    """Nothing is soft before there is a measure."""
    news = session(LEAST_FRAMES - 1).take(shot(9, SOFT))
    assert eyes_of(news).verdict == "unknown"
    assert kinds(news) == []


def test_other_bodies_and_other_kinds_of_file_are_no_measure() -> None:
    """A second camera begins anew, and so does a JPEG among raws, whose eyes are sharpened."""
    other = shot(9, SOFT, metadata=Metadata(serial="12"))
    assert eyes_of(session().take(other)).kept_percent is None
    jpeg = shot(9, SOFT)
    jpeg = replace(jpeg, reading=replace(jpeg.reading, source="jpeg"))
    assert eyes_of(session().take(jpeg)).kept_percent is None


def test_each_setup_has_its_own_measure() -> None:
    """Another light draws other eyes, so a new setup begins anew; back in the old one its frames count again."""
    made = session()
    made.split_setup()
    (new, *_) = made.take(shot(20, SOFT))
    assert isinstance(new, FrameRecord)
    assert new.setup == made.view().frames[-2].setup != made.view().frames[0].setup
    assert new.eyes is not None and new.eyes.verdict == "unknown"
    assert eyes_of(session().take(shot(20, SOFT))).verdict == "soft"


def test_a_finished_picture_is_said_to_tell_less() -> None:
    """The warning of a JPEG says what it is."""
    made = Session(FOLDER, PLAN)
    for number in range(LEAST_FRAMES + 1):
        taken = shot(number, SHARP if number < LEAST_FRAMES else SOFT)
        news = made.take(replace(taken, reading=replace(taken.reading, source="jpeg")))
    warned = [each for each in news if isinstance(each, Warned)]
    assert ["as far as a JPEG tells" in each.finding.reason for each in warned] == [True]


def test_another_plan_keeps_the_warning() -> None:
    """The newest frame is called again, and its eyes are as soft as before."""
    made = session()
    made.take(shot(9, SOFT))
    made.use_plan(replace(PLAN, name="Another"))
    assert [finding.kind for finding in made.view().frames[-1].findings] == ["eyes"]


def test_a_frame_is_recalled_with_its_eyes() -> None:
    """What the journal keeps of a record gives back the detail and the state."""
    record = session().take(shot(9, SOFT))[0]
    assert isinstance(record, FrameRecord)
    kept = fields_from_plain(FrameRecord, {name: to_plain(getattr(record, name)) for name in ("eye_detail", "eyes")})
    assert (kept["eye_detail"], kept["eyes"]) == (record.eye_detail, record.eyes)


def test_json_carries_state_and_warning() -> None:
    """Stable names, null where there are no eyes."""
    made = session()
    record, warned, *_ = made.take(shot(9, SOFT))
    assert isinstance(record, FrameRecord)
    check_frame(frame_event(record, PLAN.step))
    eyes = frame_event(record, PLAN.step)["eyes"]
    assert (eyes["state"], eyes["cause"], eyes["direction_deg"]) == ("soft", "focus", None)
    assert eyes["kept_percent"] == pytest.approx(40.0)
    assert news_event(warned, PLAN.step)["kind"] == "eyes"
    assert frame_event(replace(record, eyes=None), PLAN.step)["eyes"] is None


@pytest.mark.parametrize(
    ("verdict", "kept", "words"),
    [("sharp", 98.0, "eyes sharp"), ("soft", 40.0, "eyes soft"), ("unknown", 66.0, "eyes may be soft"),
     ("unknown", None, "eyes not known yet")],
)  # fmt: skip
def test_the_dashboard_has_the_state_in_words(verdict: EyeVerdict, kept: float | None, words: str) -> None:
    """In the second line, beside what was metered; not at all without eyes."""
    record = screen_frame(eyes=EyeState(verdict, "", kept, 5.0, 0.9))
    panel = header_panel(record, PLAN, None, choose({}), 120, 2)
    assert words in panel.lines[1].plain
    assert all(cell_len(line.plain) <= 120 for line in panel.lines)
    assert "eyes" not in header_panel(screen_frame(), PLAN, None, choose({}), 120, 2).lines[1].plain
