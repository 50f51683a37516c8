"""Camera dials: the positions a setting can take, their exact values and the labels engraved on them.

A position is an integer that counts dial steps of brightness, so a move is an integer addition:
position 0 is 1 s, f/1 or ISO 100; exact brightness = position * step. Nominal numbers (1/125, f/5.6, ISO 1250) are
labels only. The nominal series are those of the trade's cameras and meters (common practice, no standard
prescribes them all); their largest distance from the exact step is stated in the tests.
"""

import math
import re
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from functools import cache

from tetherwatch.exposure.stops import Setting, brightness, value_at

_EXACT_STEPS = 1e-6
_SNAP_STOPS = 0.05
"""How far a number may lie from a dial's exact or nominal value and still mean it: metadata is rounded."""

_NUMBER = r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+"
_SPELLINGS = {
    Setting.SHUTTER: re.compile(rf'(?P<number>{_NUMBER})(?:/(?P<divisor>{_NUMBER}))? *(?:s|")?'),
    Setting.APERTURE: re.compile(rf"(?:f */? *)?(?P<number>{_NUMBER})(?P<divisor>)"),
    Setting.ISO: re.compile(rf"(?:iso *)?(?P<number>{_NUMBER})(?P<divisor>)"),
}
"""How the trade writes each setting, in lower case; only times are written as a fraction."""


class Step(Enum):
    """Dial step in stops."""

    THIRD = Fraction(1, 3)
    HALF = Fraction(1, 2)
    FULL = Fraction(1)

    @property
    def stops(self) -> float:
        """The step as a float in stops."""
        return float(self.value)

    @classmethod
    def parse(cls, text: str) -> "Step":
        """Read "1/3", "1/2" or "1". Raises ValueError for anything else."""
        for step in cls:
            if text == str(step.value):
                return step
        raise ValueError(f'{text!r} is not a dial step; use "1/3", "1/2" or "1"')


_SHUTTER_THIRDS = (
    "30 25 20 15 13 10 8 6 5 4 3.2 2.5 2 1.6 1.3 1 0.8 0.6 0.5 0.4 0.3 1/4 1/5 1/6 1/8 1/10 1/13 1/15 1/20 1/25 "
    "1/30 1/40 1/50 1/60 1/80 1/100 1/125 1/160 1/200 1/250 1/320 1/400 1/500 1/640 1/800 1/1000 1/1250 1/1600 "
    "1/2000 1/2500 1/3200 1/4000 1/5000 1/6400 1/8000"
).split()[::-1]
_SHUTTER_HALVES = (
    "30 20 15 10 8 6 4 3 2 1.5 1 0.7 0.5 1/3 1/4 1/6 1/8 1/10 1/15 1/20 1/30 1/45 1/60 1/90 1/125 1/180 1/250 1/350 "
    "1/500 1/750 1/1000 1/1500 1/2000 1/3000 1/4000 1/6000 1/8000"
).split()[::-1]
_APERTURE_THIRDS = (
    "1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22 25 29 32"
).split()[::-1]
_APERTURE_HALVES = "1 1.2 1.4 1.7 2 2.4 2.8 3.3 4 4.8 5.6 6.7 8 9.5 11 13 16 19 22 27 32".split()[::-1]
_ISO_THIRDS = (
    "50 64 80 100 125 160 200 250 320 400 500 640 800 1000 1250 1600 2000 2500 3200 4000 5000 6400 8000 10000 12800 "
    "16000 20000 25600 32000 40000 51200 64000 80000 102400"
).split()
_ISO_HALVES = (
    "50 70 100 140 200 280 400 560 800 1100 1600 2200 3200 4500 6400 9000 12800 18000 25600 36000 51200 72000 102400"
).split()

_DARKEST_STOPS = {Setting.SHUTTER: -13, Setting.APERTURE: -10, Setting.ISO: -1}
"""Brightness of the first entry of every series: 1/8000 s, f/32, ISO 50."""

_SERIES: dict[tuple[Setting, Step], list[str]] = {
    (Setting.SHUTTER, Step.THIRD): _SHUTTER_THIRDS,
    (Setting.SHUTTER, Step.HALF): _SHUTTER_HALVES,
    (Setting.SHUTTER, Step.FULL): _SHUTTER_THIRDS[::3],
    (Setting.APERTURE, Step.THIRD): _APERTURE_THIRDS,
    (Setting.APERTURE, Step.HALF): _APERTURE_HALVES,
    (Setting.APERTURE, Step.FULL): _APERTURE_THIRDS[::3],
    (Setting.ISO, Step.THIRD): _ISO_THIRDS,
    (Setting.ISO, Step.HALF): _ISO_HALVES,
    (Setting.ISO, Step.FULL): _ISO_THIRDS[::3],
}


