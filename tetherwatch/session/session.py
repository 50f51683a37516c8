"""The session: takes what the watch hands on, numbers the frames and adds the calls."""

from collections import deque
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from tetherwatch.advise.call import make_call
from tetherwatch.advise.locks import locked_at, unlocked
from tetherwatch.advise.records import Call, Plan, Shot
from tetherwatch.advise.steady import odd_frame
from tetherwatch.exposure.stops import Setting
from tetherwatch.session.records import FrameRecord, SessionView
from tetherwatch.watch.records import Capture, Health, Metered, Problem, WatchEvent

KEPT_FRAMES = 200
"""Frames a screen may look back on; work per frame does not grow with the session."""

KEPT_PROBLEMS = 50

LOOK_BACK = 24
"""Frames before a new one that its call may be judged by."""

SessionEvent = FrameRecord | Problem | Health


class Session:
    """One shoot in one folder under one plan. Not thread-safe: one thread takes events and reads views."""

    def __init__(self, folder: Path, plan: Plan) -> None:
        self._folder = folder
        self._base = plan
        self._overrides: dict[Setting, float | None] = {}
        self._plan = plan
        self._frames: list[FrameRecord] = []
        self._problems: deque[Problem] = deque(maxlen=KEPT_PROBLEMS)
        self._health: Health | None = None
        self._frame_count = 0
        self._problem_count = 0

    @property
    def plan(self) -> Plan:
        """The plan in force: the chosen one with this session's locks."""
        return self._plan

    @property
    def problem_count(self) -> int:
        """Problems since the start."""
        return self._problem_count

    @property
    def frame_count(self) -> int:
        """Frames since the start."""
        return self._frame_count

    def take(self, event: WatchEvent) -> SessionEvent:
        """Record one event of the watch and return what a screen or stream should show of it."""
        if isinstance(event, Metered):
            return self._take_metered(event)
        if isinstance(event, Problem):
            self._problems.append(event)
            self._problem_count += 1
        else:
            self._health = event
        return event

    def view(self) -> SessionView:
        """Everything a screen may draw, now."""
        return SessionView(
            folder=self._folder,
            plan=self._plan,
            frames=tuple(self._frames),
            problems=tuple(self._problems),
            health=self._health,
            frame_count=self._frame_count,
            problem_count=self._problem_count,
        )

    def use_plan(self, plan: Plan) -> None:
        """Change the plan. This session's locks are dropped; the newest frame is called again at once."""
        self._base = plan
        self._overrides.clear()
        self._apply()

    def toggle_lock(self, setting: Setting) -> None:
        """Lock a free setting where it stands, free a locked one; the second time, return to the plan's own range."""
        if setting in self._overrides:
            del self._overrides[setting]
        elif self._base.allowed(setting).locked:
            self._overrides[setting] = None
        else:
            self._overrides[setting] = self._value_now(setting)
        self._apply()

    def _value_now(self, setting: Setting) -> float:
        last = self._frames[-1].metadata.settings.get(setting) if self._frames else None
        return self._base.allowed(setting).start if last is None else last

    def _apply(self) -> None:
        self._plan = self._base
        for setting, value in self._overrides.items():
            self._plan = unlocked(self._plan, setting) if value is None else locked_at(self._plan, setting, value)
        if self._frames:
            self._frames[-1] = self._called_again(self._frames[-1])

    def _called_again(self, record: FrameRecord) -> FrameRecord:
        offset = record.reading.level_stops - self._plan.aim.from_grey_stops
        record = replace(record, reading=replace(record.reading, offset_stops=offset))
        return replace(record, call=self._call(record, len(self._frames) - 1))

    def _take_metered(self, event: Metered) -> FrameRecord:
        place = self._place_of(event) if event.replaces else None
        if place is not None:
            record = self._record(event, self._frames[place].number, place)
            self._frames[place] = record
            return record
        self._frame_count += 1
        place = self._place_for(event)
        record = self._record(event, self._frame_count, place)
        self._frames.insert(place, record)
        del self._frames[:-KEPT_FRAMES]
        return record

    def _place_of(self, event: Metered) -> int | None:
        """Index of the frame that this event is a better reading of."""
        paths = {event.capture.path, event.capture.pair}
        places = range(len(self._frames) - 1, -1, -1)
        return next((place for place in places if self._frames[place].capture.path in paths), None)

    def _place_for(self, event: Metered) -> int:
        """Index at which a new frame belongs: one of the backlog is read after newer ones, yet stays behind them."""
        place = len(self._frames)
        while place and _arrival(self._frames[place - 1].capture) > _arrival(event.capture):
            place -= 1
        return place

    def _record(self, event: Metered, number: int, place: int) -> FrameRecord:
        return FrameRecord(
            number=number,
            capture=event.capture,
            metadata=event.metadata,
            reading=event.reading,
            thumbnail=event.thumbnail,
            call=self._call(event, place),
            notes=event.notes,
        )

    def _call(self, frame: Metered | FrameRecord, place: int) -> Call:
        before = self._frames[max(0, place - LOOK_BACK) : place]
        *history, shot = _shots([*before, frame])
        odd = odd_frame(self._plan, history, shot, before[-1].call if before else None)
        return odd or make_call(self._plan, frame.metadata.settings, frame.reading)


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


def _arrival(capture: Capture) -> tuple[float, int]:
    return capture.arrived_at, capture.mtime_ns
