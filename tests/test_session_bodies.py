"""A session finds the body of its captures: the ceiling becomes that body's, and it is said once."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from advise_records import GOOD
from body_records import BODY
from session_records import FOLDER, SETTINGS, metered

from tetherwatch.body.library import Library
from tetherwatch.body.matching import Bodies
from tetherwatch.body.records import Body, Ceiling, Grey
from tetherwatch.errors import BodyError, Mistake
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.session.bodies import Shelf, broken_profile
from tetherwatch.session.chosen import chosen_plan
from tetherwatch.session.recorded import RecordedSession
from tetherwatch.session.records import NO_PAST, FrameRecord, SessionEvent, Warned
from tetherwatch.watch.records import FirstLook, Metered

HARROW = Metadata(SETTINGS, camera="Harrow Q24", serial="HQ-204417")
HALDEN = Metadata(SETTINGS, camera="Halden K2", serial="77")


def session(
    *bodies: Body, ceiling: float | None = None, preferred: str | None = None, text: str = GOOD
) -> RecordedSession:
    """A session that knows these profiles."""
    return RecordedSession(FOLDER, chosen_plan("mine.toml", text, ceiling), NO_PAST, None, Bodies(bodies, preferred))


def shot(number: int, metadata: Metadata = HARROW, offset: float = -1.0) -> Metered:
    """The capture that arrived as the `number`-th."""
    return metered(f"{number}.DNG", offset, at=float(number), metadata=metadata)


def said(news: tuple[SessionEvent, ...]) -> list[str]:
    """What is told of bodies."""
    return [each.finding.reason for each in news if isinstance(each, Warned) and each.finding.kind == "body"]


def test_the_first_capture_brings_its_bodys_ceiling() -> None:
    """Until then the ceiling is assumed; the news comes before the frame, which is called under the new ceiling."""
    live = session(BODY)
    assert (live.plan.ceiling_iso, live.plan.ceiling_assumed) == (3200.0, True)
    news = live.take(shot(1))
    assert said(news) == ["body profile harrow-q24, by camera and serial: ceiling ISO 6400"]
    assert isinstance(news[0], Warned) and isinstance(news[1], FrameRecord)
    assert (live.plan.iso.brightest, live.plan.ceiling_assumed) == (6400.0, False)
    assert any("harrow-q24" in note for note in live.plan.notes)
    assert said(live.take(shot(2))) == []
    assert live.view().body == BODY


def test_a_first_look_brings_the_ceiling_already() -> None:
    """The preview of the first capture names its camera: what it calls for is called under the right ceiling."""
    live, event = session(BODY), shot(1)
    look = FirstLook(event.capture, event.metadata, replace(event.reading, provisional=True), event.thumbnail)
    assert len(said(live.take(look))) == 1
    assert (live.plan.ceiling_iso, live.view().body) == (6400.0, BODY)
    assert said(live.take(event)) == []


def test_a_users_ceiling_is_never_changed() -> None:
    """What --ceiling says stays, and that it does is said."""
    live = session(BODY, ceiling=1600.0)
    assert said(live.take(shot(1))) == ["body profile harrow-q24, by camera and serial: your ceiling, ISO 1600, stays"]
    assert live.plan.iso.brightest == 1600.0


def test_locks_and_a_chosen_plan_outlast_the_body() -> None:
    """A lock made before the first capture stays when the ceiling changes, and another plan gets the ceiling too."""
    live = session(BODY)
    live.toggle_lock(Setting.SHUTTER)
    live.take(shot(1))
    assert Setting.SHUTTER in live.locks and live.plan.shutter.locked
    live.choose(chosen_plan("other.toml", GOOD, None, live.chosen.body))
    assert live.plan.iso.brightest == 6400.0


def test_each_bodys_captures_are_called_under_its_own_ceiling() -> None:
    """Two cameras take turns: the ceiling follows the newest capture, and each body is told once."""
    other = replace(
        BODY, name="halden", camera="Halden K2", serial="77", ceiling=Ceiling(1600.0, 1600.0, 1600.0, "eye")
    )
    live = session(BODY, other)
    told, ceilings = [], []
    for number, metadata in enumerate((HARROW, HALDEN, HARROW, HALDEN), start=1):
        told += said(live.take(shot(number, metadata)))
        ceilings.append(live.plan.ceiling_iso)
    assert ceilings == [6400.0, 1600.0, 6400.0, 1600.0]
    assert len(told) == 2


def test_an_older_capture_of_another_body_does_not_move_the_ceiling() -> None:
    """What is read from the backlog behind the newest capture leaves the ceiling in force alone."""
    live = session(BODY)
    live.take(shot(5))
    assert said(live.take(shot(1, HALDEN))) == []
    assert live.plan.ceiling_iso == 6400.0


@pytest.mark.parametrize(
    ("bodies", "preferred", "metadata", "words"),
    [
        ([], None, HARROW, []),
        ([BODY], None, HALDEN, ["no profile of this camera (Halden K2): ceiling ISO 3200 is assumed"]),
        ([BODY], "harrow-q24", HALDEN,
         ["body profile harrow-q24 is of another camera than this capture, which is of Halden K2"]),
        ([BODY, replace(BODY, name="b", serial="2")], None, replace(HARROW, serial=None),
         ["several profiles fit this camera (Harrow Q24): ceiling ISO 3200 is assumed"]),
        ([replace(BODY, ceiling=None, grey=Grey(10 / 78 / 2, date(2026, 1, 1)))], None, HARROW,
         ["body profile harrow-q24, by camera and serial: ceiling ISO 3200 is assumed, grey at -1.00 stops"]),
        ([replace(BODY, ceiling=Ceiling(64.0, 64.0, 64.0, "eye"))], None, HARROW,
         ["body profile harrow-q24, by camera and serial: "
          "the plan has no room for its ceiling, ISO 64, so ISO 3200 is assumed"]),
    ],
)  # fmt: skip
def test_what_is_said_of_a_body(
    bodies: list[Body], preferred: str | None, metadata: Metadata, words: list[str]
) -> None:
    """What is not known is assumed and said; a user without profiles is told nothing more than before."""
    live = session(*bodies, preferred=preferred)
    assert said(live.take(shot(1, metadata))) == words
    assert live.plan.ceiling_assumed


def test_a_call_carries_the_noise_of_its_new_iso() -> None:
    """The prediction of a move of ISO is that of a grey at the ISO moved to; of another lever, at the present one."""
    text = GOOD.replace('brighter = ["shutter", "iso"]', 'brighter = ["iso"]')
    live = session(BODY, text=text.replace('["iso", "shutter", "light"]', '["shutter"]'))
    frame = next(each for each in live.take(shot(1)) if isinstance(each, FrameRecord))
    assert (frame.call.setting, frame.call.to_label) == (Setting.ISO, "800")
    assert frame.call.predicted is not None
    assert frame.call.predicted.grey_snr == pytest.approx(BODY.grey_snr(800.0))
    later = next(each for each in live.take(shot(900, offset=1.0)) if isinstance(each, FrameRecord))
    assert later.call.setting is Setting.SHUTTER and later.call.predicted is not None
    assert later.call.predicted.grey_snr == pytest.approx(BODY.grey_snr(400.0))


def test_without_a_profile_no_noise_is_promised() -> None:
    """None, not a guess."""
    frame = next(each for each in session().take(shot(1)) if isinstance(each, FrameRecord))
    assert frame.call.predicted is not None and frame.call.predicted.grey_snr is None


def test_the_shelf_puts_the_named_body_first_and_renews_the_kept_one() -> None:
    """A name given now wins; what a session kept is taken from the library where it was measured anew."""
    other, newer = replace(BODY, name="other"), replace(BODY, serial="HQ-9")
    assert Shelf(Library((BODY, other)), newer).candidates(other) == Bodies((newer, other), "harrow-q24")
    assert Shelf(Library((newer,)), None).candidates(BODY) == Bodies((newer,), "harrow-q24")
    assert Shelf(Library(()), None).candidates(BODY) == Bodies((BODY,), "harrow-q24")
    assert Shelf(Library((other,)), None).candidates() == Bodies((other,), None)


def test_a_broken_profile_is_one_line() -> None:
    """The first mistake with its place, how many more there are, and that the shoot goes on."""
    error = BodyError(
        "/c/bad.toml", (Mistake("ceiling.iso\x1b", 3, "this key is missing"), Mistake("x", 4, "unknown key"))
    )
    problem = broken_profile(error)
    assert problem.path == Path("/c/bad.toml")
    assert problem.problem == r"this body profile is not used: line 3, ceiling.iso\x1b: this key is missing, and 1 more"
    assert "goes on" in problem.advice
