"""The session: numbers, order, what is remembered, and calls that follow the plan in force."""

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule
from session_records import FLASH, FOLDER, PLAN, SETTINGS, metered

from tetherwatch.advise.call import make_call
from tetherwatch.advise.records import Plan
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.session.records import FrameRecord
from tetherwatch.session.roll import KEPT_FRAMES
from tetherwatch.session.session import KEPT_PROBLEMS, Session
from tetherwatch.watch.records import Health, Metered, Problem

AWAY = Health(FOLDER, False, "polling", 0, None)


def taken(plan: Plan, events: Iterable[Metered]) -> Session:
    """A session that took these captures."""
    session = Session(FOLDER, plan)
    for event in events:
        session.take(event)
    return session


def names(session: Session) -> list[str]:
    """The names of the frames in view, oldest first."""
    return [frame.capture.path.name for frame in session.view().frames]


def newest(session: Session) -> FrameRecord:
    """The frame a screen shows."""
    return session.view().frames[-1]


def test_a_new_session_is_empty() -> None:
    """Nothing is known before the first event, and nothing is pretended."""
    view = Session(FOLDER, PLAN).view()
    assert (view.folder, view.plan, view.frames, view.problems) == (FOLDER, PLAN, (), ())
    assert (view.health, view.frame_count, view.problem_count) == (None, 0, 0)


def test_frames_are_numbered_as_they_are_read() -> None:
    """From 1, each with the call that its settings and reading lead to under the plan."""
    session = Session(FOLDER, PLAN)
    for number, offset in enumerate((-1.0, 0.0, 2.0), start=1):
        event = metered(f"{number}.DNG", offset, at=number)
        record, *_ = session.take(event)
        assert isinstance(record, FrameRecord)
        assert (record.number, record.capture, record.metadata) == (number, event.capture, event.metadata)
        assert record.call == make_call(PLAN, SETTINGS, event.reading)
        assert record is newest(session)
    assert session.frame_count == session.view().frame_count == 3


def test_problems_and_health_are_handed_on_as_they_are() -> None:
    """A problem is counted and shown; of the health the last word stands; neither is a frame."""
    session = Session(FOLDER, PLAN)
    problem = Problem(FOLDER / "1.DNG", "the file is empty", "copy it again")
    back = replace(AWAY, here=True)
    for event in (problem, AWAY, problem, back):
        assert session.take(event) == (event,)
    view = session.view()
    assert (view.problems, view.health) == ((problem, problem), back)
    assert (session.problem_count, view.problem_count, session.frame_count) == (2, 2, 0)


def test_a_better_reading_takes_the_place_of_the_first() -> None:
    """It keeps number and place, and brings its own reading, call and notes."""
    session = taken(PLAN, [metered("1.DNG", -1.0, at=1), metered("2.DNG", at=2)])
    record, *_ = session.take(metered("1.DNG", 1.0, at=1, replaces=True))
    assert isinstance(record, FrameRecord)
    assert (record.number, record.call.kind, record.notes) == (1, "darker", ("read from the embedded preview",))
    assert (names(session), session.frame_count) == (["1.DNG", "2.DNG"], 2)
    assert session.view().frames[0] is record


def test_a_raw_replaces_its_jpeg() -> None:
    """The two files of a pair are one frame, whichever was read first."""
    session = taken(PLAN, [metered("1.JPG", at=1), metered("2.DNG", at=2)])
    session.take(metered("1.DNG", at=3, pair="1.JPG", replaces=True))
    assert (names(session), session.frame_count) == (["1.DNG", "2.DNG"], 2)
    assert session.view().frames[0].capture.pair == FOLDER / "1.JPG"


def test_a_replacement_of_nothing_known_is_a_frame() -> None:
    """What it would replace may have left the memory; the capture still counts."""
    session = taken(PLAN, [metered("1.DNG", at=1)])
    record, *_ = session.take(metered("9.DNG", at=2, replaces=True))
    assert isinstance(record, FrameRecord) and record.number == 2


def test_the_backlog_stays_behind_the_newest_capture() -> None:
    """Captures that arrived earlier but are read later get the next number, and the screen keeps the newest."""
    session = taken(PLAN, [metered("1.DNG", at=1), metered("4.DNG", 1.0, at=4), metered("3.DNG", at=3)])
    session.take(metered("2.DNG", at=2))
    assert names(session) == ["1.DNG", "2.DNG", "3.DNG", "4.DNG"]
    assert [frame.number for frame in session.view().frames] == [1, 4, 3, 2]
    assert newest(session).call.kind == "darker"


def test_captures_found_in_one_look_keep_the_order_of_their_files() -> None:
    """They arrived at the same moment, so the time at which each was written decides."""
    events = [metered(f"{number}.DNG", at=1) for number in (3, 1, 2)]
    written = [
        replace(event, capture=replace(event.capture, mtime_ns=int(event.capture.path.stem))) for event in events
    ]
    assert names(taken(PLAN, written)) == ["1.DNG", "2.DNG", "3.DNG"]


