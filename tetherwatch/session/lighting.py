"""The setups and pins of a session, as its frames come in and the user corrects them."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from tetherwatch.advise.landing import odd
from tetherwatch.advise.records import Call, Finding, Knowledge, Plan
from tetherwatch.errors import UsageError
from tetherwatch.exposure.stops import Setting
from tetherwatch.meter.records import Reading
from tetherwatch.session.cards import Cards
from tetherwatch.session.judging import Seen, shot_of
from tetherwatch.session.records import FrameRecord, Past
from tetherwatch.setups.pins import aimed, match, pin_of
from tetherwatch.setups.placing import placed
from tetherwatch.setups.records import Judged, Match, Pin, Setup
from tetherwatch.setups.returning import OFFERED_FRAMES, return_call, return_finding
from tetherwatch.watch.records import Metered

if TYPE_CHECKING:
    from tetherwatch.setups.book import Book

MOVES = ("brighter", "darker", "blocked")
"""Calls whose place the way back to a setup's settings may take."""


class Lighting:
    """Which setup each frame is in, and what it is to match there."""

    def __init__(self, past: Past) -> None:
        """Begin, or go on from `past`."""
        self._past = past
        self._begun: Book | None = None
        self._pins = dict(past.pins)
        self._cards = Cards(past.placements)

    @property
    def _book(self) -> "Book":
        """Made for the first frame: no picture before it has to wait for numpy, which it needs."""
        if self._begun is None:
            from tetherwatch.setups.book import Book

            self._begun = Book(self._past.setups, self._past.frames[-1].setup if self._past.frames else None)
        return self._begun

    @property
    def setups(self) -> tuple[Setup, ...]:
        """All setups in their order."""
        return self._past.setups if self._begun is None else self._begun.setups

    @property
    def pins(self) -> Mapping[int, Pin]:
        """The pinned frame of each setup that has one."""
        return self._pins

    @property
    def cards(self) -> Cards:
        """The grey cards, and where they place faces."""
        return self._cards

    @property
    def labels(self) -> Mapping[int, int]:
        """The setups of the last frames, by number, which a later frame may correct."""
        return {} if self._begun is None else self._begun.labels

    @property
    def current(self) -> Setup | None:
        """The setup of the newest frame; None before the first."""
        return self.setup(self._book.current)

    def setup(self, number: int | None) -> Setup | None:
        """A setup by its number."""
        return next((setup for setup in self.setups if setup.number == number), None)

    def take(self, plan: Plan, number: int, frame: Metered | FrameRecord, seen: Seen, behind: int) -> int:
        """Put a frame in its place, `behind` frames before the newest; returns its setup."""
        level, aim = frame.reading.level_stops, self.plan_for(plan, self._book.current, frame.reading).aim
        judged = Judged(
            number=number,
            shot=seen.shot,
            thumbnail=frame.thumbnail,
            arrived_at=frame.capture.arrived_at,
            odd=seen.odd is not None,
            right=abs(level - aim.from_grey_stops) <= aim.tolerance_stops,
            asked_stops=_asked(seen),
        )
        setup = self._book.take(judged, plan, behind)
        known = {each.number for each in self.setups}
        self._pins = {number: pin for number, pin in self._pins.items() if number in known}
        self._cards.correct(self.labels)
        self._cards.read_again(setup, number, frame)
        if not behind:
            self._cards.take(plan, setup, number, frame)
        return setup

    def plan_for(self, plan: Plan, setup: int | None, reading: Reading) -> Plan:
        """The plan with the setup's pinned level as its aim, or else with the place of the face by its card."""
        if setup is None:
            return plan
        return aimed(placed(plan, self._cards.of(setup), reading), self._pins.get(setup), reading)

    def match(self, setup: int | None, reading: Reading) -> Match | None:
        """How a frame compares with the one pinned in its setup."""
        pin = None if setup is None else self._pins.get(setup)
        return None if pin is None else match(pin, reading)

    def way_back(
        self,
        plan: Plan,
        frame: Seen,
        number: int | None,
        call: Call,
        knowledge: Knowledge,
        before: Sequence[FrameRecord],
    ) -> tuple[Call, tuple[Finding, ...]]:
        """The call, or the way back to a setup's last good settings in its place; and what differs from these."""
        setup = self.setup(number)
        if setup is None or frame.odd is not None or not _just_returned(setup, before):
            return call, ()
        settings, reading = frame.shot.metadata.settings, frame.shot.reading
        if call.kind in MOVES:
            call = return_call(plan, settings, reading, setup, knowledge) or call
        finding = return_finding(plan, settings, setup, call)
        return call, () if finding is None else (finding,)

    def toggle_pin(self, record: FrameRecord) -> bool:
        """Pin a frame in its setup, or take the pin from it; True if it is pinned now."""
        assert record.setup is not None
        pinned = self._pins.get(record.setup)
        if pinned is not None and pinned.frame == record.number:
            del self._pins[record.setup]
            return False
        self._pins[record.setup] = pin_of(record.setup, record.number, record.reading, record.metadata.settings)
        return True

    def rename(self, number: int, name: str) -> None:
        """Name a setup; an empty name takes it away."""
        self._book.rename(number, name.strip() or None)

    def merge(self, number: int, plan: Plan) -> int:
        """Make one setup of `number` and the one before it; returns that. Raises UsageError if there is none before."""
        others = [setup for setup in self.setups if setup.number < number]
        if not others:
            raise UsageError("there is no earlier setup to merge it into", "choose a later one")
        into = others[-1].number
        self._book.merge(number, into, plan)
        pin = self._pins.pop(number, None)
        if pin is not None:
            self._pins.setdefault(into, pin)
        self._cards.merge(number, into)
        return into

    def split(self, frames: Sequence[FrameRecord], plan: Plan) -> int:
        """Begin a new setup with the newest frame; returns it. Raises UsageError if that is the first of its setup."""
        newest = frames[-1]
        before = [record for record in frames[:-1] if record.setup == newest.setup]
        if not before:
            raise UsageError("this frame begins its setup already", "shoot the next one")
        return self._book.split([*map(_judged, before)], [_judged(newest)], plan)


def _asked(seen: Seen) -> float:
    """Light that the last call asked for; what a camera setting left to do is for later."""
    call = None if seen.asking is None else seen.asking[0]
    if call is None or call.setting not in (None, Setting.LIGHT):
        return 0.0
    return call.move_stops + call.left_stops


def _judged(record: FrameRecord) -> Judged:
    """A frame of the past, as setups are made of it."""
    return Judged(
        number=record.number,
        shot=shot_of(record),
        thumbnail=record.thumbnail,
        arrived_at=record.capture.arrived_at,
        odd=odd(record.call),
        right=record.call.kind == "hold",
    )


def _just_returned(setup: Setup, before: Sequence[FrameRecord]) -> bool:
    """Whether a frame that follows these is one of the first of a return to a setup."""
    for here, record in enumerate(reversed(before)):
        if record.setup != setup.number:
            return here < OFFERED_FRAMES and setup.frame_count > here + 1
    return False
