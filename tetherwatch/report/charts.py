"""The plots of a session's page. Frames stand side by side in the order of arrival, setups behind them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from tetherwatch.advise.records import CallKind
from tetherwatch.page.plot import INK, LINE, MUTED, SERIES, WARN, axes, plot
from tetherwatch.report.records import FrameEntry, SessionRecord
from tetherwatch.text import display_name

_WIDE_INCHES = (9.0, 3.2)
_LEAST_STOPS = 1.0
"""What a plot of offsets reaches to at least, up and down."""

_MOST_STOPS = 3.0
"""What it reaches to at most: a misfire further off sits at the edge, so that the others stay readable."""

_LETTER = 0.012
"""Part of a wide plot's width that a letter takes."""

_LONGEST_NAME = 24
_CLIPPED_LEAST = 1.0

_MARKS: dict[CallKind, tuple[str, str, float]] = {
    "hold": ("o", MUTED, 2.5),
    "brighter": ("^", SERIES[0], 6.0),
    "darker": ("v", SERIES[1], 6.0),
    "check": ("X", WARN, 6.5),
    "blocked": ("s", INK, 5.0),
}
"""Mark, colour and size in points of each kind of call."""


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
    tolerances = [frame.plan.aim.tolerance_stops for frame in frames]
    places = range(1, len(frames) + 1)
    area.fill_between(
        places, [-t for t in tolerances], tolerances, step="mid", color=SERIES[3], alpha=0.25, linewidth=0
    )
    area.axhline(0, color=MUTED, linewidth=0.8)
    reach = _reach(frames)
    area.set_ylim(-reach * 1.08, reach * 1.08)
    for kind, (mark, colour, size) in _MARKS.items():
        of_kind = [(place, frame) for place, frame in zip(places, frames, strict=True) if frame.call.kind == kind]
        if of_kind:
            offsets = [min(max(frame.measured.offset_stops, -reach), reach) for _, frame in of_kind]
            label = f"{kind} ({len(of_kind)})"
            area.plot([place for place, _ in of_kind], offsets, mark, color=colour, ms=size, mew=0, label=label)
    _legend(area)
    beyond = sum(abs(frame.measured.offset_stops) > reach for frame in frames)
    edge = f" {beyond} frames further off sit at the edge." if beyond else ""
    inside = sum(frame.inside for frame in frames)
    description = f"{inside} of {len(frames)} frames lie within the tolerance, the band in the middle.{edge}"
    return plot(figure, "Offset of each frame from the aim, with its call", description)


def light_plot(record: SessionRecord) -> Markup | None:
    """The scene's light in each frame; None if no frame knows its own."""
    known = [
        (place, frame.measured.light_value, frame.odd)
        for place, frame in enumerate(record.frames, start=1)
        if frame.measured.light_value is not None
    ]
    if not known:
        return None
    figure, area = _frames_axes(record, "light value at ISO 100, stops")
    for odd, mark, colour, label in ((False, "o", SERIES[0], "frames"), (True, "X", WARN, "odd frames")):
        points = [(place, light) for place, light, is_odd in known if is_odd is odd]
        if points:
            area.plot(*zip(*points, strict=True), mark, color=colour, ms=5 if odd else 3, mew=0, label=label)
    _legend(area)
    lights = [light for _, light, odd in known if not odd] or [light for _, light, _ in known]
    description = f"From {min(lights):.1f} to {max(lights):.1f} in {len(known)} frames, odd ones not counted."
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
    area.plot([low, high], [low, high], "--", color=MUTED, linewidth=1, label="as predicted")
    for setting, mark, colour in zip(
        dict.fromkeys(each.setting for each in landings), "o^sDv", _colours(), strict=False
    ):
        of_it = [each for each in landings if each.setting is setting]
        x, y = [each.predicted_offset_stops for each in of_it], [each.offset_stops for each in of_it]
        area.plot(x, y, mark, color=colour, ms=5, mew=0, label=f"{setting.value} ({len(of_it)})")
    _legend(area)
    worst = max(abs(each.error_stops) for each in landings)
    return plot(
        figure, "Calls: predicted against landed", f"{len(landings)} calls; the worst is {worst:.2f} stops off."
    )


def _colours() -> Iterator[str]:
    yield from (*SERIES, INK)


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


def _legend(area: Axes) -> None:
    area.figure.legend(loc="outside lower center", ncols=5, frameon=False, labelcolor=INK)


def _reach(frames: Sequence[FrameEntry]) -> float:
    """Stops that a plot of offsets reaches up and down: it holds most frames, and odd ones do not stretch it."""
    offsets = [abs(frame.measured.offset_stops) for frame in frames]
    return min(max(*offsets, _LEAST_STOPS), _MOST_STOPS) if offsets else _LEAST_STOPS