def test_memory_is_bounded() -> None:
    """Only the last frames and problems are kept; the counts go on."""
    session = taken(PLAN, (metered(f"{number}.DNG", at=number) for number in range(KEPT_FRAMES + 5)))
    for number in range(KEPT_PROBLEMS + 5):
        session.take(Problem(FOLDER / f"{number}.DNG", "the file is empty", "copy it again"))
    view = session.view()
    assert (len(view.frames), len(view.problems)) == (KEPT_FRAMES, KEPT_PROBLEMS)
    assert (view.frame_count, view.problem_count) == (KEPT_FRAMES + 5, KEPT_PROBLEMS + 5)
    assert (view.frames[0].number, view.problems[0].path.name) == (6, "5.DNG")
    assert isinstance(session.take(metered("old.DNG", at=-1))[0], FrameRecord)
    assert session.view().frames == view.frames


def test_a_view_does_not_change_afterwards() -> None:
    """What a screen draws from stays as it was."""
    session = taken(PLAN, [metered("1.DNG", at=1)])
    view = session.view()
    session.take(metered("2.DNG", at=2))
    session.toggle_lock(Setting.ISO)
    assert [frame.capture.path.name for frame in view.frames] == ["1.DNG"]
    assert view.plan == PLAN


def test_another_plan_calls_the_newest_frame_again() -> None:
    """At once, against its own aim, and only that frame; the reading itself stays."""
    session = taken(PLAN, [metered("1.DNG", 0.0, at=1), metered("2.DNG", 0.0, at=2)])
    session.use_plan(replace(PLAN, name="Darker", aim=replace(PLAN.aim, from_grey_stops=-1.0)))
    first, second = session.view().frames
    assert (first.call.kind, first.reading.offset_stops) == ("hold", 0.0)
    assert (second.call.kind, second.reading.offset_stops, second.reading.level_stops) == ("darker", 1.0, 0.0)
    assert session.plan.name == "Darker"


def test_a_lock_calls_the_newest_frame_again() -> None:
    """A free setting is held where it stands, so the next lever must move; the second press undoes it."""
    session = taken(PLAN, [metered("1.DNG", 1.0, at=1)])
    assert newest(session).call.setting is Setting.ISO
    session.toggle_lock(Setting.ISO)
    assert (session.plan.iso.darkest, session.plan.iso.brightest) == (400.0, 400.0)
    assert newest(session).call.setting is Setting.SHUTTER
    session.toggle_lock(Setting.ISO)
    assert session.plan == PLAN
    assert newest(session).call.setting is Setting.ISO


def test_a_locked_setting_is_freed() -> None:
    """A setting the plan holds becomes a lever, and goes back to the plan's lock."""
    session = taken(PLAN, [metered("1.DNG", -5.0, at=1, settings=SETTINGS.with_value(Setting.ISO, 3200.0))])
    assert newest(session).call.kind == "blocked"
    session.toggle_lock(Setting.APERTURE)
    assert newest(session).call.setting is Setting.APERTURE
    session.toggle_lock(Setting.APERTURE)
    assert session.plan == PLAN


@pytest.mark.parametrize(("settings", "held"), [(None, 100.0), (Settings(), 100.0), (SETTINGS, 400.0)])
def test_a_lock_without_a_known_value_takes_the_plans_start(settings: Settings | None, held: float) -> None:
    """Before the first frame, or where the capture does not say, the start of the shoot is the best word there is."""
    session = taken(PLAN, [] if settings is None else [metered("1.DNG", at=1, settings=settings)])
    session.toggle_lock(Setting.ISO)
    assert session.plan.iso.darkest == session.plan.iso.brightest == held


def test_another_plan_drops_the_locks() -> None:
    """Locks belong to the plan they were set on."""
    session = taken(PLAN, [metered("1.DNG", at=1)])
    session.toggle_lock(Setting.ISO)
    session.toggle_lock(Setting.APERTURE)
    session.use_plan(FLASH)
    assert session.plan == FLASH


@given(st.lists(st.sampled_from(CAMERA_SETTINGS), max_size=8))
def test_locks_do_not_depend_on_their_order(presses: list[Setting]) -> None:
    """An even number of presses leaves a setting as the plan has it, an odd one does not."""
    session = taken(PLAN, [metered("1.DNG", at=1)])
    for setting in presses:
        session.toggle_lock(setting)
    for setting in CAMERA_SETTINGS:
        assert (session.plan.allowed(setting) == PLAN.allowed(setting)) == (presses.count(setting) % 2 == 0)


def lights(*values: float | None) -> list[Metered]:
    """Frames under this much light, one after the other."""
    return [metered(f"{at}.DNG", -1.0, at=at, light_value=value) for at, value in enumerate(values, start=1)]


