"""The sheet that shows where the time goes."""

from dataclasses import replace

import screen_records as made

from tetherwatch.screen.palette import choose
from tetherwatch.screen.stages import LOOK_BACK, stages_sheet
from tetherwatch.session.records import FrameRecord
from tetherwatch.watch.stages import Stages

PALETTE = choose({}, None)


def _frame(number: int, decode_s: float | None) -> FrameRecord:
    return replace(made.frame(number), stages=Stages(0.4, decode_s, 0.02, 0.0015))


def _rows(frames: list[FrameRecord], drawn: dict[int, float], width: int = 80) -> dict[str, list[str]]:
    """The first two figures of each stage, by its name."""
    lines = stages_sheet(frames, drawn, PALETTE, width, 24).lines
    assert all(line.cell_len == width for line in lines)
    return {line.plain[1:16].strip(): line.plain[16:40].split() for line in lines}


def test_each_stage_shows_the_newest_frame_and_the_median() -> None:
    """Figures are milliseconds: of the newest frame first, then the median of the frames shown."""
    rows = _rows([_frame(1, 0.1), _frame(2, 0.3), _frame(3, 0.05)], {1: 0.03, 3: 0.02})
    assert rows["arrival wait"] == ["400", "400"]
    assert rows["decode"] == ["50", "100"]
    assert rows["advise"] == ["1.5", "1.5"]
    assert rows["draw"] == ["20", "25"]


def test_frames_long_ago_do_not_count() -> None:
    """The median is that of the last few frames only."""
    slow = [_frame(number, 9.0) for number in range(1, 100)]
    rows = _rows([*slow, *(_frame(100 + number, 0.05) for number in range(LOOK_BACK))], {})
    assert rows["decode"] == ["50", "50"]


def test_what_was_not_timed_is_unknown() -> None:
    """A frame recalled from an older session has no times, and none are made up."""
    rows = _rows([_frame(1, 0.1), _frame(2, None)], {})
    assert rows["decode"] == ["unknown", "100"]
    assert rows["draw"] == ["unknown", "unknown"]


def test_before_the_first_capture_it_says_so() -> None:
    """Without frames there is one line in place of the figures."""
    shown = stages_sheet((), {}, PALETTE, 60, 16)
    assert "There is no capture yet." in "\n".join(line.plain for line in shown.lines)
