"""The plots of a session's page. Frames stand side by side in the order of arrival, setups behind them."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from tetherwatch.advise.records import CallKind
from tetherwatch.advise.words import name as setting_name
from tetherwatch.exposure.stops import Setting
from tetherwatch.page.plot import INK, LINE, MUTED, SERIES, WARN, axes, plot
from tetherwatch.report.records import FrameEntry, SessionRecord
from tetherwatch.text import display_name

_WIDE_INCHES = (9.0, 3.2)
_LEAST_STOPS = 1.0
"""What a plot of offsets reaches to at least, up and down."""

_MOST_STOPS = 3.0
"""What it reaches to at most: a misfire must not flatten the others."""

_EDGE = "Frames further off sit at the edge."

_LETTER = 0.012
"""Part of a wide plot's width that a letter takes."""

_LONGEST_NAME = 24
_CLIPPED_LEAST = 1.0

_DOT, _CROSS = 3.0, 6.0
"""Sizes of marks in points; the dots of few frames are larger."""

_FEW = 300

_MARKS: dict[CallKind, tuple[str, str, float]] = {
    "hold": ("o", MUTED, _DOT),
    "brighter": ("^", SERIES[0], 2 * _DOT),
    "darker": ("v", SERIES[1], 2 * _DOT),
    "check": ("X", WARN, _CROSS),
    "blocked": ("s", INK, 1.5 * _DOT),
}
"""Mark, colour and size of each kind of call."""


_SETTING_MARKS = {
    Setting.SHUTTER: ("o", SERIES[0]),
    Setting.APERTURE: ("s", SERIES[1]),
    Setting.ISO: ("D", SERIES[2]),
    Setting.LIGHT: ("^", SERIES[3]),
    Setting.COMPENSATION: ("P", INK),
}
"""Mark and colour of each setting."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Neighbouring frames of one setup: places from `first` to `last`, counted from 1; `name` None: of no setup."""

    first: int
    last: int
    number: int | None
    name: str | None

    def label(self, count: int) -> str:
        """As much of what it is called as it has room for among `count` frames."""
        letters = (self.last - self.first + 1) / count / _LETTER
        return next((text for text in (self.name or "", f"{self.number or ''}") if len(text) <= letters), "")


def stretches(record: SessionRecord) -> tuple[Stretch, ...]:
    """The session as stretches, a new one wherever the setup changes."""
    placed = enumerate((frame.setup for frame in record.frames), start=1)
    found = []
    for number, group in groupby(placed, key=lambda each: each[1]):
        places = [place for place, _ in group]
        setup = record.setup(number)
        name = None if setup is None else display_name(setup.label, _LONGEST_NAME)
        found.append(Stretch(places[0], places[-1], number, name))
    return tuple(found)


def offset_plot(record: SessionRecord) -> Markup:
    """Offset of each frame from its aim, marked by its call, with the tolerance behind it."""
    figure, area = _frames_axes(record, "stops from the aim")
    frames = record.frames
    places = range(1, len(frames) + 1)
    tolerances = [frame.plan.aim.tolerance_stops for frame in frames]
    below = [-tolerance for tolerance in tolerances]
    area.fill_between(places, below, tolerances, step="mid", color=SERIES[3], alpha=0.25, linewidth=0)
    area.axhline(0, color=MUTED, linewidth=0.8)
    reach = min(max(abs(frame.measured.offset_stops) for frame in frames), _MOST_STOPS)
    _bound(area, -max(reach, _LEAST_STOPS), max(reach, _LEAST_STOPS))
    for kind, (mark, colour, size) in _MARKS.items():
        points = [(at, f.measured.offset_stops) for at, f in zip(places, frames, strict=True) if f.call.kind == kind]
        _draw(area, points, mark, color=colour, ms=size * _scale(frames), label=f"{kind} ({len(points)})")
    _legend(area)
    inside = sum(frame.inside for frame in frames)
    description = f"{inside} of {len(frames)} frames lie within the tolerance, the band in the middle. {_EDGE}"
    return plot(figure, "Offset of each frame from the aim, with its call", description)


