"""The lines at the top and the bottom: which frame this is, where its numbers come from, and the keys."""

from rich.text import Text

from tetherwatch.advise.records import Plan
from tetherwatch.screen.block import Block, block, spread
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import decimal, eye_words, sides_words, source_words
from tetherwatch.session.records import FrameRecord
from tetherwatch.text import display_name

_KEYS = (("space", "pause"), ("p", "plan"), ("s a i", "lock"), ("t", "what if"), ("h", "help"), ("q", "quit"))


def header_panel(frame: FrameRecord, plan: Plan, newer: int | None, palette: Palette, width: int, height: int) -> Block:
    """The frame and its source, then camera, light and plan. `newer` counts frames held back; None is not paused."""
    name = display_name(frame.capture.path.name)
    pair = f" + {display_name(frame.capture.pair.name)}" if frame.capture.pair else ""
    left = Text.assemble(f" #{frame.number}  ", (name, "bold"), (pair, palette.quiet))
    right = Text(f"reading: {source_words(frame.reading)} ")
    if newer is not None:
        right = Text.assemble((f" PAUSED, {newer} newer ", "bold reverse"), " ", right)
    plan_name = Text(f"plan: {display_name(plan.name, limit=40)} ")
    return block([spread(left, right, width), spread(_circumstances(frame, palette), plan_name, width)], width, height)


def _circumstances(frame: FrameRecord, palette: Palette) -> Text:
    light, camera, fired = frame.reading.light_value, frame.metadata.camera, frame.metadata.flash_fired
    body = frame.reading.body
    words = [
        "camera unknown" if camera is None else display_name(camera, limit=40),
        f"metered: {frame.reading.area}",
        *([] if frame.reading.sides is None else [sides_words(frame.reading.sides)]),
        *([] if frame.eyes is None else [eye_words(frame.eyes)]),
        "light unknown" if light is None else f"light {decimal(light)}",
    ]
    if fired is not None:
        words.append("flash fired" if fired else "no flash")
    if body is not None:
        words.append(f"body {display_name(body, limit=40)}")
    return Text(f" {' · '.join(words)}", palette.quiet)


def footer(notice: str, palette: Palette, width: int) -> Block:
    """The keys, or for a moment a notice in their place."""
    if notice:
        return block([Text(f" {display_name(notice)}", f"bold {palette.attention}")], width, 1)
    line = Text(" ")
    for key, action in _KEYS:
        line.append_text(Text.assemble((key, "bold"), (f" {action}   ", palette.quiet)))
    return block([line], width, 1)
