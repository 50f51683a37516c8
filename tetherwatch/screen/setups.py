"""The setups as a strip, how the frame matches the pinned one, and what changed since the frame before."""

from rich.text import Text

from tetherwatch.frame.records import Channel
from tetherwatch.screen.block import Block, block
from tetherwatch.screen.lines import settings_words
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import decimal, signed
from tetherwatch.session.judging import shot_of
from tetherwatch.session.records import FrameRecord, SessionView
from tetherwatch.setups.changes import changes
from tetherwatch.setups.records import Drift, Match, Placement, Setup
from tetherwatch.text import display_name

_CHANNELS: dict[Channel, str] = {"r": "red", "b": "blue"}


def setups_rows(view: SessionView) -> int:
    """Rows worth having: the strip, what changed, and the match where a frame is pinned; none before a setup."""
    if not view.setups:
        return 0
    return 1 + (len(view.frames) > 1) + (view.frames[-1].match is not None)


def setups_panel(view: SessionView, palette: Palette, width: int, height: int) -> Block:
    """The strip with the setup of the frame shown in brackets; then the match; then what changed."""
    frame = view.frames[-1]
    lines = [_strip(view, frame, palette, width)]
    if frame.match is not None:
        lines.append(_match(frame.match, view.plan.aim.tolerance_stops, palette))
    if len(view.frames) > 1:
        before = view.frames[-2]
        words = changes(view.plan, shot_of(before), shot_of(frame))
        lines.append(Text(f" since #{before.number}: {display_name(words)}", palette.quiet))
    return block(lines, width, height)


def _strip(view: SessionView, frame: FrameRecord, palette: Palette, width: int) -> Text:
    """As many setups as fit around the one of the frame shown, the others short."""
    here = next((place for place, setup in enumerate(view.setups) if setup.number == frame.setup), None)
    if here is None:
        return Text(" setup not known yet", palette.quiet)
    shown = _here(view.setups[here], view)
    others = [_other(setup, view) for setup in view.setups]
    first, last = here, here + 1
    room = width - 10 - shown.cell_len
    for step in range(1, len(others)):
        for place in (here - step, here + step):
            if 0 <= place < len(others) and place in (first - 1, last) and len(others[place]) + 2 <= room:
                room -= len(others[place]) + 2
                first, last = min(first, place), max(last, place + 1)
    strip = Text(" setups ", palette.quiet)
    strip.append("… " if first else "", palette.quiet)
    for place in range(first, last):
        strip.append_text(shown if place == here else Text(others[place], palette.quiet))
        strip.append("  ")
    return strip.append("…" if last < len(others) else "", palette.quiet)


def _here(setup: Setup, view: SessionView) -> Text:
    """The setup of the frame shown: name, state, light, drift, and its settings."""
    settings = settings_words(setup.settings, view.plan.step)
    words = [
        f"{setup.number} {display_name(setup.name or '', limit=20)}".strip(),
        "perhaps" if setup.state == "provisional" else "",
        _light(setup),
        "" if setup.drift is None else _drift(setup.drift),
        f"{'right at' if setup.proven else 'at'} {settings}",
        "pinned" if setup.number in view.pins else _by_card(setup, view),
    ]
    return Text(f"[{' · '.join(word for word in words if word)}]", "bold")


def _by_card(setup: Setup, view: SessionView) -> str:
    """Where faces are held here by a card, or that one waits for a face."""
    here = [each for each in view.placements if each.setup in (None, setup.number)]
    return ", ".join(f"card #{each.card_frame} {_placed(each)}" for each in here)


def _placed(placement: Placement) -> str:
    stops = placement.from_grey
    return "waits for a face" if stops is None else f"places the face at {signed(stops.value, 2)}"


def _other(setup: Setup, view: SessionView) -> str:
    name = display_name(setup.name or "", limit=12)
    pinned = "*" if setup.number in view.pins else ""
    return f"{setup.number}{pinned} {name} {_light(setup)}".replace("  ", " ")


def _light(setup: Setup) -> str:
    return "light unknown" if setup.light_value is None else f"light {decimal(setup.light_value.value)}"


def drift_words(drift: Drift) -> str:
    """How fast, with half of the 95 % interval."""
    low, high = drift.interval
    return f"drift {signed(drift.slope, 2)} ±{decimal((high - low) / 2, 2)}/10 min"


def _drift(drift: Drift) -> str:
    """How fast, and when it leaves the tolerance."""
    minutes = drift.leaves_in_s / 60
    leaves = "outside" if not minutes else f"{minutes:.0f} min left" if minutes < 100 else ""
    return f"{drift_words(drift)}{' ' if leaves else ''}{leaves}"


def _match(match: Match, tolerance_stops: float, palette: Palette) -> Text:
    """How the frame matches the pinned one; a word where it does."""
    right = abs(match.offset_stops) <= tolerance_stops
    about = "" if match.measured else "about "
    told = ((_CHANNELS.get(each), stops) for each, stops in match.channel_stops.items())
    colours = [f"{name} {signed(stops, 2)}" for name, stops in told if name]
    return Text.assemble(
        f" to match #{match.frame}: ",
        (f"{about}{signed(match.offset_stops, 2)} stops", "bold" if right else f"bold {palette.attention}"),
        f"{', ' if colours else ''}{' '.join(colours)}, highlights {signed(match.highlights)}, "
        f"shadows {signed(match.shadows)}",
    )