def light_plot(record: SessionRecord) -> Markup | None:
    """The scene's light in each frame; None if no frame knows its own."""
    lights = [(place, frame.measured.light_value, frame.odd) for place, frame in enumerate(record.frames, start=1)]
    sound = [(place, light) for place, light, odd in lights if light is not None and not odd]
    odd = [(place, light) for place, light, odd in lights if light is not None and odd]
    values = [light for _, light in sound or odd]
    if not values:
        return None
    figure, area = _frames_axes(record, "light value at ISO 100, stops")
    _bound(area, min(values) - _LEAST_STOPS, max(values) + _LEAST_STOPS)
    _draw(area, sound, "o", color=SERIES[0], ms=_DOT * _scale(record.frames), label="frames")
    _draw(area, odd, "X", color=WARN, ms=_CROSS, label="odd frames")
    _legend(area)
    description = f"From {min(values):.1f} to {max(values):.1f}, odd frames not counted. {_EDGE}"
    return plot(figure, "Light value of each frame", description)


def clipping_plot(record: SessionRecord) -> Markup | None:
    """What is clipped in each frame's metered area; None if nothing is."""
    frames = record.frames
    clipped = [frame.measured.area_clipped_percent for frame in frames]
    if not any(clipped):
        return None
    figure, area = _frames_axes(record, "% of the metered area")
    places = range(1, len(frames) + 1)
    limits = [frame.plan.aim.clip_limit_percent for frame in frames]
    area.vlines(places, 0, clipped, color=SERIES[1], linewidth=1.2)
    area.plot(places, limits, "--", color=INK, linewidth=1, drawstyle="steps-mid", label="the plan's limit")
    area.set_ylim(0, max(_CLIPPED_LEAST, *clipped) * 1.08)
    _legend(area)
    over = sum(frame.clipped for frame in frames)
    description = f"{over} of {len(frames)} frames lie above the limit; the worst has {max(clipped):.1f} %."
    return plot(figure, "Clipping in the metered area of each frame", description)


def landing_plot(record: SessionRecord) -> Markup | None:
    """Each call's prediction against the frame after it; None if no frame followed a call."""
    landings = [frame.landing for frame in record.frames if frame.landing is not None]
    if not landings:
        return None
    figure, area = axes("predicted offset, stops", "landed at, stops")
    ends = [each.predicted_offset_stops for each in landings] + [each.offset_stops for each in landings]
    low, high = min(*ends, -_LEAST_STOPS / 2), max(*ends, _LEAST_STOPS / 2)
    _bound(area, low, high)
    area.plot([low, high], [low, high], "--", color=MUTED, linewidth=1, label="as predicted")
    for setting, (mark, colour) in _SETTING_MARKS.items():
        points = [(each.predicted_offset_stops, each.offset_stops) for each in landings if each.setting is setting]
        _draw(area, points, mark, color=colour, ms=5, label=f"{setting_name(setting)} ({len(points)})")
    _legend(area)
    worst = max(abs(each.error_stops) for each in landings)
    description = f"{len(landings)} calls; the worst is {worst:.2f} stops off."
    return plot(figure, "Calls: predicted against landed", description)


def _frames_axes(record: SessionRecord, y_label: str) -> tuple[Figure, Axes]:
    """A wide plot over all frames, every second setup shaded and named where there is room."""
    figure, area = axes("frames in the order of arrival", y_label)
    figure.set_size_inches(*_WIDE_INCHES)
    count = max(1, len(record.frames))
    area.set_xlim(0.5, count + 0.5)
    area.xaxis.set_major_locator(MaxNLocator(integer=True))
    for index, stretch in enumerate(stretches(record)):
        if stretch.name is not None:
            start, alpha = stretch.first - 0.5, 0.5 if index % 2 else 0.0
            area.axvspan(start, stretch.last + 0.5, color=LINE, alpha=alpha, linewidth=0)
            top = area.get_xaxis_transform()
            # A name is no formula, whatever signs are in it.
            area.text(start, 1.0, stretch.label(count), transform=top, va="bottom", color=INK, parse_math=False)
    return figure, area


def _bound(area: Axes, low: float, high: float) -> None:
    """Let the plot reach from `low` to `high`, with room for the marks that sit there."""
    room = 0.04 * (high - low)
    area.set_ylim(low - room, high + room)


def _draw(area: Axes, points: Sequence[tuple[float, float]], mark: str, **style: Any) -> None:
    """Marks at places and heights; what lies above or below the plot sits at its edge."""
    if points:
        places, heights = zip(*points, strict=True)
        area.plot(places, np.clip(heights, *area.get_ylim()), mark, mew=0, clip_on=False, **style)


def _scale(frames: Sequence[FrameEntry]) -> float:
    return 1.5 if len(frames) <= _FEW else 1.0


def _legend(area: Axes) -> None:
    area.figure.legend(loc="outside lower center", ncols=5, frameon=False, labelcolor=INK)
