"""The sheet of stages: where the time goes between a capture's arrival and its call on the screen."""

from collections.abc import Callable, Mapping, Sequence
from statistics import median

from rich.text import Text

from tetherwatch.screen.block import Block, block, fold
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import UNKNOWN
from tetherwatch.session.records import FrameRecord
from tetherwatch.text import display_name

LOOK_BACK = 20
"""Frames whose median is shown."""

_NAME_CELLS, _FIGURE_CELLS = 15, 12
_STAGES: Mapping[str, tuple[str, Callable[[FrameRecord], float | None]]] = {
    "arrival wait": ("until a worker takes the file", lambda frame: frame.stages.wait_s),
    "decode": ("until pixels and settings are there", lambda frame: frame.stages.decode_s),
    "meter": ("until it is measured", lambda frame: frame.stages.meter_s),
    "advise": ("until the call is known", lambda frame: frame.stages.advise_s),
}


def stages_sheet(
    frames: Sequence[FrameRecord], drawn_s: Mapping[int, float], palette: Palette, width: int, height: int
) -> Block:
    """Milliseconds of each stage for the newest frame, and the median of the last few.

    `drawn_s`: seconds that drawing took, by the frame's number.
    """
    lines = [Text.assemble((" Where the time goes", "bold"), ("   any key goes back", palette.quiet)), Text()]
    if not frames:
        return block([*lines, Text(" There is no capture yet.")], width, height)
    last = frames[-LOOK_BACK:]
    name = display_name(last[-1].capture.path.name, limit=40)
    lines += [Text(f" {name}, and the median of the last {len(last)}, in milliseconds"), Text()]
    for stage, (meaning, seconds) in _STAGES.items():
        lines.append(_line(stage, meaning, [seconds(frame) for frame in last], palette))
    drawn = [drawn_s.get(frame.number) for frame in last]
    lines += [_line("draw", "until it is on the screen", drawn, palette), Text()]
    lines += [Text(f" {line}", palette.quiet) for line in fold(_NOTE, width - 2)]
    return block(lines, width, height)


_NOTE = (
    "A capture waits from its file's last change until that has been left alone for a moment; its first look does not."
)


def _line(stage: str, meaning: str, seconds: Sequence[float | None], palette: Palette) -> Text:
    timed = [each for each in seconds if each is not None]
    return Text.assemble(
        (f" {stage:<{_NAME_CELLS}}", "bold"),
        f"{_ms(seconds[-1]):>{_FIGURE_CELLS}}{_ms(median(timed) if timed else None):>{_FIGURE_CELLS}}",
        (f"   {meaning}", palette.quiet),
    )


def _ms(seconds: float | None) -> str:
    if seconds is None:
        return UNKNOWN
    return f"{1000 * seconds:.1f}" if seconds < 0.01 else f"{1000 * seconds:.0f}"
