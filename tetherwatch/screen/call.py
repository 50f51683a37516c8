"""The call: what to do now, in type that reads across the room."""

from rich.text import Text

from tetherwatch.advise.records import Call
from tetherwatch.exposure.stops import Setting
from tetherwatch.screen.block import Block, block, fold
from tetherwatch.screen.letters import largest
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import GLYPHS, UNKNOWN, move_words, signed, stops_words
from tetherwatch.text import display_name

_WORD_ROWS = 1
_REASON_ROWS = 1


def call_panel(call: Call, palette: Palette, width: int, height: int) -> Block:
    """The call as one bold line, then in the largest type there is room for, then why."""
    style = palette.of_call(call.kind)
    large = _large(call, style, width - 2, height - _WORD_ROWS - _REASON_ROWS)
    because = _because(call, palette, width)
    room = height - _WORD_ROWS - len(large)
    if reason_rows(call, width) > room > 0:
        because[room - 1].append(" …")
    return block([call_line(call, style), *large, *because], width, height)


def reason_rows(call: Call, width: int) -> int:
    """Rows that the whole reason takes."""
    return len(_reason(call, width))


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
    """What to show large, fullest first. A shutter time and an f-number tell their setting by their spelling."""
    if call.kind not in ("brighter", "darker") or call.setting is None:
        needed = f" {signed(call.left_stops)}" if stops_words(call) else ""
        return call.kind.upper() + needed, call.kind.upper()
    stops = signed(call.move_stops)
    name = call.setting.value.upper() if call.setting in (Setting.ISO, Setting.LIGHT) else ""
    if call.to_label is None:
        return tuple(f"{word} {stops}".strip() for word in (call.setting.value.upper(), ""))
    start = "?" if call.from_label in (None, UNKNOWN) else display_name(call.from_label)
    move = f"{start} → {display_name(call.to_label)}"
    return f"{name} {move} {stops}".strip(), f"{move} {stops}", move, f"→ {display_name(call.to_label)}"


def _reason(call: Call, width: int) -> list[Text]:
    return [Text(f" {line}") for line in fold(display_name(call.reason, limit=400), width - 3)]


def _because(call: Call, palette: Palette, width: int) -> list[Text]:
    if call.predicted is None:
        return _reason(call, width)
    expected = (
        f"The next frame should then read {signed(call.predicted.offset_stops, 2)} stops, "
        f"{call.predicted.clipped_percent:.1f} % clipped."
    )
    return _reason(call, width) + [Text(f" {line}", palette.quiet) for line in fold(expected, width - 2)]