@dataclass(frozen=True, slots=True)
class Dial:
    """All positions of one camera setting in one step size, darkest first."""

    setting: Setting
    step: Step

    @property
    def nominal(self) -> tuple[float, ...]:
        """Nominal values from darkest to brightest (seconds, f-numbers or ISO)."""
        return _nominal(self.setting, self.step)

    @property
    def positions(self) -> range:
        """The positions that exist, darkest to brightest."""
        first = round(_DARKEST_STOPS[self.setting] / self.step.value)
        return range(first, first + len(_SERIES[self.setting, self.step]))

    def value(self, position: int) -> float:
        """Exact value of a position: seconds, f-number or ISO."""
        return value_at(self.setting, float(position * self.step.value))

    def label(self, position: int) -> str:
        """The engraved number of a position. Raises IndexError outside the dial."""
        if position not in self.positions:
            raise IndexError(f"{self.setting.value} has no position {position}")
        return _spell(self.setting, _SERIES[self.setting, self.step][position - self.positions.start])

    def position(self, value: float) -> int | None:
        """The position that `value`, exact or nominal, stands for; None if it is not on this dial."""
        stops = brightness(self.setting, value)
        nearest = round(stops / self.step.stops)
        for position in (nearest, nearest - 1, nearest + 1):
            if position in self.positions and self._distance(position, stops) <= _SNAP_STOPS:
                return position
        return None

    def _distance(self, position: int, stops: float) -> float:
        nominal = self.nominal[position - self.positions.start]
        exact = float(position * self.step.value)
        return min(abs(stops - exact), abs(stops - brightness(self.setting, nominal)))

    def nearest(self, stops: float) -> int:
        """The position nearest to a brightness in stops, kept on the dial; ties go to the darker one."""
        wanted = math.ceil(stops / self.step.stops - 0.5 - 1e-9)
        return min(max(wanted, self.positions.start), self.positions.stop - 1)

    def move(self, position: int, stops: float) -> int:
        """The position nearest to `stops` brighter (negative: darker) than `position`, kept on the dial."""
        return self.nearest(float(position * self.step.value) + stops)


@cache
def _nominal(setting: Setting, step: Step) -> tuple[float, ...]:
    return tuple(float(Fraction(text)) for text in _SERIES[setting, step])


def _spell(setting: Setting, nominal: str) -> str:
    if setting is Setting.APERTURE:
        return f"f/{nominal}"
    if setting is Setting.SHUTTER and "/" not in nominal:
        return f"{nominal} s"
    return nominal


def _is_exact(setting: Setting, value: float) -> bool:
    steps = brightness(setting, value) * 6  # sixths of a stop hold thirds, halves and whole stops
    return abs(steps - round(steps)) < _EXACT_STEPS and round(steps) % 6 not in (1, 5)


def snap(setting: Setting, value: float, step: Step = Step.THIRD) -> float:
    """The exact value of the dial step that `value` stands for.

    Tries `step` first, then thirds, then halves; a number on none of them (1/16000, f/0.95) is returned unchanged, and
    so is one that is the exact value of a step already.
    """
    if _is_exact(setting, value):
        return value
    for candidate in (step, Step.THIRD, Step.HALF):
        dial = Dial(setting, candidate)
        position = dial.position(value)
        if position is not None:
            return dial.value(position)
    return value


def label(setting: Setting, value: float, step: Step = Step.THIRD) -> str:
    """`value` (seconds, f-number or ISO) in the trade's spelling, on a dial where one carries it."""
    for candidate in (step, Step.THIRD, Step.HALF):
        dial = Dial(setting, candidate)
        position = dial.position(value)
        if position is not None:
            return dial.label(position)
    if setting is Setting.SHUTTER and value < 0.3:
        return f"1/{1 / value:.0f}"
    return _spell(setting, f"{value:.4g}" if setting is not Setting.ISO else f"{value:.0f}")


def parse_value(setting: Setting, text: str | float) -> float:
    """Read a camera setting as the trade writes it, or a plain number. Raises ValueError otherwise.

    shutter: 1/250, 0.5 s, 2"; aperture: f/2.8, f2.8, 2.8; iso: 400, ISO 400.
    """
    value = _written_number(setting, text) if isinstance(text, str) else text
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not (0 < value < 1e9):
        raise ValueError(f"{text!r} is not a value for {setting.value}")
    return float(value)


def _written_number(setting: Setting, text: str) -> float:
    """The number a spelling stands for, 0 if it stands for none."""
    written = _SPELLINGS[setting].fullmatch(text.strip().lower())
    if written is None:
        return 0.0
    number, divisor = (float(part) if part else 1.0 for part in written.group("number", "divisor"))
    return number / divisor if divisor else 0.0
