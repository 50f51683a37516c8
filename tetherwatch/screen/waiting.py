"""What is shown before the first capture: where it is awaited, under which plan, and what to do."""

from rich.text import Text

from tetherwatch.advise.records import Allowed, Plan
from tetherwatch.advise.words import name as setting_name
from tetherwatch.exposure.stops import CAMERA_SETTINGS
from tetherwatch.screen.block import Block, block
from tetherwatch.screen.levers import range_words
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import keep_end, value_words
from tetherwatch.session.records import SessionView
from tetherwatch.text import display_name


def waiting_panel(view: SessionView, palette: Palette, width: int, height: int) -> Block:
    """The folder, the plan, the settings to start from, and the next step."""
    away = view.health is not None and not view.health.here
    step = (
        "Bring the folder back; watching goes on by itself." if away else "Set the camera to manual and take a frame."
    )
    rows = [
        Text(" Waiting for the first capture", f"bold {palette.right}"),
        Text(),
        _named("folder", keep_end(display_name(view.folder), width - 11), palette),
        _named("plan", display_name(view.plan.name), palette),
        Text(),
        *(_lever(view.plan.allowed(setting), view.plan, palette) for setting in CAMERA_SETTINGS),
        *([] if view.plan.power is None else [_lever(view.plan.power, view.plan, palette)]),
        Text(),
        Text(f" {step}"),
    ]
    return block(rows, width, height)


def _lever(allowed: Allowed, plan: Plan, palette: Palette) -> Text:
    start = f"start at {value_words(allowed.setting, allowed.start, plan.step)}"
    return _named(setting_name(allowed.setting), f"{start:<18}{range_words(allowed, plan)}", palette)


def _named(name: str, words: str, palette: Palette) -> Text:
    return Text.assemble((f" {name:<9}", palette.quiet), words)
