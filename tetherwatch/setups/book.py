"""The book of a session's setups: frames go in one by one, and the last few are assigned anew with each.

Work per frame is bounded: only the last frames may still change their setup, and only a few samples of each setup are
kept. What the user corrects is never changed again.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from tetherwatch.advise.likeness import PAUSE_S, paused
from tetherwatch.advise.records import Plan
from tetherwatch.setups.drift import drift_of
from tetherwatch.setups.growth import (
    CLEAR_PART,
    LEAST_PART,
    Entry,
    begun,
    clear_samples,
    joined,
    pending_after,
    sample_of,
    united,
)
from tetherwatch.setups.kinship import seen_part
from tetherwatch.setups.records import Judged, Setup, SetupState
from tetherwatch.setups.strangeness import STRANGE, strangeness
from tetherwatch.setups.stretches import Label, Place, decoded, least

WINDOW = 8
"""Frames that may still change their setup."""

KNOWN = 24
"""Setups that a frame may return to, the latest ones."""

ODD = STRANGE / 2
"""What a frame may cost that is odd, or too bright or dark to tell much: it takes more of them to make a setup."""

_SURE_FRAMES = 3
"""Frames, odd ones not counted, from which a new setup is no longer provisional."""


class Book:
    """Which setup each frame of a session belongs to. Not thread-safe."""

    def __init__(self, setups: Sequence[Setup] = (), last: int | None = None) -> None:
        """Begin, or go on with setups that are known; `last` is that of the last frame."""
        self._settled = {setup.number: setup for setup in setups}
        self._base = last
        self._before: Judged | None = None
        self._window: list[Entry] = []
        self._labels: dict[int, int] = {}
        self._grown = dict(self._settled)
        self._costs: dict[tuple[int, int, int], float] = {}
        self._pending = 0.0

    @property
    def setups(self) -> tuple[Setup, ...]:
        """All setups in their order, the newest frames included."""
        return tuple(self._grown[number] for number in sorted(self._grown))

    @property
    def current(self) -> int | None:
        """The setup of the newest frame; None before the first."""
        return self._labels.get(self._window[-1].frame.number, self._base) if self._window else self._base

    @property
    def labels(self) -> Mapping[int, int]:
        """The setups of the frames that may still change theirs, by the frame's number."""
        return self._labels

    def take(self, frame: Judged, plan: Plan, behind: int = 0) -> int:
        """Put a frame in its place, `behind` frames before the newest, and return its setup.

        A frame that is there already is replaced. One that comes too late to change anything is given the setup of the
        oldest frame that it may have followed.
        """
        place = next((place for place, entry in enumerate(self._window) if entry.frame.number == frame.number), None)
        entry = Entry(frame, sample_of(frame))
        if place is not None:
            self._window[place] = entry
        elif behind > len(self._window) and self._base is not None:
            return self._base
        else:
            self._window.insert(max(len(self._window) - behind, 0), entry)
        self._forget(frame.number)
        self._assign(plan)
        if len(self._window) > WINDOW:
            self._settle(1, plan)
        self._grow(plan)
        return self._labels.get(frame.number, self._base or 1)

    def rename(self, number: int, name: str | None) -> None:
        """Give a setup a name, or take it away."""
        for setups in (self._settled, self._grown):
            if number in setups:
                setups[number] = replace(setups[number], name=name)

    def merge(self, number: int, into: int, plan: Plan) -> None:
        """Make one setup of two; the frames so far are never assigned anew."""
        self._settle(len(self._window), plan)
        one, other = self._settled.pop(number), self._settled[into]
        self._settled[into] = united(other, one)
        self._base = into if self._base == number else self._base
        self._grow(plan)

    def split(self, before: Sequence[Judged], after: Sequence[Judged], plan: Plan) -> int:
        """Begin a new setup, whose number is returned, with the frames `after`; `before` are those left in theirs."""
        self._settle(len(self._window), plan)
        assert self._base is not None
        old, number = self._settled[self._base], self._next_number()
        left = old if not before else _made(begun(old.number, before[0], old.name), before, plan)
        count = old.frame_count - len(after)
        self._settled[old.number] = replace(left, first_frame=old.first_frame, frame_count=count)
        self._settled[number] = _made(begun(number, after[0]), after, plan)
        self._base, self._before = number, after[-1]
        self._grow(plan)
        return number

    def _next_number(self) -> int:
        return max(self._settled, default=0) + 1

    def _assign(self, plan: Plan) -> None:
        """Assign every frame of the window."""
        frames = [entry.frame for entry in self._window]
        known = [*sorted(self._settled)[-KNOWN:]]
        if self._base is not None and self._base not in known:
            known.append(self._base)
        places = [*self._places()]
        base = None if self._base is None else known.index(self._base)
        assigned = decoded(
            places,
            [bool(clear_samples(self._settled[number])) for number in known],
            base,
            lambda setup, at: self._cost_in(known[setup], at, plan),
            lambda one, other: self._cost_between(one, other, plan),
        )
        numbers = self._numbered([each.label for each in assigned], known)
        self._labels = dict(zip((frame.number for frame in frames), numbers, strict=True))
        self._window = [replace(entry, fits=each.fits) for entry, each in zip(self._window, assigned, strict=True)]

    def _places(self) -> Iterator[Place]:
        """The frames of the window as they are told from one another."""
        paused, before, unsure = False, self._before, False
        for entry in self._window:
            paused = _paused(before, entry.frame) or (paused and unsure)
            odd, part = entry.frame.odd, seen_part(entry.sample)
            unsure, before = odd or part < LEAST_PART, entry.frame
            yield Place(paused, odd, part >= CLEAR_PART, ODD if unsure else STRANGE)

    def _numbered(self, labels: Sequence[Label], known: Sequence[int]) -> list[int]:
        new: dict[Label, int] = {}
        for label in labels:
            if label < 0:
                new.setdefault(label, self._next_number() + len(new))
        return [new[label] if label < 0 else known[label] for label in labels]

    def _cost_in(self, number: int, at: int, plan: Plan) -> float | None:
        """What a frame costs under a setup that is settled; None where that has no frame to compare it with."""
        setup, entry = self._settled[number], self._window[at]
        if not setup.samples:
            return None
        key = (setup.frame_count, -number, entry.frame.number)
        if key not in self._costs:
            asked = max(self._asked(0, at), self._pending, key=abs) if number == self._base else 0.0
            samples = reversed(clear_samples(setup) or setup.samples)
            self._costs[key] = least(strangeness(plan.light, sample, entry.sample, asked) for sample in samples)
        return self._costs[key]

    def _cost_between(self, one: int, other: int, plan: Plan) -> float:
        """What a frame costs under the setup that another one stands for."""
        first, second = self._window[one], self._window[other]
        key = (0, first.frame.number, second.frame.number)
        if key not in self._costs:
            asked = self._asked(one + 1, other)
            self._costs[key] = strangeness(plan.light, first.sample, second.sample, asked)
        return self._costs[key]

    def _forget(self, changed: int) -> None:
        """Keep the costs of frames that are still to be assigned, but those of one that changed."""
        here = {entry.frame.number for entry in self._window} - {changed}
        self._costs = {
            key: cost for key, cost in self._costs.items() if key[2] in here and (key[1] < 0 or key[1] in here)
        }

    def _asked(self, first: int, last: int) -> float:
        """The most light that calls asked for between two frames: an unheeded call is only repeated."""
        return max((entry.frame.asked_stops for entry in self._window[first : last + 1]), key=abs, default=0.0)

    def _settle(self, count: int, plan: Plan) -> None:
        """Take the oldest frames out of the window; their setup is final."""
        for entry in self._window[:count]:
            number = self._labels.pop(entry.frame.number)
            setup = self._settled.get(number) or self._begun(number, entry.frame)
            self._settled[number] = joined(setup, entry, self._pending, plan)
            self._pending = pending_after(entry, self._pending)
            self._base, self._before = number, entry.frame
        del self._window[:count]

    def _grow(self, plan: Plan) -> None:
        """The setups with the frames of the window, each in its state."""
        before, grown, pending = self._grown, dict(self._settled), self._pending
        drifts = {number: setup.drift for number, setup in before.items()}
        newest: dict[int, Judged] = {}
        for entry in self._window:
            number = self._labels[entry.frame.number]
            grown[number] = joined(grown.get(number) or self._begun(number, entry.frame), entry, pending, plan)
            pending = pending_after(entry, pending)
            if entry.fits:
                newest[number] = entry.frame
        for number, frame in newest.items():
            offset = frame.shot.reading.offset_stops
            drifts[number] = drift_of(grown[number].points, offset, plan.aim.tolerance_stops)
        self._grown = {
            number: replace(setup, state=self._state(setup), drift=drifts.get(number))
            for number, setup in grown.items()
        }

    def _begun(self, number: int, frame: Judged) -> Setup:
        """A setup that begins with a frame, with the name that it was given meanwhile."""
        known = self._grown.get(number)
        return begun(number, frame, None if known is None else known.name)

    def _state(self, setup: Setup) -> SetupState:
        if setup.number != self.current:
            return "earlier"
        sound = setup.frame_count - sum(
            entry.frame.odd for entry in self._window if self._labels[entry.frame.number] == setup.number
        )
        return "provisional" if setup.number not in self._settled and sound < _SURE_FRAMES else "current"


def _made(setup: Setup, frames: Sequence[Judged], plan: Plan) -> Setup:
    """A setup of these frames."""
    for frame in frames:
        sample = sample_of(frame)
        setup = joined(setup, Entry(frame, sample, not frame.odd), 0.0, plan)
    return setup


def _paused(before: Judged | None, frame: Judged) -> bool:
    """Whether lights may have been moved between two frames; of two cameras only our own clock tells."""
    if before is None:
        return True
    if before.shot.metadata.serial == frame.shot.metadata.serial:
        return paused(before.shot, frame.shot)
    return frame.arrived_at - before.arrived_at > PAUSE_S