@pytest.mark.parametrize(
    ("plan", "values", "kinds"),
    [
        (FLASH, (7.0, 3.0), ["brighter", "check"]),
        (FLASH, (7.0, 3.0, 7.0), ["brighter", "check", "brighter"]),
        (FLASH, (7.0, 4.5, 4.5), ["brighter", "check", "brighter"]),
        (FLASH, (7.0, 3.0, 3.0), ["brighter", "check", "check"]),
        (FLASH, (7.0, 6.6, 6.2, 5.8), ["brighter"] * 4),
        (FLASH, (7.0, None, 3.0), ["brighter"] * 3),
        (PLAN, (7.0, 3.0, 3.0), ["brighter", "check", "brighter"]),
        (PLAN, (7.0, 6.1, 5.2), ["brighter"] * 3),
    ],
    ids=["lost", "back again", "stays darker", "stays unlit", "fades", "unknown", "a lamp out", "a cloud"],
)
def test_light_is_compared_with_the_last_frame_that_was_not_odd(
    plan: Plan, values: tuple[float | None, ...], kinds: list[str]
) -> None:
    """One dark frame is checked; a second one is called, since the light is then as it is, unless it has no flash."""
    assert [frame.call.kind for frame in taken(plan, lights(*values)).view().frames] == kinds


def test_a_lost_flash_stays_odd_when_a_lock_changes() -> None:
    """Calling the frame again does not forget that its light was gone."""
    session = taken(FLASH, lights(7.0, 3.0))
    session.toggle_lock(Setting.ISO)
    assert newest(session).call.kind == "check"
    session.use_plan(replace(FLASH, name="Other"))
    assert newest(session).call.kind == "check"


def test_a_replacement_is_compared_with_the_frame_before_its_own_place() -> None:
    """Not with itself, and not with a frame that came later."""
    session = taken(FLASH, lights(7.0, 3.0, 3.0))
    record, *_ = session.take(metered("2.DNG", -1.0, at=2, light_value=3.1, replaces=True))
    assert isinstance(record, FrameRecord) and record.call.kind == "check"
    record, *_ = session.take(metered("1.DNG", -1.0, at=1, light_value=3.1, replaces=True))
    assert isinstance(record, FrameRecord) and record.call.kind == "brighter"


def test_following_a_call_for_less_light_is_no_misfire() -> None:
    """At base ISO the plan turns the heads down by two stops; the next frame is right, and says so."""
    base = SETTINGS.with_value(Setting.ISO, 100.0)
    plan = replace(FLASH, darker=(Setting.ISO, Setting.LIGHT))
    session = taken(plan, [metered("1.DNG", 2.0, at=1, light_value=9.0, settings=base)])
    assert (newest(session).call.setting, newest(session).call.move_stops) == (Setting.LIGHT, -2.0)
    session.take(metered("2.DNG", 0.0, at=2, light_value=7.0, settings=base))
    assert newest(session).call.kind == "hold"


class AnySession(RuleBasedStateMachine):
    """Events, plans and locks in any order."""

    def __init__(self) -> None:
        super().__init__()
        self.session = Session(FOLDER, PLAN)
        self.paths: set[Path] = set()
        self.problems = 0

    @rule(number=st.integers(1, 9), at=st.integers(0, 9), offset=st.floats(-9, 9), light=st.none() | st.floats(0, 9))
    def take(self, number: int, at: int, offset: float, light: float | None) -> None:
        """A capture, as a new frame the first time and as a better reading later."""
        event = metered(f"{number}.DNG", offset, at=at, light_value=light, replaces=number in self.numbers)
        record, *_ = self.session.take(event)
        assert isinstance(record, FrameRecord)
        assert record.reading == event.reading
        self.paths.add(event.capture.path)

    @property
    def numbers(self) -> set[int]:
        """The captures taken so far."""
        return {int(path.stem) for path in self.paths}

    @rule()
    def problem(self) -> None:
        """Something goes wrong."""
        self.session.take(Problem(FOLDER / "x.DNG", "the file is empty", "copy it again"))
        self.problems += 1

    @rule(plan=st.sampled_from([PLAN, FLASH]))
    def use_plan(self, plan: Plan) -> None:
        """Another plan."""
        self.session.use_plan(plan)
        assert self.session.plan == plan

    @rule(setting=st.sampled_from(CAMERA_SETTINGS))
    def toggle(self, setting: Setting) -> None:
        """A lock is pressed."""
        self.session.toggle_lock(setting)

    @invariant()
    def each_capture_is_one_frame(self) -> None:
        """Frames have numbers 1 to their count, one path each, and counts agree."""
        view = self.session.view()
        assert sorted(frame.number for frame in view.frames) == list(range(1, len(self.paths) + 1))
        assert {frame.capture.path for frame in view.frames} == self.paths
        assert (view.frame_count, view.problem_count) == (len(self.paths), self.problems)

    @invariant()
    def the_newest_call_obeys_the_plan_in_force(self) -> None:
        """What the newest frame calls for is never locked."""
        view = self.session.view()
        if view.frames and view.frames[-1].call.kind in ("brighter", "darker"):
            setting = view.frames[-1].call.setting
            assert setting in (*view.plan.brighter, *view.plan.darker)


TestAnySession = AnySession.TestCase
TestAnySession.settings = examples(max_examples=25, stateful_step_count=20, deadline=None)
