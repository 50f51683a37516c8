"""The call: what to do now, in type that reads across the room."""

from rich.text import Text

from tetherwatch.advise.landing import Score
from tetherwatch.advise.records import Call
from tetherwatch.exposure.stops import Setting
from tetherwatch.meter.records import Reading
from tetherwatch.screen.block import Block, block, fold
from tetherwatch.screen.letters import largest
from tetherwatch.screen.outlook import has_outlook, outlook_line
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import GLYPHS, UNKNOWN, move_words, signed, stops_words
from tetherwatch.session.records import FrameRecord
from tetherwatch.text import display_name

_WORD_ROWS = 1
_REASON_ROWS = 1


def call_panel(frame: FrameRecord, score: Score, palette: Palette, width: int, height: int) -> Block:
    """The call as one bold line, then in the largest type there is room for, then why, then what it promises."""
    if not frame.firm:
        return _first_look(frame.reading, palette, width, height)
    call = frame.call
    style = palette.of_call(call.kind)
    large = _large(call, style, width - 2, height - _WORD_ROWS - _REASON_ROWS)
    because = _reason(call, width)
    room = height - _WORD_ROWS - len(large)
    if len(because) > room > 0:
        because[room - 1].append(" …")
    outlook = outlook_line(frame, score, palette, width)
    return block([call_line(call, style), *large, *because, outlook], width, height)


def _first_look(reading: Reading, palette: Palette, width: int, height: int) -> Block:
    """What the preview says, where that is too uncertain to act on."""
    about = f"≈ {signed(reading.offset_stops)}"
    found = largest((about,), width - 2, height - _WORD_ROWS - _REASON_ROWS)
    large = [] if found is None else [Text.assemble(" ", line) for line in found[0].draw(found[1], palette.quiet)]
    head = Text(f" … FIRST LOOK   about {signed(reading.offset_stops)} stops", f"bold {palette.quiet}", no_wrap=True)
    because = f" by its preview, give or take {reading.uncertainty_stops:.1f}; the exact reading is under way"
    return block([head, *large, Text(because)], width, height)


def reason_rows(frame: FrameRecord, score: Score, width: int) -> int:
    """Rows that the whole reason takes, with the line of what is promised and what came of it."""
    return len(_reason(frame.call, width)) + has_outlook(frame, score)


def call_line(call: Call, style: str) -> Text:
    """The whole call on one line: "▲ BRIGHTER   ISO 400 → 800   +1.0 stops"."""
    parts = [f"{GLYPHS[call.kind]} {call.kind.upper()}", move_words(call, "→"), stops_words(call)]
    return Text(" " + "   ".join(part for part in parts if part), f"bold {style}", no_wrap=True)


def _large(call: Call, style: str, width: int, height: int) -> list[Text]:
    found = largest(_wordings(call), width, height)
    if found is None:
        return []
    size, words = found
    return [Text.assemble(" ", line) for line in size.draw(words, style)]


def _wordings(call: Call) -> tuple[str, ...]:
    """What to show large, fullest first."""
    if call.kind not in ("brighter", "darker") or call.setting is None:
        return _standing(call)
    name, stops = call.setting.value.upper(), signed(call.move_stops)
    if call.to_label is None:
        return f"{name} {stops}", stops
    start = "?" if call.from_label in (None, UNKNOWN) else display_name(call.from_label)
    end = display_name(call.to_label)
    move = f"{start} → {end}"
    if call.setting in (Setting.LIGHT, Setting.COMPENSATION):
        # A power looks like a shutter time and compensation like a number of stops: they never go without their name.
        least = f"{name} {stops}" if call.setting is Setting.LIGHT else f"→ {end}"
        return f"{name} {move}", f"{name} → {end}", least
    full = f"{name} {move} {stops}" if call.setting is Setting.ISO else f"{move} {stops}"
    return full, f"{move} {stops}", move, f"→ {end}"


def _standing(call: Call) -> tuple[str, ...]:
    """The kind of a call that orders no move, with what it is about."""
    kind = call.kind.upper()
    if call.setting is not None:
        return f"{kind} {call.setting.value.upper()}", kind
    return f"{kind} {signed(call.left_stops)}" if stops_words(call) else kind, kind


def _reason(call: Call, width: int) -> list[Text]:
    return [Text(f" {line}") for line in fold(display_name(call.reason, limit=400), width - 3)]
