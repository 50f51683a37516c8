"""The sheet of what if: one setting moved in thought, and what the newest frame would read then."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from rich.text import Text

from tetherwatch.advise.records import Call, Plan
from tetherwatch.advise.whatif import Tried
from tetherwatch.advise.words import name as setting_name
from tetherwatch.exposure.dial import Dial
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness
from tetherwatch.meter.records import Aim, Reading
from tetherwatch.screen.block import Block, block, fold
from tetherwatch.screen.levers import range_words
from tetherwatch.screen.offset import Scale, offset_style
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.told import by_importance, finding_text
from tetherwatch.screen.words import CHANNEL_LETTERS, percent, percent_number, signed, tried_offset_words, value_words
from tetherwatch.session.records import FrameRecord, SessionView
from tetherwatch.text import display_name

TRIABLE = (*CAMERA_SETTINGS, Setting.LIGHT)
_LIGHT_STEP_STOPS = 0.3
_MOST_STOPS = 8.0
"""How far a setting may be tried whose place on its dial is not known."""

_AIRY_HEIGHT = 20
_NAME_CELLS = 11


@dataclass(frozen=True, slots=True)
class Trial:
    """A setting and how many steps of its dial it is moved; positive steps are brighter."""

    setting: Setting
    steps: int = 0

    def stops(self, plan: Plan) -> float:
        """The move in stops."""
        return self.steps * _step_stops(self.setting, plan)

    def stepped(self, steps: int, settings: Settings, plan: Plan) -> "Trial":
        """So many steps further, as far as the dial goes."""
        darkest, brightest = _reach(self.setting, settings, plan)
        return replace(self, steps=min(max(self.steps + steps, darkest), brightest))


def first_trial(call: Call) -> Trial:
    """The setting to begin with: that of the call, where it can be tried."""
    return Trial(call.setting if call.setting in TRIABLE else Setting.ISO)


def trial_sheet(
    trial: Trial, view: SessionView, outcome: Tried | str, palette: Palette, width: int, height: int
) -> Block:
    """The choice of settings, the move, and its outcome, or in words why there is none; then the keys."""
    frame = view.frames[-1]
    gap = [Text()] if height >= _AIRY_HEIGHT else []
    lines = [_title(frame, palette), *gap, _choice(trial), *gap]
    if isinstance(outcome, str):
        lines += (Text(f" {line}") for line in fold(display_name(outcome), width - 2))
    else:
        lines += [_move(trial, frame, view.plan, outcome), *gap]
        lines += [
            *_offset(outcome, view.plan.aim, palette, width),
            *gap,
            *_costs(frame, view.plan, outcome, palette, width),
        ]
    keys = Text(" escape back   up brighter, down darker   s a i l or left, right choose", palette.quiet)
    return Block((*block(lines, width, height - 1).lines, *block([keys], width, 1).lines), width)


def _step_stops(setting: Setting, plan: Plan) -> float:
    return _LIGHT_STEP_STOPS if setting is Setting.LIGHT else plan.step.stops


def _reach(setting: Setting, settings: Settings, plan: Plan) -> tuple[int, int]:
    """Steps to both ends of the dial, darkest (not positive) first."""
    value = settings.get(setting) if setting in CAMERA_SETTINGS else None
    if value is None:
        most = int(_MOST_STOPS / _step_stops(setting, plan))
        return -most, most
    dial = Dial(setting, plan.step)
    here = dial.nearest(brightness(setting, value))
    return dial.positions[0] - here, dial.positions[-1] - here


def _title(frame: FrameRecord, palette: Palette) -> Text:
    name, reading = display_name(frame.capture.path.name, limit=40), frame.reading
    now = f"   {name} reads {signed(reading.offset_stops, 2)} stops ±{reading.uncertainty_stops:.2f}"
    return Text.assemble((" What if", "bold"), (now, palette.quiet))


def _choice(trial: Trial) -> Text:
    line = Text(" ")
    for setting in TRIABLE:
        here = setting is trial.setting
        line.append(f"{'>' if here else ' '} {setting_name(setting)} ", "bold reverse" if here else "none")
        line.append("  ")
    return line


def _move(trial: Trial, frame: FrameRecord, plan: Plan, tried: Tried) -> Text:
    stops = f"{signed(tried.moves[trial.setting])} stops" if trial.steps else "not moved"
    if trial.setting is Setting.LIGHT:
        return Text(f" light   {stops}", "bold")
    start, end = (value_words(trial.setting, at.get(trial.setting), plan.step) for at in (_now(frame), tried.settings))
    places = f"{start} → {end}" if trial.steps else start
    return Text(f" {setting_name(trial.setting)} {places}   {stops}", "bold")


def _now(frame: FrameRecord) -> Settings:
    return frame.metadata.settings


def _offset(tried: Tried, aim: Aim, palette: Palette, width: int) -> list[Text]:
    offset = tried.predicted.offset_stops
    style, scale = offset_style(offset, aim, palette), Scale(width - 4)
    figures = Text.assemble(
        f" {'offset':<{_NAME_CELLS}}",
        (tried_offset_words(tried), f"bold {style}"),
        f"   {_verdict(tried)}",
        (f"   tolerance ±{aim.tolerance_stops:.2f}", palette.quiet),
    )
    return [
        figures,
        scale.bar(offset, aim.tolerance_stops, style, palette),
        Text(f"  {scale.numbers()}", palette.quiet),
    ]


def _verdict(tried: Tried) -> str:
    if tried.inside is None:
        return "right or not"
    if tried.inside:
        return "right"
    return "too dark" if tried.predicted.offset_stops < 0 else "too bright"


def _costs(frame: FrameRecord, plan: Plan, tried: Tried, palette: Palette, width: int) -> Iterator[Text]:
    """Clipping, the plan, hazards, and what else is to be known."""
    yield _named("clipped %", _clipped(frame.reading, tried))
    yield _named("in area", f"{percent(tried.predicted.clipped_percent)} clipped")
    yield _plan(plan, tried, palette)
    for finding in by_importance(tried.hazards):
        yield from finding_text(finding, palette, width)
    for note in tried.notes:
        yield from (Text(f" {line}", palette.quiet) for line in fold(f"note: {display_name(note)}", width - 2))


def _clipped(reading: Reading, tried: Tried) -> str:
    now, then = reading.clipped_percent, tried.predicted.clipped_by_channel
    moves = ((CHANNEL_LETTERS[channel], now.get(channel, 0.0), share) for channel, share in then.items())
    return "  ".join(f"{letter} {percent_number(before)} → {percent_number(after)}" for letter, before, after in moves)


def _plan(plan: Plan, tried: Tried, palette: Palette) -> Text:
    if not tried.outside:
        return _named("plan", "inside")
    ranges = {**{setting: plan.allowed(setting) for setting in CAMERA_SETTINGS}, Setting.LIGHT: plan.power}
    stray = ((setting_name(setting), ranges[setting]) for setting in tried.outside)
    words = ", ".join(name if allowed is None else f"{name} is {range_words(allowed, plan)}" for name, allowed in stray)
    return Text.assemble(f" {'plan':<{_NAME_CELLS}}", ("! outside", f"bold {palette.attention}"), f": {words}")


def _named(name: str, words: str) -> Text:
    return Text(f" {name:<{_NAME_CELLS}}{words}")
