"""The app around the panels: keys, pausing, redrawing, leaving."""

import asyncio
import subprocess
import sys
import time
from collections.abc import Awaitable, Callable
from dataclasses import replace

import pytest
import screen_records as made
from textual.pilot import Pilot

from tetherwatch.advise.records import NOTHING_KNOWN, Allowed, Shot
from tetherwatch.advise.whatif import Tried, Try, tried
from tetherwatch.errors import FolderError, TetherwatchError, UsageError
from tetherwatch.exposure.stops import Setting
from tetherwatch.meter.records import Box, Face, Point
from tetherwatch.screen.app import Dashboard
from tetherwatch.screen.board import Board
from tetherwatch.session.records import SessionView
from tetherwatch.setups.placing import by_card
from tetherwatch.setups.records import Placement

SIZES = [(80, 24), (100, 30), (200, 50)]
_LIMIT_SECONDS = 10.0
_FREE_PLAN = made.plan(shutter=Allowed(Setting.SHUTTER, 2**-10, 2**-6, 2**-8))


class Session:
    """A session whose frames the test hands in."""

    def __init__(self, now: SessionView) -> None:
        self.now = now
        self.changed = False
        self.error: TetherwatchError | None = None
        self.closed = 0
        self.wake: Callable[[], object] | None = None

    def view(self) -> SessionView:
        return self.now

    def listen(self, wake: Callable[[], object]) -> None:
        self.wake = wake

    def poll(self) -> bool:
        if self.error:
            raise self.error
        changed, self.changed = self.changed, False
        return changed

    def plans(self) -> tuple[str, ...]:
        return ("Portrait by the window", "Flash, two heads", made.HOSTILE)

    def use_plan(self, name: str) -> None:
        if name == made.HOSTILE:
            raise UsageError("this plan cannot be used", "choose another")
        self.now = replace(self.now, plan=replace(self.now.plan, name=name))

    def toggle_lock(self, setting: Setting) -> None:
        plan = self.now.plan
        if plan.allowed(setting).locked:
            changed = _FREE_PLAN.allowed(setting)
        else:
            changed = replace(plan.allowed(setting), darkest=plan.allowed(setting).brightest)
        self.now = replace(self.now, plan=replace(plan, **{setting.value: changed}))

    def toggle_card(self, number: int | None) -> Placement | None:
        reading, metadata = self.now.frames[-1].reading, self.now.frames[-1].metadata
        if reading.face is None:
            raise UsageError("no grey card can be measured here", "hold one up")
        return by_card(1, number or 0, replace(reading, level_stops=0.8, card_stops=0.0), metadata)

    def next_face(self) -> bool:
        return len(self.now.frames[-1].reading.faces) > 1

    def tried(self, setting: Setting, stops: float) -> Tried | None:
        if setting is Setting.APERTURE:
            raise UsageError("the capture does not say where the aperture stands", "try another setting")
        frame = self.now.frames[-1]
        shot = Shot(frame.metadata, replace(frame.reading, area_tones=frame.reading.tones), 0.0)
        return tried(self.now.plan, shot, (Try(setting, stops=stops),), NOTHING_KNOWN)

    def close(self) -> None:
        self.closed += 1

    def arrive(self, *numbers: int) -> None:
        frames = (*self.now.frames, *(made.frame(number) for number in numbers))
        self.now = replace(self.now, frames=frames, frame_count=len(frames))
        self.changed = True
        self.tell()

    def tell(self) -> None:
        """Wake the dashboard, as the watch does."""
        assert self.wake is not None
        self.wake()


def _session(count: int = 1) -> Session:
    return Session(made.view(*(made.frame(number) for number in range(1, count + 1))))


def drive(
    session: Session,
    steps: Callable[[Dashboard, Pilot[TetherwatchError]], Awaitable[None]],
    size: tuple[int, int] = (80, 24),
) -> Dashboard:
    """Run the dashboard on `session` and let `steps` press its keys."""
    app = Dashboard(session, environ={}, clock=lambda: made.NOW)

    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await until(lambda: bool(shown(app)) and session.wake is not None)
            await steps(app, pilot)

    asyncio.run(run())
    return app


async def until(condition: Callable[[], bool]) -> None:
    """Wait for a condition, at most for the limit."""
    end = time.monotonic() + _LIMIT_SECONDS
    while not condition():
        assert time.monotonic() < end, "condition not met in time"
        await asyncio.sleep(0.01)


def shown(app: Dashboard) -> str:
    """What the top-most board shows."""
    boards = list(app.screen.query(Board))
    return boards[0].plain if boards else ""


@pytest.mark.parametrize("size", SIZES)
def test_the_first_paint_needs_no_event(size: tuple[int, int]) -> None:
    """The board is filled at once, exactly to the window."""

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        lines = shown(app).split("\n")
        assert (len(lines), len(lines[0])) == (size[1], size[0])
        assert "ISO 400 → 800" in shown(app)

    drive(_session(), steps, size)


