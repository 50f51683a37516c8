"""Every call is checked: what it promised against the frame that followed it, and the score of the last ones."""

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from tetherwatch.advise.levers import EPSILON
from tetherwatch.advise.likeness import moves
from tetherwatch.advise.records import Call, Finding, Plan, Shot
from tetherwatch.advise.words import name
from tetherwatch.exposure.dial import parse_value, snap
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting, brightness
from tetherwatch.frame.records import Metadata

SCORED_LANDINGS = 50
"""Landings a score looks back on."""

DELIVERED_LEAST = 0.7
"""Part of its promise below which a move fell short: far outside what light and reading repeat to."""

FELL_SHORT_TIMES = 3
"""Moves of a lever that must fall short one after the other before it is named."""

LIGHT_CAME = 0.5
"""Part of an asked move of light that must have come before it counts as made: light has no dial to read."""

_SAME_VALUE_STOPS = 0.05
"""How far a setting may stand from the one asked for: labels are rounded."""

_WHY = {
    Setting.SHUTTER: "flash does not depend on the shutter; see what light the plan claims",
    Setting.APERTURE: "see that the lens closes to the value it shows",
    Setting.ISO: "see that the camera is on manual and evens nothing out",
    Setting.LIGHT: "see that every lamp follows, and that no other light outshines them",
    Setting.COMPENSATION: "see that the camera is still free to follow, and no setting is at its end",
}


@dataclass(frozen=True, slots=True)
class Landing:
    """What came of a call. All in stops; `error_stops` is measured minus predicted, positive: brighter than promised.

    `asked_stops` is how far the setting was to move, `delivered` the part of the promised change that came: 1 in full.
    """

    setting: Setting
    asked_stops: float
    predicted_offset_stops: float
    offset_stops: float
    error_stops: float
    delivered: float


def odd(call: Call) -> bool:
    """Whether a frame was judged odd: to be shot again, with nothing to move."""
    return call.kind == "check" and call.setting is None


def landed(asked: Call, before: Shot, after: Shot, plan: Plan) -> Landing | None:
    """What came of the call `asked` for the frame `before`, if `after` followed it and nothing else moved.

    A camera setting must stand at the value asked for, with the others where they were. Light must have moved by half
    of what was asked or more, with no setting moved. Compensation must have moved as asked, and settings may follow.
    None too where the setting is unknown, where only one frame knows another, and where they were not metered alike.
    """
    if asked.setting is None or asked.predicted is None or not _alike(before, after):
        return None
    if not _followed(asked, before, after, plan):
        return None
    promised = asked.predicted.offset_stops - before.reading.offset_stops
    if abs(promised) < EPSILON:
        return None
    moved = after.reading.level_stops - before.reading.level_stops
    offset = after.reading.level_stops - plan.aim.from_grey_stops
    predicted = before.reading.level_stops + promised - plan.aim.from_grey_stops
    return Landing(asked.setting, asked.move_stops, predicted, offset, offset - predicted, moved / promised)


def _alike(before: Shot, after: Shot) -> bool:
    one, other = before.reading, after.reading
    return (one.source, one.area, one.provisional) == (other.source, other.area, other.provisional)


def _followed(asked: Call, before: Shot, after: Shot, plan: Plan) -> bool:
    if asked.setting is Setting.COMPENSATION:
        return _compensation_followed(asked, before.metadata, after.metadata)
    moved = moves(before, after)
    if moved is None or any(abs(stops) > EPSILON for setting, stops in moved.items() if setting is not asked.setting):
        return False
    if asked.setting is Setting.LIGHT:
        return (after.reading.level_stops - before.reading.level_stops) / asked.move_stops >= LIGHT_CAME
    return _stands_as_asked(asked, after.metadata.settings, plan)


def _compensation_followed(asked: Call, before: Metadata, after: Metadata) -> bool:
    if before.bias_stops is None or after.bias_stops is None:
        return False
    return abs(after.bias_stops - before.bias_stops - asked.move_stops) <= _SAME_VALUE_STOPS


def _stands_as_asked(asked: Call, settings: Settings, plan: Plan) -> bool:
    value = None if asked.setting is None else settings.get(asked.setting)
    if asked.setting is None or asked.to_label is None or value is None:
        return False
    wanted = snap(asked.setting, parse_value(asked.setting, asked.to_label), plan.step)
    return abs(brightness(asked.setting, value) - brightness(asked.setting, wanted)) <= _SAME_VALUE_STOPS


@dataclass(frozen=True, slots=True)
class Score:
    """How the last calls came out: their landings, oldest first."""

    landings: tuple[Landing, ...] = ()

    def of(self, setting: Setting) -> "Score":
        """The score of one lever."""
        return Score(tuple(landing for landing in self.landings if landing.setting is setting))

    @property
    def count(self) -> int:
        """Landings in this score."""
        return len(self.landings)

    @property
    def median_error_stops(self) -> float | None:
        """Median of the absolute errors; None without a landing."""
        return median(self._errors()) if self.landings else None

    @property
    def worst_error_stops(self) -> float | None:
        """Largest absolute error; None without a landing."""
        return max(self._errors(), default=None)

    def _errors(self) -> list[float]:
        return [abs(landing.error_stops) for landing in self.landings]

    def under_delivering(self, setting: Setting) -> Finding | None:
        """Names a lever whose last moves all fell short of what they promised."""
        last = self.of(setting).landings[-FELL_SHORT_TIMES:]
        if len(last) < FELL_SHORT_TIMES or any(landing.delivered >= DELIVERED_LEAST for landing in last):
            return None
        return Finding("lever", _short_words(setting, last))


NO_LANDINGS = Score()


def _short_words(setting: Setting, landings: Iterable[Landing]) -> str:
    pairs = [(abs(landing.asked_stops), abs(landing.asked_stops) * landing.delivered) for landing in landings]
    asked, came = map(sum, zip(*pairs, strict=True))
    moves = f"the last {len(pairs)} moves of the {name(setting)}"
    return f"{moves} were {asked:.1f} stops in all, the picture moved {round(came, 1) + 0.0:.1f}: {_WHY[setting]}"
