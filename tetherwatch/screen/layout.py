"""Which panels go where in a window of a given size. Everything here is a pure function of records and size."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import chain

from rich.text import Text

from tetherwatch.screen.block import Block, block, fold, rule, stack
from tetherwatch.screen.call import call_line, call_panel, reason_rows
from tetherwatch.screen.header import footer, header_panel
from tetherwatch.screen.health import health_panel
from tetherwatch.screen.levers import levers_panel, levers_rows
from tetherwatch.screen.offset import offset_panel
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.picture import picture_panel
from tetherwatch.screen.setups import setups_panel, setups_rows
from tetherwatch.screen.told import pressing_rows, told_rows
from tetherwatch.screen.tones import tones_panel
from tetherwatch.screen.trend import trend_panel
from tetherwatch.screen.waiting import waiting_panel
from tetherwatch.session.records import FrameRecord, SessionView
from tetherwatch.text import display_name

LEAST_WIDTH, LEAST_HEIGHT = 60, 16
_TWO_COLUMNS_WIDTH, _TWO_COLUMNS_HEIGHT = 96, 28
_GIANT_HEIGHT = 42
_LEAST_BESIDE_LEVERS = 10
"""Rows of a column for titles, offset and tones; where a long reason leaves less, one column serves better."""

_TITLES = {
    "offset": "offset from the aim",
    "levers": "settings",
    "tones": "tones, in stops",
    "trend": "last frames",
    "picture": "picture",
}
_ORDER = ("header", "call", "setups", "rule", "offset", "levers", "tones", "trend", "picture", "health")

_BASE = {"header": 1, "call": 7, "offset": 2, "levers": 3, "health": 1}
_FIRST = (("tones", 4), ("offset", 1), ("header", 1))
_LATER = (
    ("rule", 1),
    ("levers", 1),
    ("trend", 6),
    ("tones", 3),
    ("health", 1),
    ("picture", 12),
    ("call", 1),
    ("tones", 3),
    ("picture", 6),
)
"""What a higher window adds to the single column, most wanted first; a step that does not fit is left out."""

_ROWS_PER_TOLD = 10
"""Rows of a window that leave one of them for what is told beside the call."""


@dataclass(frozen=True, slots=True)
class Scene:
    """What is to be drawn at one moment: `now` in wall-clock seconds; `newer` frames are held back by a pause."""

    view: SessionView
    palette: Palette
    now: float
    newer: int | None = None
    notice: str = ""


def dashboard(scene: Scene, width: int, height: int) -> Block:
    """The whole screen: exactly `height` lines of `width` cells."""
    if width < LEAST_WIDTH or height < LEAST_HEIGHT:
        return _too_small(scene, width, height)
    if not scene.view.frames:
        return _waiting(scene, width, height)
    if width >= _TWO_COLUMNS_WIDTH and height >= _TWO_COLUMNS_HEIGHT:
        return _two_columns(scene, width, height)
    return _one_column(scene, width, height)


def _too_small(scene: Scene, width: int, height: int) -> Block:
    advice = f"This window is {width}x{height}. Make it at least {LEAST_WIDTH}x{LEAST_HEIGHT}."
    lines = [Text(line) for line in fold(advice, width)]
    for frame in scene.view.frames[-1:]:
        head = [call_line(frame.call, scene.palette.of_call(frame.call.kind))]
        lines = [*head, *(Text(line) for line in fold(display_name(frame.call.reason), width)), *lines]
    return block(lines, width, height)


def _waiting(scene: Scene, width: int, height: int) -> Block:
    body = waiting_panel(scene.view, scene.palette, width, height - 3)
    health = health_panel(scene.view, scene.now, scene.palette, width, 2)
    return stack([body, health, footer(scene.notice, scene.palette, width)], width)


def _one_column(scene: Scene, width: int, height: int) -> Block:
    view = scene.view
    reason, pressing = reason_rows(view.frames[-1], view.score, width), pressing_rows(view)
    told = max(min(told_rows(view, width), height // _ROWS_PER_TOLD) - pressing, 0)
    rows = share(height - 1, reason, pressing, told, levers_rows(view.plan), setups_rows(view))
    parts = [_panel(scene, name, width, rows[name]) for name in _ORDER if name in rows]
    used = sum(part.height for part in parts)
    parts.insert(-1, block([], width, height - 1 - used))
    return stack([*parts, footer(scene.notice, scene.palette, width)], width)


def share(height: int, reason: int, pressing: int, told: int, levers: int, setups: int = 0) -> dict[str, int]:
    """Rows of each panel of the single column, at most `height` together.

    The rows of the reason are served first, then what is `pressing` beside the call, then the levers; the other rows
    that are `told` come after the tones and two rows of the `setups`, whose others follow.
    """
    rows = dict(_BASE)
    spare = height - sum(rows.values())
    steps = (
        *(("call", 1),) * max(reason - 1, 1),
        *(("health", 1),) * pressing,
        *(("levers", 1),) * (levers - rows["levers"]),
        *_FIRST,
        *(("setups", 1),) * min(setups, 2),
        *(("health", 1),) * max(told, pressing == 0),
        *(("setups", 1),) * (setups - 2),
        *_LATER,
    )
    for name, more in steps:
        if more <= spare:
            rows[name] = rows.get(name, 0) + more
            spare -= more
    return rows


def _two_columns(scene: Scene, width: int, height: int) -> Block:
    roomy = height >= _GIANT_HEIGHT
    header = _panel(scene, "header", width, 2)
    reasons = max(reason_rows(scene.view.frames[-1], scene.view.score, width), 2)
    call = _panel(scene, "call", width, (12 if roomy else 6) + reasons)
    told = told_rows(scene.view, width)
    health = _panel(scene, "health", width, min(max(told + 2, 4), 7) if roomy else min(max(told + 1, 2), 3))
    foot = footer(scene.notice, scene.palette, width)
    body_height = height - sum(part.height for part in (header, call, health, foot))
    levers = levers_rows(scene.view.plan) + 1
    if body_height < levers + _LEAST_BESIDE_LEVERS:
        return _one_column(scene, width, height)
    strip = _panel(scene, "setups", width, min(setups_rows(scene.view), body_height - levers - _LEAST_BESIDE_LEVERS))
    body_height -= strip.height
    left = max(width * 11 // 20, 58)
    right = width - left - 2
    trend_rows = max(body_height // 3, 6)
    body = _column(scene, {"offset": 3, "levers": levers, "tones": body_height - levers - 6}, left).beside(
        _column(scene, {"trend": trend_rows, "picture": body_height - trend_rows - 2}, right)
    )
    return stack([header, call, strip, body, health, foot], width)


def _column(scene: Scene, rows: Mapping[str, int], width: int) -> Block:
    """Panels with their titles below each other."""
    titled = (
        (rule(_TITLES[name], width, scene.palette.quiet), _panel(scene, name, width, rows[name])) for name in rows
    )
    return stack(chain.from_iterable(titled), width)


def _panel(scene: Scene, name: str, width: int, height: int) -> Block:
    view, palette = scene.view, scene.palette
    frame: FrameRecord = view.frames[-1]
    painters: dict[str, Callable[[], Block]] = {
        "header": lambda: header_panel(frame, view.plan, scene.newer, palette, width, height),
        "call": lambda: call_panel(frame, view.score, palette, width, height),
        "setups": lambda: setups_panel(view, palette, width, height),
        "rule": lambda: block([Text("─" * width, palette.quiet)], width, height),
        "offset": lambda: offset_panel(frame.reading, view.plan.aim, palette, width, height),
        "levers": lambda: levers_panel(frame.metadata, view.plan, view.power, palette, width, height, view.body),
        "tones": lambda: tones_panel(frame.reading, palette, width, height),
        "picture": lambda: picture_panel(frame.thumbnail, palette, width, height),
        "trend": lambda: trend_panel(view.frames, view.plan.aim, palette, width, height),
        "health": lambda: health_panel(view, scene.now, palette, width, height),
    }
    return painters[name]()
