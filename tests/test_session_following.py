"""The session checks its calls: landings, their score, the light's power, and warnings told once while they hold."""

from collections.abc import Iterable
from dataclasses import replace

import pytest
from session_records import FLASH, FOLDER, PLAN, SETTINGS, metered

from tetherwatch.advise.landing import SCORED_LANDINGS
from tetherwatch.advise.records import Allowed, Plan
from tetherwatch.advise.whatif import Try
from tetherwatch.errors import UsageError
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.session.followed import Followed
from tetherwatch.session.records import FrameRecord, Landed, SessionEvent, Warned
from tetherwatch.session.session import Session
from tetherwatch.watch.records import Metered

ISO_800 = SETTINGS.with_value(Setting.ISO, 800.0)
ISO_FIRST = replace(PLAN, brighter=(Setting.ISO, Setting.SHUTTER))
POWERED = replace(
    FLASH, brighter=(Setting.LIGHT,), darker=(Setting.LIGHT,), power=Allowed(Setting.LIGHT, 2.0**-8, 1.0, 2.0**-4)
)


def news(session: Session, events: Iterable[Metered]) -> list[SessionEvent]:
    """Everything a session tells of these captures."""
    return [piece for event in events for piece in session.take(event)]


def landings(pieces: list[SessionEvent]) -> list[tuple[str, float]]:
    """The file and error of each landing told."""
    return [(piece.path.name, round(piece.landing.error_stops, 6)) for piece in pieces if isinstance(piece, Landed)]


def warnings(pieces: list[SessionEvent], kind: str | None = None) -> list[str]:
    """The files at which a warning was told, of one kind or of any."""
    told = [piece for piece in pieces if isinstance(piece, Warned) and kind in (None, piece.finding.kind)]
    return [piece.path.name for piece in told if piece.path is not None]


def asked_and_followed(came: float = 1.0) -> list[Metered]:
    """A frame one stop too dark, and one with the ISO moved as called, `came` stops brighter."""
    return [
        metered("1.DNG", -1.0, at=1),
        metered("2.DNG", -1.0 + came, at=2, settings=ISO_800, light_value=6.0 + came),
    ]


def test_a_followed_call_lands_with_the_frame_that_follows_it() -> None:
    """The news comes right after the frame, the record carries it, and the score counts it."""
    session = Session(FOLDER, ISO_FIRST)
    told = news(session, asked_and_followed(1.05))
    assert [type(piece) for piece in told] == [FrameRecord, FrameRecord, Landed]
    assert landings(told) == [("2.DNG", 0.05)]
    view = session.view()
    assert isinstance(told[-1], Landed) and view.frames[-1].landing is told[-1].landing
    assert (view.frames[0].landing, view.score.count) == (None, 1)
    assert view.score.of(Setting.ISO).worst_error_stops == pytest.approx(0.05)


def test_frames_in_between_do_not_lose_a_call() -> None:
    """The same frame again, and an odd one at the new value, are passed over; the sound one lands."""
    first, followed = asked_and_followed()
    plan = replace(ISO_FIRST, light="flash", brighter=(Setting.ISO,))
    again = metered("1b.DNG", -1.0, at=1.3)
    dark = metered("1c.DNG", -6.0, at=1.6, settings=ISO_800, light_value=1.0)
    session = Session(FOLDER, plan)
    told = news(session, [first, again, dark, followed])
    assert [frame.call.kind for frame in session.view().frames] == ["brighter", "brighter", "check", "hold"]
    assert landings(told) == [("2.DNG", 0.0)]


def test_a_better_reading_lands_once() -> None:
    """The landing of a frame read again takes the place of the first, and goes when it is none any more."""
    session = Session(FOLDER, ISO_FIRST)
    first, followed = asked_and_followed(1.0)
    news(session, [first, followed])
    better = replace(followed, reading=replace(followed.reading, level_stops=0.1, offset_stops=0.1), replaces=True)
    assert landings(news(session, [better])) == [("2.DNG", 0.1)]
    assert session.view().score.count == 1
    assert session.view().score.worst_error_stops == pytest.approx(0.1)
    other = replace(better, metadata=Metadata(settings=SETTINGS, serial="77"))
    assert landings(news(session, [other])) == []
    assert session.view().score.count == 0


def test_another_body_follows_no_call_of_the_first() -> None:
    """Two cameras into one folder: each is judged by its own frames."""
    first, followed = asked_and_followed()
    stranger = replace(followed, metadata=replace(followed.metadata, serial="88"))
    assert landings(news(Session(FOLDER, ISO_FIRST), [first, stranger])) == []
    later = replace(followed, capture=replace(followed.capture, path=FOLDER / "3.DNG", arrived_at=3.0))
    assert landings(news(Session(FOLDER, ISO_FIRST), [first, stranger, later])) == [("3.DNG", 0.0)]


def rounds(count: int, came: float) -> Iterable[Metered]:
    """The same call asked and followed again and again, each time `came` stops brighter."""
    for number in range(count):
        for event in asked_and_followed(came):
            at = 2 * number + event.capture.arrived_at
            path = FOLDER / f"{number}-{event.capture.path.name}"
            yield replace(event, capture=replace(event.capture, path=path, arrived_at=at))


def test_the_score_is_bounded() -> None:
    """Only the last landings count, so work and memory do not grow with the session."""
    session = Session(FOLDER, ISO_FIRST)
    news(session, rounds(SCORED_LANDINGS + 5, 1.0))
    assert session.view().score.count == SCORED_LANDINGS


