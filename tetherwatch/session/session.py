"""The session: takes what the watch hands on, numbers the frames and adds what the rules say of them."""

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import takewhile
from pathlib import Path
from time import perf_counter

from tetherwatch.advise.locks import locked_at, unlocked
from tetherwatch.advise.noise import expected, expected_of_try
from tetherwatch.advise.records import Call, Finding, Plan
from tetherwatch.advise.softeyes import KIND as SOFT_EYES
from tetherwatch.advise.whatif import Tried, Try, tried
from tetherwatch.body.matching import NO_BODIES, Bodies
from tetherwatch.body.records import Body
from tetherwatch.errors import UsageError
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Reading
from tetherwatch.session.eyes import eyes_of, with_soft_eyes
from tetherwatch.session.firstlooks import FirstLooks
from tetherwatch.session.followed import Followed
from tetherwatch.session.judging import LOOK_BACK, Seen, call_of, findings_of, knowledge_of, landing_of, seen
from tetherwatch.session.lighting import Lighting
from tetherwatch.session.records import NO_PAST, Entered, FrameRecord, Landed, Past, SessionEvent, SessionView, Warned
from tetherwatch.watch.records import Capture, FirstLook, Health, Metered, Problem, WatchEvent

KEPT_FRAMES = 200
"""Frames a screen may look back on; work per frame does not grow with the session."""

KEPT_PROBLEMS = 50


