"""Which setup each of the last frames belongs to: the cheapest way to tell their story.

A story costs what its frames cost under the setups it puts them in, and a price for each change of setup. Both are
negative logarithms of chances, so that the cheapest story is the most likely one (a Viterbi decoding). A frame never
costs more than `STRANGE`, so that one frame out of line, or two, are cheaper than two changes of setup. After a pause a
change costs little: lights are moved in pauses.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from tetherwatch.setups.strangeness import STRANGE

Label = int
"""A known setup by its place among them, or `begun_at` a frame of the window."""

Cost = Callable[[int, int], float]
KnownCost = Callable[[int, int], "float | None"]

_NEW, _NEW_AFTER_PAUSE = 12.5, 5.0
_RETURN, _RETURN_AFTER_PAUSE = 11.0, 4.0
"""Prices of a change, in nats (tuned on simulated sessions): without a pause it takes two frames that agree."""

_TWIN = 3.0
"""Cost of a frame in a new setup that looks like a known one: where the first frames of a return were out of line, as
before the exposure is set, the later ones tell."""

_LIKE_ENOUGH = 0.3
"""Cost up to which no frame is looked for that is more like it."""

_UNTOLD = 0.1
"""What a frame costs at least that tells little, because it is odd, or too bright or dark: so a setup begins with the
first of them, rather than with the first that tells."""

FITS = 2.0
"""Cost up to which a frame may stand for its setup when later ones are compared with it: light may drift."""


def least(costs: Iterable[float]) -> float:
    """The smallest cost, or the first that is small enough: comparing pictures is most of the work."""
    smallest = STRANGE
    for cost in costs:
        smallest = min(cost, smallest)
        if smallest <= _LIKE_ENOUGH:
            break
    return smallest


def typical(costs: Iterable[float]) -> float:
    """The middle one of the first three costs: one frame may agree, or disagree, by chance. Of fewer the smallest."""
    first = sorted(islice(costs, 3))
    return 0.0 if not first else first[1] if len(first) == 3 else first[0]


@dataclass(frozen=True, slots=True)
class Assigned:
    """Where a frame belongs. `fits`: it looks like the others there, and is not only out of line."""

    label: Label
    fits: bool


@dataclass(frozen=True, slots=True)
class Place:
    """A frame of the window.

    `paused`: so much time went by since the last frame that told much that lights may have been moved. `mute`: it is
    odd, so that others are not compared with it. `clear`: others are best compared with it. `most`: what it may cost.
    """

    paused: bool
    mute: bool
    clear: bool
    most: float


def begun_at(frame: int) -> Label:
    """The label of a setup that begins with a frame of the window."""
    return -1 - frame


def decoded(
    places: Sequence[Place], known: Sequence[bool], base: Label | None, to_known: KnownCost, between: Cost
) -> list[Assigned]:
    """Where each frame belongs, oldest first.

    `known`: for each setup that there is, whether it has clear frames; `base`: that of the frame before the first, None
    if there is none. `to_known(k, t)`: cost of frame t under the known setup k, None where nothing is known of that;
    `between(i, t)`: the same under one that frame i stands for.
    """
    costs = _Costs(places, known, to_known, between)
    if places and _all_in(begun_at(0) if base is None else base, len(places), costs):
        return _assigned([begun_at(0) if base is None else base] * len(places), costs)
    best: dict[Label, tuple[float, list[Label]]] = {}
    if base is not None:
        best[base] = (0.0, [])
    for at, place in enumerate(places):
        best = _step(best, at, place, len(known), costs)
    labels = min(best.values(), key=lambda story: story[0])[1] if best else []
    return _assigned(labels, costs)


def _all_in(label: Label, count: int, costs: "_Costs") -> bool:
    """Whether all frames cost so little under one label that no change of setup can be cheaper: the usual case."""
    total = 0.0
    for at in range(count):
        total += costs.of(label, at)
        if total >= _RETURN_AFTER_PAUSE:
            return False
    return True


def _assigned(labels: Sequence[Label], costs: "_Costs") -> list[Assigned]:
    return [Assigned(label, costs.fits(label, at)) for at, label in enumerate(labels)]


def _step(
    best: dict[Label, tuple[float, list[Label]]], at: int, place: Place, known: int, costs: "_Costs"
) -> dict[Label, tuple[float, list[Label]]]:
    """The cheapest story to each label, one frame later."""
    cheapest = min(best.values(), key=lambda story: story[0], default=(0.0, []))
    new, back = (_NEW_AFTER_PAUSE, _RETURN_AFTER_PAUSE) if place.paused else (_NEW, _RETURN)
    after = {}
    for label in {*range(known), *best}:
        stories = [best[label]] if label in best else []
        if label >= 0 or label in cheapest[1]:
            stories.append((cheapest[0] + back, cheapest[1]))
        price, story = min(stories, key=lambda story: story[0])
        after[label] = (price + costs.of(label, at), [*story, label])
    begun = begun_at(at)
    after[begun] = (cheapest[0] + (new if best else 0.0), [*cheapest[1], begun])
    return after


class _Costs:
    """What each frame costs under each label. Frames that fit stand for their setup from then on."""

    def __init__(self, places: Sequence[Place], known: Sequence[bool], to_known: KnownCost, between: Cost) -> None:
        self._places = places
        self._known = known
        self._to_known = to_known
        self._between = between
        self._fitting: dict[Label, list[int]] = {}
        self._found: dict[tuple[Label, int], float] = {}

    def of(self, label: Label, at: int) -> float:
        """The cost of frame `at`; frames are asked for in their order."""
        if label == begun_at(at):
            return 0.0
        if (label, at) not in self._found:
            fitting = self._fitting.setdefault(label, self._first(label))
            cost, mute = typical(self._costs(label, at, fitting)), self._places[at].mute
            if cost <= FITS and not mute:
                fitting.append(at)
                cost += _TWIN if label < 0 and self._has_twin(at) else 0.0
            lowest = _UNTOLD if mute or not self._places[at].clear else 0.0
            self._found[label, at] = min(max(cost, lowest), self._places[at].most)
        return self._found[label, at]

    def fits(self, label: Label, at: int) -> bool:
        """Whether a frame that `of` was asked for looks like the others of its setup."""
        return at in self._fitting.get(label, self._first(label))

    def _has_twin(self, at: int) -> bool:
        """Whether a clear frame looks like those of a setup that is known."""
        known = (self._to_known(label, at) for label in range(len(self._known)))
        return self._places[at].clear and any(cost is not None and cost <= FITS for cost in known)

    def _costs(self, label: Label, at: int, fitting: Sequence[int]) -> Iterator[float]:
        """The cost under each frame that stands for the setup, the newest first: clear ones, where there are any."""
        clear = [frame for frame in fitting if self._places[frame].clear]
        is_known, is_clear = label >= 0, label >= 0 and self._known[label]
        yield from (self._between(frame, at) for frame in reversed(clear if clear or is_clear else fitting))
        known = self._to_known(label, at) if is_clear or (is_known and not clear) else None
        if known is not None:
            yield known

    def _first(self, label: Label) -> list[int]:
        """The frame that begins a setup, if others can be compared with it."""
        return [] if label >= 0 or self._places[begun_at(label)].mute else [begun_at(label)]