def test_a_lever_that_falls_short_is_warned_of_once() -> None:
    """From the third time on each record carries it; the event is told once, and a plan without the lever ends it."""
    session = Session(FOLDER, ISO_FIRST)
    told = news(session, rounds(5, 0.35))
    assert len(landings(told)) >= 4
    assert len(warnings(told, "lever")) == 1
    assert [finding.kind for finding in session.view().frames[-1].findings] == ["lever"]
    session.use_plan(replace(ISO_FIRST, brighter=(Setting.SHUTTER,), darker=(Setting.SHUTTER,)))
    assert session.view().frames[-1].findings == ()


def slow(name: str, at: float, shutter_s: float = 0.25) -> Metered:
    """A frame too slow for the hand."""
    settings = SETTINGS.with_value(Setting.SHUTTER, shutter_s)
    return metered(name, at=at, metadata=Metadata(settings=settings, focal_mm=85.0, focal_35mm=85.0))


SLOW_PLAN = replace(PLAN, shutter=Allowed(Setting.SHUTTER, 2.0**-12, 1.0, 2.0**-8))


def test_a_hazard_is_told_once_while_it_holds() -> None:
    """Each record carries it; the event comes when it begins, and again after it was gone or is another."""
    session = Session(FOLDER, SLOW_PLAN)
    events = [slow("1.DNG", 1), slow("2.DNG", 2), slow("3.DNG", 3, 2.0**-10), slow("4.DNG", 4), slow("5.DNG", 5, 0.5)]
    assert warnings(news(session, events), "hand-hold") == ["1.DNG", "4.DNG", "5.DNG"]
    kinds = [[finding.kind for finding in frame.findings] for frame in session.view().frames]
    assert [("hand-hold" in found) for found in kinds] == [True, True, False, True, True]


def test_the_backlog_is_warned_of_in_its_records_only() -> None:
    """A warning is for what is to be shot next: frames that are read late bring none."""
    session = Session(FOLDER, SLOW_PLAN)
    told = news(session, [slow("2.DNG", 2, 2.0**-10), slow("1.DNG", 1), slow("3.DNG", 3, 2.0**-10)])
    assert warnings(told, "hand-hold") == []
    assert "hand-hold" in [finding.kind for finding in session.view().frames[0].findings]


def test_a_plan_that_claims_the_wrong_light_is_doubted() -> None:
    """Two stops of shutter that the picture follows are no flash; the plan stays as it is."""
    slower = SETTINGS.with_value(Setting.SHUTTER, 2.0**-6)
    plan = replace(FLASH, shutter=Allowed(Setting.SHUTTER, 2.0**-12, 1.0, 2.0**-8))
    events = [metered("1.DNG", 0.0, at=1), metered("2.DNG", 2.0, at=2, settings=slower, light_value=7.0)]
    session = Session(FOLDER, plan)
    told = news(session, events)
    if session.view().frames[-1].call.kind == "check":
        told += news(session, [metered("3.DNG", 2.0, at=3, settings=slower, light_value=7.0)])
    assert len(warnings(told, "light")) == 1
    assert session.plan == plan


def turned(*offsets: float) -> list[Metered]:
    """Frames under a light that is turned from one to the next."""
    return [metered(f"{at}.DNG", offset, at=at, light_value=7.0 + offset) for at, offset in enumerate(offsets, start=1)]


def labels(session: Session) -> list[tuple[str | None, str | None]]:
    """From and to of each call."""
    return [(frame.call.from_label, frame.call.to_label) for frame in session.view().frames]


def test_the_lights_power_follows_its_landings() -> None:
    """It starts where the plan says, and stands where the calls that landed have turned it."""
    session = Session(FOLDER, POWERED)
    news(session, turned(-1.0, -0.3))
    assert labels(session) == [("1/16", "1/8"), ("1/8", "1/8 +0.3")]


def plan_without_power() -> Plan:
    """A plan that does not say where the light stands."""
    return replace(POWERED, power=None)


def test_without_a_power_in_the_plan_none_is_known() -> None:
    """Unknown is said: the call for light names stops only."""
    session = Session(FOLDER, plan_without_power())
    news(session, turned(-1.0))
    assert labels(session) == [(None, None)]


def test_power_is_counted_once_for_a_frame_read_twice_and_starts_anew_with_a_plan() -> None:
    """A landing that is replaced is taken back first."""
    session = Session(FOLDER, POWERED)
    first, second = turned(-1.0, -0.3)
    news(session, [first, second, replace(second, replaces=True)])
    assert labels(session)[-1] == ("1/8", "1/8 +0.3")
    followed = Followed(POWERED)
    landing = session.view().frames[-1].landing
    followed.note(2, landing)
    assert followed.power == pytest.approx(2.0**-3)
    followed.note(2, None)
    assert followed.power == pytest.approx(2.0**-4)
    session.use_plan(replace(POWERED, name="Other"))
    assert labels(session)[-1] == ("1/16", "1/16 +0.3")
    elsewhere = replace(second.reading, area="frame")
    news(session, [replace(second, reading=elsewhere, replaces=True)])
    assert labels(session)[-1] == ("1/16", "1/16 +0.3")


def test_what_if_is_asked_of_the_newest_frame() -> None:
    """Before the first frame there is nothing to try; a setting that is hidden is named."""
    session = Session(FOLDER, PLAN)
    assert session.tried((Try(Setting.ISO, stops=1.0),)) is None
    news(session, asked_and_followed())
    found = session.tried((Try(Setting.ISO, stops=1.0),))
    assert found is not None
    assert found.predicted.offset_stops == pytest.approx(1.0)
    assert found.settings.iso == pytest.approx(1600.0)
    news(session, [metered("3.DNG", at=3, settings=Settings())])
    with pytest.raises(UsageError):
        session.tried((Try(Setting.ISO, stops=1.0),))