@pytest.mark.parametrize("size", SIZES)
def test_a_new_frame_is_drawn_when_the_session_says_so(size: tuple[int, int]) -> None:
    """A poll that reports a change repaints."""
    session = _session()

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        session.arrive(2)
        await until(lambda: "#2" in shown(app))

    drive(session, steps, size)


@pytest.mark.parametrize("size", SIZES)
def test_space_freezes_the_frame_and_counts_newer_ones(size: tuple[int, int]) -> None:
    """Paused, the frame stays and the header counts what came since; space again shows the newest."""
    session = _session()

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("space")
        await until(lambda: "PAUSED, 0 newer" in shown(app))
        session.arrive(2, 3)
        await until(lambda: "PAUSED, 2 newer" in shown(app))
        assert "#1 " in shown(app)
        await pilot.press("space")
        await until(lambda: "#3 " in shown(app) and "PAUSED" not in shown(app))

    drive(session, steps, size)


def test_space_does_nothing_before_the_first_frame() -> None:
    """There is nothing to freeze: the first frame appears by itself."""
    session = _session(0)

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("space")
        session.arrive(1)
        await until(lambda: "#1 " in shown(app) and "PAUSED" not in shown(app))

    drive(session, steps)


@pytest.mark.parametrize(("key", "name"), [("s", "shutter"), ("a", "aperture"), ("i", "ISO")])
def test_lock_keys_lock_and_free_a_setting(key: str, name: str) -> None:
    """Each key toggles its setting's lock and says what it is now."""
    session = _session()
    session.now = replace(session.now, plan=_FREE_PLAN)

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        for state in ("locked", "free"):
            await pilot.press(key)
            await until(lambda: f"{name} is {state} now" in shown(app))  # noqa: B023

    drive(session, steps)


def test_face_keys_say_what_they_did() -> None:
    """f and g tell what they lack without a face, and what they took with one, or with several."""
    session = _session()
    face = Face(Box(0.4, 0.2, 0.6, 0.6), Point(0.45, 0.3), Point(0.55, 0.3), 1.0)

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("f")
        await until(lambda: "no other face" in shown(app))
        await pilot.press("g")
        await until(lambda: "no grey card can be measured here" in shown(app))
        frame = session.now.frames[-1]
        reading = replace(frame.reading, faces=(face, face), face=face)
        session.now = replace(session.now, frames=(replace(frame, reading=reading),))
        await pilot.press("f")
        await until(lambda: "the next face is metered" in shown(app))
        await pilot.press("g")
        await until(lambda: "the face lies +0.80 stops from the card" in shown(app))

    drive(session, steps)


def test_a_lock_ends_a_pause() -> None:
    """The call shown must be the one in force, so the newest frame comes back."""
    session = _session()

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("space")
        session.arrive(2)
        await until(lambda: "PAUSED, 1 newer" in shown(app))
        await pilot.press("i")
        await until(lambda: "#2 " in shown(app) and "PAUSED" not in shown(app))

    drive(session, steps)


def test_arrows_go_through_the_frames_and_d_tells_all_of_one() -> None:
    """The frame looked at stays while newer ones come; end shows these; x stops at troubled ones only."""
    session = _session(4)
    odd = made.frame(2, call=made.CALLS["check"])
    session.now = replace(session.now, frames=(session.now.frames[0], odd, *session.now.frames[2:]))

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("left")
        await until(lambda: "#3 " in shown(app) and "PAUSED, 1 newer" in shown(app))
        session.arrive(5)
        await until(lambda: "PAUSED, 2 newer" in shown(app))
        await pilot.press("d")
        await until(lambda: "Frame #3" in shown(app))
        await pilot.press("d", "x", "left")
        await until(lambda: "#2 " in shown(app))
        await pilot.press("right")
        await until(lambda: "#5 " in shown(app) and "PAUSED" not in shown(app))
        await pilot.press("left", "end")
        await until(lambda: "#5 " in shown(app) and "PAUSED" not in shown(app))

    drive(session, steps)


@pytest.mark.parametrize("size", SIZES)
def test_the_plan_is_chosen_from_a_list(size: tuple[int, int]) -> None:
    """p opens the list at the present plan, arrows move, enter uses."""

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("p")
        await until(lambda: "> Portrait by the window" in shown(app))
        await pilot.press("down")
        await until(lambda: "> Flash, two heads" in shown(app))
        await pilot.press("enter")
        await until(lambda: "plan: Flash, two heads" in shown(app))

    drive(_session(), steps, size)


def test_escape_leaves_the_plan_as_it_is() -> None:
    """Going back from the list changes nothing."""

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("p")
        await until(lambda: "> Portrait" in shown(app))
        await pilot.press("down", "escape")
        await until(lambda: "plan: Portrait by the window" in shown(app))

    drive(_session(), steps)


def test_a_plan_that_cannot_be_used_is_said() -> None:
    """A refusal becomes a notice, not the end; the hostile name in the list stays harmless."""

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("p")
        await until(lambda: "Plans" in shown(app))
        assert "\x1b" not in shown(app)
        await pilot.press("down", "down", "down", "enter")
        await until(lambda: "this plan cannot be used" in shown(app))

    drive(_session(), steps)


