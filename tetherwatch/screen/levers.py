"""The levers: where the camera settings stand, how far they and the light may go, and the room left on each."""

from collections.abc import Iterable

from rich.text import Text

from tetherwatch.advise.levers import room
from tetherwatch.advise.records import Allowed, Knowledge, Plan
from tetherwatch.advise.words import name as setting_name
from tetherwatch.body.records import Body
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.screen.block import Block, block
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import signed, snr_words, value_words

_SLACK_STOPS = 0.05
"""Rounding of nominal numbers; a value this close to its range is inside it."""

_LONG_WORDS_MIN_WIDTH = 72
_TRACK_MIN_WIDTH = 92
_TRACK_CELLS = 17


def levers_panel(
    metadata: Metadata,
    plan: Plan,
    power: float | None,
    palette: Palette,
    width: int,
    height: int,
    body: Body | None = None,
) -> Block:
    """One line for each camera setting and for the light where the plan gives its power, then what moves first.

    `power`: where the light stands if the calls for it were followed; no capture tells. `body`: the camera's profile,
    which tells how clean a mid-grey is at its ISO.
    """
    lines = [_lever(metadata.settings.get(setting), plan, setting, palette, width) for setting in CAMERA_SETTINGS]
    if plan.power is not None:
        lines.append(_light(power, plan.power, plan, palette, width))
    lines.append(_automatic(metadata, plan, palette) or Text(f" {_order(plan)}", palette.quiet))
    noise = "" if body is None else _noise(metadata.settings.iso, body)
    if noise and lines[-1].cell_len + len(noise) <= width:
        lines[-1].append(noise, palette.quiet)
    return block(lines, width, height)


def levers_rows(plan: Plan) -> int:
    """Rows that the levers themselves take."""
    return len(CAMERA_SETTINGS) + (plan.power is not None)


def range_words(allowed: Allowed, plan: Plan) -> str:
    """Where a setting is held, or how far it may go from its darkest to its brightest value."""
    darkest, brightest = (value_words(allowed.setting, end, plan.step) for end in (allowed.darkest, allowed.brightest))
    return f"locked at {darkest}" if allowed.locked else f"free {darkest} to {brightest}"


def _lever(value: float | None, plan: Plan, setting: Setting, palette: Palette, width: int) -> Text:
    allowed = plan.allowed(setting)
    row = Text.assemble(
        f" {setting_name(setting):<9}",
        (f"{value_words(setting, value, plan.step):<8}", "bold"),
        f"{range_words(allowed, plan):<22}",
        _room_words(value, allowed, palette, width),
    )
    if width >= _TRACK_MIN_WIDTH and value is not None and not allowed.locked:
        row.pad_right(max(width - _TRACK_CELLS - 3 - row.cell_len, 0))
        row.append(_track(value, allowed), palette.quiet)
    return row


def _light(power: float | None, allowed: Allowed, plan: Plan, palette: Palette, width: int) -> Text:
    """The light's row; its place is marked as one that is reckoned, not read."""
    place = "" if power is None else f"~{value_words(Setting.LIGHT, power, plan.step)}"
    return Text.assemble(
        f" {setting_name(Setting.LIGHT):<9}",
        (f"{place:<8}", "bold") if len(place) < 8 else (f"{place} ", "bold"),
        f"{range_words(allowed, plan):<22}",
        _room_words(power, allowed, palette, width),
    )


def _noise(iso: float | None, body: Body) -> str:
    snr = None if iso is None else body.grey_snr(iso)
    return "" if snr is None else f"   {snr_words(snr)}"


def _automatic(metadata: Metadata, plan: Plan, palette: Palette) -> Text | None:
    """That only compensation moves the picture, and where it stands; None for a camera in manual."""
    if not Knowledge(program=metadata.program).automatic:
        return None
    bias = value_words(Setting.COMPENSATION, metadata.bias_stops, plan.step)
    return Text.assemble(
        (f" ! {metadata.program}, not manual", f"bold {palette.attention}"), f": move compensation (at {bias})"
    )


def _room_words(value: float | None, allowed: Allowed, palette: Palette, width: int) -> Text:
    if value is None:
        return Text("room unknown", palette.quiet)
    left = room(allowed, value)
    darker, brighter = left.darker, left.brighter
    if min(darker, brighter) < -_SLACK_STOPS:
        outside = darker if darker < brighter else -brighter
        return Text(f"! outside by {signed(outside)}", f"bold {palette.attention}")
    if allowed.locked:
        return Text("no room", palette.quiet)
    if width < _LONG_WORDS_MIN_WIDTH:
        return Text(f"room {signed(-darker)} {signed(brighter)}")
    return Text.assemble(
        (f"{f'darker {signed(-darker)}':<14}", palette.darker), (f"brighter {signed(brighter)}", palette.brighter)
    )


def _track(value: float, allowed: Allowed) -> str:
    left = room(allowed, value)
    darker, brighter = max(left.darker, 0.0), max(left.brighter, 0.0)
    here = round(darker / (darker + brighter) * (_TRACK_CELLS - 1)) if darker + brighter else 0
    return "├" + "─" * here + "●" + "─" * (_TRACK_CELLS - 1 - here) + "┤"


def _order(plan: Plan) -> str:
    return f"brighter by {_names(plan.brighter)}   darker by {_names(plan.darker)}"


def _names(levers: Iterable[Setting]) -> str:
    return ", ".join(setting_name(lever) for lever in levers) or "nothing"