class Session:
    """One shoot in one folder under one plan. Not thread-safe: one thread takes events and reads views."""

    def __init__(self, folder: Path, plan: Plan, past: Past = NO_PAST, bodies: Bodies = NO_BODIES) -> None:
        """Begin, or go on from `past`. `bodies`: the profiles that captures may be of."""
        self._folder = folder
        self._bodies = bodies
        self._base = plan
        self._overrides = dict(past.locks)
        self._plan = _with_locks(plan, self._overrides)
        self._frames = list(past.frames)
        self._problems = deque(past.problems, maxlen=KEPT_PROBLEMS)
        self._health: Health | None = None
        self._first_looks = FirstLooks()
        self._look: FrameRecord | None = None
        self._lighting = Lighting(past)
        self._in_setup = past.frames[-1].setup if past.frames else None
        self._next_name: str | None = None
        self._followed = Followed(plan, past.set_after)
        self._told = frozenset(past.frames[-1].findings) if past.frames else frozenset[Finding]()
        self._frame_count = past.frame_count
        self._problem_count = past.problem_count
        for record in past.frames:
            self._followed.note(record.number, record.landing)

    @property
    def plan(self) -> Plan:
        """The plan in force: the chosen one with this session's locks."""
        return self._plan

    @property
    def locks(self) -> Mapping[Setting, float | None]:
        """What this session locked, each at its value, and what it unlocked (None)."""
        return self._overrides

    @property
    def lighting(self) -> Lighting:
        """The setups and pins."""
        return self._lighting

    @property
    def problem_count(self) -> int:
        """Problems since the session began."""
        return self._problem_count

    @property
    def frame_count(self) -> int:
        """Frames since the session began."""
        return self._frame_count

    @property
    def set_after(self) -> int:
        """The frame after which the plan was chosen."""
        return self._followed.set_after

    def take(self, event: WatchEvent) -> tuple[SessionEvent, ...]:
        """Record one event of the watch and return what a screen or stream should show of it.

        A frame is followed by what came of a call, then by warnings that did not hold for the frame before.
        """
        if isinstance(event, Metered):
            return self._take_metered(event)
        if isinstance(event, FirstLook):
            return self._take_look(event)
        if isinstance(event, Problem):
            self._problems.append(event)
            self._problem_count += 1
            self._end_look(event.path)
        else:
            self._health = event
            if (
                self._look is not None
                and event.backlog == 0
                and (event.last_look or 0.0) > self._look.capture.arrived_at
            ):
                self._look = None  # it is no capture after all
        return (event,)

    def is_newest(self, capture: Capture) -> bool:
        """Whether a capture arrived after all frames that there are."""
        return not self._frames or _arrival(capture) >= _arrival(self._frames[-1].capture)

    def view(self) -> SessionView:
        """Everything a screen may draw, now."""
        newest = self._look or (self._frames[-1] if self._frames else None)
        return SessionView(
            folder=self._folder,
            plan=self._plan,
            frames=tuple(self._frames),
            problems=tuple(self._problems),
            health=self._health,
            frame_count=self._frame_count,
            problem_count=self._problem_count,
            power=self._followed.power,
            look=self._look,
            score=self._followed.score,
            body=self._body(newest.metadata) if newest else None,
            setups=self._lighting.setups,
            pins=dict(self._lighting.pins),
        )

    def tried(self, tries: Sequence[Try]) -> Tried | None:
        """What the newest frame would read after these moves; None before the first frame. Raises UsageError."""
        if not self._frames:
            return None
        newest = self._frames[-1]
        frame = self._seen(newest, len(self._frames) - 1)
        plan = self._lighting.plan_for(self._plan, newest.setup, newest.reading)
        outcome = tried(plan, frame.shot, tries, knowledge_of(frame, self._followed.power))
        return expected_of_try(outcome, self._body(frame.shot.metadata))

    def use_plan(self, plan: Plan) -> None:
        """Change the plan. This session's locks are dropped; the newest frame is called again at once."""
        self._base = plan
        self._overrides.clear()
        self._followed.use_plan(plan, self._frame_count)
        self._apply()

    def use_ceiling(self, plan: Plan) -> None:
        """Take another ceiling into the same plan, for frames that come: locks and what is followed stay."""
        self._base = plan
        self._plan = _with_locks(plan, self._overrides)

    def toggle_lock(self, setting: Setting) -> None:
        """Lock a free setting where it stands, free a locked one; the second time, return to the plan's own range."""
        if setting in self._overrides:
            del self._overrides[setting]
        elif self._base.allowed(setting).locked:
            self._overrides[setting] = None
        else:
            self._overrides[setting] = self._value_now(setting)
        self._apply()

    def place_area(self, from_grey_stops: float) -> None:
        """Say where the metered area should sit, against mid-grey, until another plan is chosen."""
        self._base = replace(self._base, aim=replace(self._base.aim, from_grey_stops=from_grey_stops))
        self._apply()

    def toggle_pin(self, number: int | None = None) -> bool:
        """Pin a frame in its setup, the newest unless one is named, or take the pin from it; True if it is pinned now.

        Raises UsageError where there is no such frame.
        """
        named = [record for record in self._frames if record.number == number]
        pinned = self._lighting.toggle_pin(named[0] if named else self._newest())
        self._apply()
        return pinned

    def rename_setup(self, number: int, name: str) -> None:
        """Name a setup; an empty name takes it away."""
        self._lighting.rename(number, name)

    def name_next_setup(self, name: str) -> None:
        """Name the setup of the next frame; where that has another name already, the frame begins a new one.

        A setup that has this name already is left to be recognised.
        """
        self._next_name = name.strip() or None

    def _name_setup(self) -> None:
        """Do what `name_next_setup` asked for, once there is a frame."""
        name, self._next_name = self._next_name, None
        if name is None or name in (setup.name for setup in self._lighting.setups):
            return
        setup = self._lighting.current
        if setup is not None and setup.name is not None and setup.frame_count > 1:
            self._lighting.rename(self.split_setup(), name)
        elif setup is not None:
            self.rename_setup(setup.number, name)

    def merge_setup(self, number: int) -> int:
        """Make one setup of this one and the one before it; returns that. Raises UsageError if there is none."""
        into = self._lighting.merge(number, self._plan)
        self._frames = [replace(each, setup=into) if each.setup == number else each for each in self._frames]
        self._apply()
        return into

    def split_setup(self) -> int:
        """Begin a new setup with the newest frame; returns it. Raises UsageError if that begins its setup already."""
        newest = self._newest()
        number = self._lighting.split(self._frames, self._plan)
        self._frames[-1] = replace(newest, setup=number)
        self._apply()
        return number

    def _newest(self) -> FrameRecord:
        if not self._frames:
            raise UsageError("there is no frame yet", "take one first")
        return self._frames[-1]

    def _value_now(self, setting: Setting) -> float:
        last = self._frames[-1].metadata.settings.get(setting) if self._frames else None
        return self._base.allowed(setting).start if last is None else last

    def _apply(self) -> None:
        self._plan = _with_locks(self._base, self._overrides)
        if self._frames:
            self._frames[-1] = self._called_again(self._frames[-1])

    def _called_again(self, record: FrameRecord) -> FrameRecord:
        place = len(self._frames) - 1
        plan = self._lighting.plan_for(self._plan, record.setup, record.reading)
        record = replace(record, reading=_aimed(record.reading, plan))
        call, findings = self._judged(plan, self._seen(record, place), record.setup, place)
        match = self._lighting.match(record.setup, record.reading)
        return with_soft_eyes(self._plan, replace(record, call=call, findings=findings, match=match))

    def _take_look(self, event: FirstLook) -> tuple[SessionEvent, ...]:
        reading = self._first_looks.corrected(event)
        looked = Metered(event.capture, event.metadata, reading, event.thumbnail)
        setup = self._frames[-1].setup if self._frames else None
        plan = self._lighting.plan_for(self._plan, setup, reading)
        looked = replace(looked, reading=_aimed(reading, plan))
        call, _ = self._judged(plan, self._seen(looked, len(self._frames)), None, len(self._frames))
        self._look = FrameRecord(
            number=self._frame_count + 1,
            capture=event.capture,
            metadata=event.metadata,
            reading=looked.reading,
            thumbnail=event.thumbnail,
            call=call,
            firm=reading.uncertainty_stops <= self._plan.aim.tolerance_stops,
        )
        return (self._look,)

    def _end_look(self, *paths: Path | None) -> None:
        if self._look is not None and self._look.capture.path in paths:
            self._look = None

    def _take_metered(self, event: Metered) -> tuple[SessionEvent, ...]:
        self._first_looks.learn(event)
        self._end_look(event.capture.path, event.capture.pair)
        place = self._place_of(event) if event.replaces else None
        if place is not None:
            record = self._record(event, self._frames[place].number, place)
            self._frames[place] = record
        else:
            self._frame_count += 1
            place = self._place_for(event)
            record = self._record(event, self._frame_count, place)
            self._frames.insert(place, record)
        is_newest = place == len(self._frames) - 1
        self._assign_setups()
        if is_newest and self._next_name is not None:
            self._name_setup()
        del self._frames[:-KEPT_FRAMES]
        return (record, *_landed(record), *self._entered(), *(self._warned(record) if is_newest else ()))

    def _assign_setups(self) -> None:
        """Give the last frames the setups that the newest one shows them to be in."""
        labels = self._lighting.labels
        for place in range(max(0, len(self._frames) - LOOK_BACK), len(self._frames)):
            record = self._frames[place]
            setup = labels.get(record.number, record.setup)
            if setup != record.setup:
                self._frames[place] = replace(record, setup=setup)

    def _entered(self) -> tuple[Entered, ...]:
        """That the newest frame is in another setup than the frames before."""
        setup, before = self._lighting.current, self._in_setup
        if setup is None or setup.number == before:
            return ()
        self._in_setup = setup.number
        if before is None:
            return ()
        stretch = takewhile(lambda record: record.setup == setup.number, reversed(self._frames))
        returned = setup.frame_count > sum(1 for _ in stretch)
        return (Entered(self._frames[-1].capture.path, setup, returned),)

    def _warned(self, record: FrameRecord) -> list[Warned]:
        """Warnings that did not hold for the frame before; what is told of older frames would come too late.

        Soft eyes are told of every frame that has them: each is lost by itself.
        """
        before, self._told = self._told, frozenset(record.findings)
        news = (finding for finding in record.findings if finding not in before or finding.kind == SOFT_EYES)
        return [Warned(record.capture.path, finding) for finding in news]

    def _place_of(self, event: Metered) -> int | None:
        """Index of the frame that this event is a better reading of: that of its content, whose name may have changed,
        or else that of its name, which another content may have had before."""
        paths, mark = {event.capture.path, event.capture.pair}, event.capture.fingerprint
        kept = [(place, self._frames[place].capture) for place in range(len(self._frames) - 1, -1, -1)]
        named = [(place, capture) for place, capture in kept if capture.path in paths]
        same = [(place, capture) for place, capture in kept if mark is not None and capture.fingerprint == mark]
        both = [each for each in same if each in named]
        return next((place for place, _ in (*both, *same, *named)), None)

    def _place_for(self, event: Metered) -> int:
        """Index at which a new frame belongs: one of the backlog is read after newer ones, yet stays behind them."""
        place = len(self._frames)
        while place and _arrival(self._frames[place - 1].capture) > _arrival(event.capture):
            place -= 1
        return place

    def _seen(self, frame: Metered | FrameRecord, place: int) -> Seen:
        return seen(self._plan, self._frames[max(0, place - LOOK_BACK) : place], frame)

    def _record(self, event: Metered, number: int, place: int) -> FrameRecord:
        began = perf_counter()
        frame, behind = self._seen(event, place), sum(each.number != number for each in self._frames[place:])
        setup = self._lighting.take(self._plan, number, event, frame, behind)
        plan = self._lighting.plan_for(self._plan, setup, event.reading)
        if plan is not self._plan:
            event = replace(event, reading=_aimed(event.reading, plan))
            frame = self._seen(event, place)
        landing = landing_of(plan, frame)
        self._followed.note(number, landing)
        call, findings = self._judged(plan, frame, setup, place)
        record = FrameRecord(
            number=number,
            capture=event.capture,
            metadata=event.metadata,
            reading=event.reading,
            thumbnail=event.thumbnail,
            call=call,
            notes=event.notes,
            findings=findings,
            landing=landing,
            eye_detail=event.eyes,
            eyes=eyes_of(self._frames[:place], event, setup),
            setup=setup,
            match=self._lighting.match(setup, event.reading),
            stages=replace(event.stages, advise_s=perf_counter() - began),
        )
        return with_soft_eyes(self._plan, record)

    def _judged(self, plan: Plan, frame: Seen, setup: int | None, place: int) -> tuple[Call, tuple[Finding, ...]]:
        """The call under a plan for a frame of a setup, and what is to be told beside it."""
        knowledge = knowledge_of(frame, self._followed.power)
        findings = findings_of(plan, frame, knowledge, self._followed.score)
        before = self._frames[max(0, place - LOOK_BACK) : place]
        call, back = self._lighting.way_back(plan, frame, setup, call_of(plan, frame, knowledge), knowledge, before)
        return expected(call, frame.shot.metadata.settings, self._body(frame.shot.metadata)), (*findings, *back)

    def _body(self, metadata: Metadata) -> Body | None:
        return self._bodies.of(metadata.camera, metadata.serial).body


def _aimed(reading: Reading, plan: Plan) -> Reading:
    """A reading with its offset from the aim of this plan."""
    return replace(reading, offset_stops=reading.level_stops - plan.aim.from_grey_stops)


def _landed(record: FrameRecord) -> tuple[Landed, ...]:
    return () if record.landing is None else (Landed(record.capture.path, record.landing),)


def _with_locks(plan: Plan, locks: Mapping[Setting, float | None]) -> Plan:
    for setting, value in locks.items():
        plan = unlocked(plan, setting) if value is None else locked_at(plan, setting, value)
    return plan


def _arrival(capture: Capture) -> tuple[int, float, int]:
    """Order of arrival, whatever the clocks said."""
    return capture.sequence, capture.arrived_at, capture.mtime_ns