@pytest.mark.parametrize("size", [(60, 16), *SIZES])
def test_help_shows_the_keys_and_any_key_goes_back(size: tuple[int, int]) -> None:
    """The sheet fits the window, with its word of caution, and closes without doing what the key means."""

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("h")
        await until(lambda: "any key goes back" in shown(app))
        assert "hold a charge" in shown(app)
        assert "photosensitive people." in shown(app)
        await pilot.press("q")
        await until(lambda: "BRIGHTER" in shown(app))
        assert app.is_running

    drive(_session(), steps, size)


@pytest.mark.parametrize("size", [(60, 16), *SIZES])
def test_what_if_follows_choice_and_steps(size: tuple[int, int]) -> None:
    """t opens at the setting of the call; arrows and letters choose and step; escape goes back."""

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("t")
        await until(lambda: "ISO 400   not moved" in shown(app))
        await pilot.press("up", "up", "up")
        await until(lambda: "ISO 400 → 800   +1.0 stops" in shown(app) and "-0.02 stops" in shown(app))
        await pilot.press("down")
        await until(lambda: "ISO 400 → 640" in shown(app))
        await pilot.press("right", "up")
        await until(lambda: "light   +0.3 stops" in shown(app))
        await pilot.press("s", "down")
        await until(lambda: "shutter 1/250 → 1/320" in shown(app))
        await pilot.press("l")
        await until(lambda: "light   not moved" in shown(app))
        await pilot.press("escape")
        await until(lambda: "BRIGHTER" in shown(app))

    drive(_session(), steps, size)


def test_what_if_says_why_a_setting_cannot_be_tried() -> None:
    """A refusal of the session stands on the sheet, which stays usable."""

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("t", "a")
        await until(lambda: "does not say where the aperture stands" in shown(app))
        await pilot.press("i")
        await until(lambda: "ISO 400   not moved" in shown(app))
        await pilot.press("t")
        await until(lambda: "BRIGHTER" in shown(app))

    drive(_session(), steps)


def test_what_if_goes_over_to_a_newer_frame() -> None:
    """The sheet is about the newest frame, also when it arrives under it, and so is the dashboard afterwards."""
    session = _session()

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("t", "up")
        await until(lambda: "RHS_0001.DNG reads" in shown(app))
        session.arrive(2)
        await until(lambda: "RHS_0002.DNG reads" in shown(app) and "ISO 400 → 500" in shown(app))
        await pilot.press("escape")
        await until(lambda: "#2 " in shown(app))

    drive(session, steps)


def test_what_if_needs_a_frame() -> None:
    """Before the first capture a notice says so."""

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        await pilot.press("t")
        await until(lambda: "no capture yet" in shown(app))

    drive(_session(0), steps)


@pytest.mark.parametrize("key", ["q", "ctrl+c"])
@pytest.mark.parametrize("sheet", [None, "h", "p", "t"])
def test_leaving(key: str, sheet: str | None) -> None:
    """q ends the dashboard; ctrl+c does so from any sheet."""

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        if sheet:
            await pilot.press(sheet)
            await until(lambda: "BRIGHTER" not in shown(app))
        await pilot.press("ctrl+c" if sheet else key)
        await until(lambda: not app.is_running)

    assert drive(_session(), steps).return_value is None


def test_an_error_of_the_session_ends_the_app_with_it() -> None:
    """The error comes out as the app's result for the command line to word."""
    session = _session()
    error = FolderError(made.view().folder, "the folder cannot be watched")

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        session.error = error
        session.tell()
        await until(lambda: not app.is_running)

    assert drive(session, steps).return_value is error


def test_a_resize_is_followed() -> None:
    """The board fills the new size, and says so when it is too small."""

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        for width, height in ((200, 50), (60, 16), (80, 24)):
            await pilot.resize_terminal(width, height)
            await until(lambda: {len(line) for line in shown(app).split("\n")} == {width})  # noqa: B023
            assert shown(app).count("\n") == height - 1
        await pilot.resize_terminal(40, 10)
        await until(lambda: "at least" in shown(app))

    drive(_session(), steps)


def test_nothing_of_the_data_reaches_the_compositor_as_a_code() -> None:
    """What textual would write holds no escape from a hostile name."""
    session = Session(made.view(made.frame(name=made.HOSTILE)))

    async def steps(app: Dashboard, pilot: Pilot[TetherwatchError]) -> None:
        texts = [segment.text for y in range(24) for segment in app.query_one(Board).render_line(y)]
        assert "\\x9b31m" in "".join(texts)
        assert not any("\x1b" in text or "\x9b" in text for text in texts)

    drive(session, steps)


def test_panels_do_not_load_textual() -> None:
    """Plain lines and panels work without the app, so that they start quickly."""
    code = "import sys, tetherwatch.screen.layout, tetherwatch.screen.lines; sys.exit('textual' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
