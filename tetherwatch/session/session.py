"""The session: takes what the watch hands on, numbers the frames and adds what the rules say of them."""

from collections import deque
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from time import perf_counter

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
from tetherwatch.session.inforce import InForce, Locks
from tetherwatch.session.judging import Seen, call_of, findings_of, knowledge_of, landing_of, seen
from tetherwatch.session.lighting import Lighting
from tetherwatch.session.records import NO_PAST, Entered, FrameRecord, Landed, Past, SessionEvent, SessionView, Warned
from tetherwatch.session.roll import Roll
from tetherwatch.setups.records import Placement
from tetherwatch.watch.records import Capture, FirstLook, Health, Metered, Problem, WatchEvent

KEPT_PROBLEMS = 50


class Session:
    """One shoot in one folder under one plan. Not thread-safe: one thread takes events and reads views."""

    def __init__(self, folder: Path, plan: Plan, past: Past = NO_PAST, bodies: Bodies = NO_BODIES) -> None:
        """Begin, or go on from `past`. `bodies`: the profiles that captures may be of."""
        self._folder = folder
        self._bodies = bodies
        self._in_force = InForce(plan, past.locks)
        self._roll = Roll(past.frames)
        self._problems = deque(past.problems, maxlen=KEPT_PROBLEMS)
        self._health: Health | None = None
        self._first_looks = FirstLooks()
        self._look: FrameRecord | None = None
        self._lighting = Lighting(past)
        self._in_setup = past.frames[-1].setup if past.frames else None
        self._next_name: str | None = None
        self._followed = _followed(plan, past.set_after, past.frames)
        self._told = frozenset(past.frames[-1].findings) if past.frames else frozenset[Finding]()
        self._frame_count = past.frame_count
        self._problem_count = past.problem_count

    @property
    def plan(self) -> Plan:
        """The plan in force: the chosen one with this session's locks."""
        return self._in_force.plan

    @property
    def locks(self) -> Locks:
        """What this session locked, each at its value, and what it unlocked (None)."""
        return self._in_force.locks

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

    def look_back(self, earlier: Sequence[FrameRecord]) -> None:
        """Have these frames before all others, oldest first. To be called before an event is taken."""
        self._roll.put_before(earlier)
        self._followed = _followed(self.plan, self.set_after, self._roll.frames)

    def is_newest(self, capture: Capture) -> bool:
        """Whether a capture arrived after all frames that there are."""
        return self._roll.is_newest(capture)

    def view(self) -> SessionView:
        """Everything a screen may draw, now."""
        newest = self._look or self._roll.newest
        return SessionView(
            folder=self._folder,
            plan=self.plan,
            frames=self._roll.frames,
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
            placements=self._lighting.cards.placements,
        )

    def tried(self, tries: Sequence[Try]) -> Tried | None:
        """What the newest frame would read after these moves; None before the first frame. Raises UsageError."""
        newest = self._roll.newest
        if newest is None:
            return None
        frame = self._seen(newest, len(self._roll) - 1)
        plan = self._lighting.plan_for(self.plan, newest.setup, newest.reading)
        outcome = tried(plan, frame.shot, tries, knowledge_of(frame, self._followed.power))
        return expected_of_try(outcome, self._body(frame.shot.metadata))

    def use_plan(self, plan: Plan) -> None:
        """Change the plan. This session's locks are dropped; the newest frame is called again at once."""
        self._in_force.choose(plan)
        self._followed.use_plan(plan, self._frame_count)
        self._apply()

    def use_ceiling(self, plan: Plan) -> None:
        """Take another ceiling into the same plan, for frames that come: locks and what is followed stay."""
        self._in_force.change(plan)

    def toggle_lock(self, setting: Setting) -> None:
        """Lock a free setting where it stands, free a locked one; the second time, return to the plan's own range."""
        newest = self._roll.newest
        self._in_force.toggle_lock(setting, None if newest is None else newest.metadata.settings.get(setting))
        self._apply()

    def toggle_card(self, number: int | None = None) -> Placement | None:
        """Let the grey card in a frame, the newest unless one is named, place faces, or no longer.

        None if it does not now. Raises UsageError where there is no such frame or no card can be measured in it.
        """
        placement = self._lighting.cards.toggle(self._roll.numbered(number) or self._newest())
        self._apply()
        return placement

    def toggle_pin(self, number: int | None = None) -> bool:
        """Pin a frame in its setup, the newest unless one is named, or take the pin from it; True if it is pinned now.

        Raises UsageError where there is no such frame.
        """
        pinned = self._lighting.toggle_pin(self._roll.numbered(number) or self._newest())
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
        into = self._lighting.merge(number, self.plan)
        self._roll.merge(number, into)
        self._apply()
        return into

    def split_setup(self) -> int:
        """Begin a new setup with the newest frame; returns it. Raises UsageError if that begins its setup already."""
        newest = self._newest()
        number = self._lighting.split(self._roll.frames, self.plan)
        self._roll.put_newest(replace(newest, setup=number))
        self._apply()
        return number

    def _newest(self) -> FrameRecord:
        if self._roll.newest is None:
            raise UsageError("there is no frame yet", "take one first")
        return self._roll.newest

    def _apply(self) -> None:
        """Call the newest frame again, under what was changed."""
        if self._roll.newest is not None:
            self._roll.put_newest(self._called_again(self._roll.newest))

    def _called_again(self, record: FrameRecord) -> FrameRecord:
        place = len(self._roll) - 1
        plan = self._lighting.plan_for(self.plan, record.setup, record.reading)
        record = replace(record, reading=_aimed(record.reading, plan))
        call, findings = self._judged(plan, self._seen(record, place), record.setup, place)
        match = self._lighting.match(record.setup, record.reading)
        findings = (*findings, *self._lighting.cards.told(record.number))
        return with_soft_eyes(self.plan, replace(record, call=call, findings=findings, match=match))

    def _take_look(self, event: FirstLook) -> tuple[SessionEvent, ...]:
        reading = self._first_looks.corrected(event)
        looked = Metered(event.capture, event.metadata, reading, event.thumbnail)
        setup = self._roll.newest.setup if self._roll.newest else None
        plan = self._lighting.plan_for(self.plan, setup, reading)
        looked = replace(looked, reading=_aimed(reading, plan))
        call, _ = self._judged(plan, self._seen(looked, len(self._roll)), None, len(self._roll))
        self._look = FrameRecord(
            number=self._frame_count + 1,
            capture=event.capture,
            metadata=event.metadata,
            reading=looked.reading,
            thumbnail=event.thumbnail,
            call=call,
            firm=reading.uncertainty_stops <= self.plan.aim.tolerance_stops,
        )
        return (self._look,)

    def _end_look(self, *paths: Path | None) -> None:
        if self._look is not None and self._look.capture.path in paths:
            self._look = None

    def _take_metered(self, event: Metered) -> tuple[SessionEvent, ...]:
        self._first_looks.learn(event)
        self._end_look(event.capture.path, event.capture.pair)
        place = self._roll.place_of(event.capture) if event.replaces else None
        if place is not None:
            record = self._record(event, self._roll.number_at(place), place)
            self._roll.put(place, record)
        else:
            self._frame_count += 1
            place = self._roll.place_for(event.capture)
            record = self._record(event, self._frame_count, place)
            self._roll.insert(place, record)
        is_newest = place == len(self._roll) - 1
        self._roll.assign(self._lighting.labels)
        if is_newest and self._next_name is not None:
            self._name_setup()
        self._roll.trim()
        return (record, *_landed(record), *self._entered(), *(self._warned(record) if is_newest else ()))

    def _entered(self) -> tuple[Entered, ...]:
        """That the newest frame is in another setup than the frames before."""
        setup, before = self._lighting.current, self._in_setup
        if setup is None or setup.number == before:
            return ()
        self._in_setup = setup.number
        if before is None:
            return ()
        returned = setup.frame_count > self._roll.stretch(setup.number)
        return (Entered(self._newest().capture.path, setup, returned),)

    def _warned(self, record: FrameRecord) -> list[Warned]:
        """Warnings that did not hold for the frame before; what is told of older frames would come too late.

        Soft eyes are told of every frame that has them: each is lost by itself.
        """
        before, self._told = self._told, frozenset(record.findings)
        news = (finding for finding in record.findings if finding not in before or finding.kind == SOFT_EYES)
        return [Warned(record.capture.path, finding) for finding in news]

    def _seen(self, frame: Metered | FrameRecord, place: int) -> Seen:
        return seen(self.plan, self._roll.before(place), frame)

    def _record(self, event: Metered, number: int, place: int) -> FrameRecord:
        began = perf_counter()
        frame, behind = self._seen(event, place), self._roll.behind(place, number)
        setup = self._lighting.take(self.plan, number, event, frame, behind)
        plan = self._lighting.plan_for(self.plan, setup, event.reading)
        if plan is not self.plan:
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
            findings=(*findings, *self._lighting.cards.told(number)),
            landing=landing,
            eye_detail=event.eyes,
            eyes=eyes_of(self._roll.all_before(place), event, setup),
            setup=setup,
            match=self._lighting.match(setup, event.reading),
            stages=replace(event.stages, advise_s=perf_counter() - began),
        )
        return with_soft_eyes(self.plan, record)

    def _judged(self, plan: Plan, frame: Seen, setup: int | None, place: int) -> tuple[Call, tuple[Finding, ...]]:
        """The call under a plan for a frame of a setup, and what is to be told beside it."""
        knowledge = knowledge_of(frame, self._followed.power)
        findings = findings_of(plan, frame, knowledge, self._followed.score)
        asked, before = call_of(plan, frame, knowledge), self._roll.before(place)
        call, back = self._lighting.way_back(plan, frame, setup, asked, knowledge, before)
        return expected(call, frame.shot.metadata.settings, self._body(frame.shot.metadata)), (*findings, *back)

    def _body(self, metadata: Metadata) -> Body | None:
        return self._bodies.of(metadata.camera, metadata.serial).body


def _followed(plan: Plan, set_after: int, frames: Sequence[FrameRecord]) -> Followed:
    """What came of the calls that these frames follow."""
    followed = Followed(plan, set_after)
    for record in frames:
        followed.note(record.number, record.landing)
    return followed


def _aimed(reading: Reading, plan: Plan) -> Reading:
    """A reading with its offset from the aim of this plan."""
    return replace(reading, offset_stops=reading.level_stops - plan.aim.from_grey_stops)


def _landed(record: FrameRecord) -> tuple[Landed, ...]:
    return () if record.landing is None else (Landed(record.capture.path, record.landing),)
