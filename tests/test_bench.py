"""The parts of the bench compute what they say."""

import io
import json
import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import bench
import psutil
import pytest
from benchmarks import judged, loop, memory, pairs, program, reading, sessions, shoot, studio, truth
from benchmarks.captures import make_captures
from benchmarks.machine import machine, peak_mib
from benchmarks.rows import Row, Rows, as_object, median_row, table
from benchmarks.run import PARTS, run
from rich.console import Console

from tetherwatch.advise.library import load_plan
from tetherwatch.exposure.stops import Setting
from tetherwatch.meter.records import BINS_PER_STOP
from tetherwatch.rehearse.options import START
from tetherwatch.rehearse.session import Truth

SCRIPTS = Path(__file__).resolve().parent.parent / "scripts"

MISSED = Row("slow", 2.0, "x", at_most=1.15)
KEPT = Row("fast", 1.0, "x", at_most=1.15)
BARE = Row("seen", 7.0, "ms", 5.0, 9.0)
CARD = load_plan("studio-card")
RIGHT = Truth("a.DNG", "", 0.0, -5.0, START, True, 1, {})
BRIGHTER = {"kind": "brighter", "setting": "iso", "move_stops": 1.0, "left_stops": 0.0}
HOLD = {"kind": "hold", "setting": None, "move_stops": 0.0, "left_stops": 0.0}


def session(*frames: tuple[float, float, dict[str, object]]) -> loop.Played:
    """A played session from offset, light and call of each frame."""
    shots = (loop.Shot(replace(RIGHT, offset_stops=o, light_stops=light), call) for o, light, call in frames)
    return loop.Played(CARD, tuple(shots))


@pytest.mark.parametrize(
    ("row", "held"),
    [
        (MISSED, False),
        (KEPT, True),
        (BARE, None),
        (Row("", 99.0, "%", at_least=99), True),
        (Row("", 98.9, "%", at_least=99), False),
        (Row("", float("nan"), "%", at_least=99), False),
    ],
)
def test_a_limit_is_held_or_missed(row: Row, held: bool | None) -> None:
    """The limit itself still holds; a row without one says neither; what is no number is a miss."""
    assert row.held is held


def test_repeats_are_summed_up_by_their_median_and_range() -> None:
    """One slow outlier moves the spread, not the value."""
    assert median_row("f", [3.0, 1.0, 50.0], "ms", at_most=4) == Row("f", 3.0, "ms", 1.0, 50.0, at_most=4)


def test_the_table_and_the_json_tell_the_same() -> None:
    """A missed limit is marked in the table; JSON carries the row with its part."""
    console = Console(width=100, record=True, file=io.StringIO())
    console.print(table("reading", (MISSED, KEPT, BARE)))
    slow, fast, seen = (line for line in console.export_text().splitlines() if " x " in line or " ms " in line)
    assert "MISSED" in slow and "<= 1.15" in slow
    assert "yes" in fast
    assert "5 .. 9" in seen and "MISSED" not in seen and "yes" not in seen
    assert json.loads(json.dumps(as_object("reading", MISSED)))["held"] is False


@pytest.mark.parametrize(("rows", "code"), [((KEPT, BARE), 0), ((KEPT, MISSED), 1)])
def test_a_missed_limit_is_the_exit_code(rows: Rows, code: int, tmp_path: Path) -> None:
    """Running returns 1 if any limit was missed, and writes rows and machine as JSON."""
    file = tmp_path / "rows.json"
    assert run(["some"], True, file, {"some": lambda quick: rows if quick else ()}) == code
    written = json.loads(file.read_text("utf-8"))
    assert [row["figure"] for row in written["rows"]] == [row.figure for row in rows]
    assert set(written["machine"]) == set(machine())


def test_the_command_line_knows_the_parts() -> None:
    """The names it offers are those that can be run, and any other is refused."""
    assert tuple(PARTS) == bench.PART_NAMES
    command = [sys.executable, str(SCRIPTS / "bench.py"), "--only", "dance"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "'dance'" in done.stderr


@pytest.mark.parametrize("bare_first", [True, False])
def test_pairs_alternate_but_keep_their_order(bare_first: bool) -> None:
    """Whichever runs first, the bare time comes first in the pair."""
    ran: list[str] = []
    bare_s, full_s = pairs.alternated(
        lambda: ran.append("bare"), lambda: ran.append(f"full {sum(range(2_000_000))}"), bare_first
    )
    assert (ran[0] == "bare") is bare_first
    assert bare_s < full_s


def test_reading_is_set_against_unpacking_pair_by_pair() -> None:
    """Ratios are taken inside a pair, so a machine that slows down between pairs changes none."""
    times = {"unpack": [1.0, 3.0], "reading": [1.1, 3.3], "naive": [8.8]}
    assert reading.ratios(times) == pytest.approx([1.1, 1.1])
    naive, *two = reading.rows_of("x", times, times, 1.05, 4.5)[:3]
    assert [row.held for row in two] == [False, False]
    assert (naive.value, naive.held) == (pytest.approx(4.0), False)


def test_a_process_of_its_own_times_real_readings(tmp_path: Path) -> None:
    """Each pair and each naive run gives one time."""
    (path,) = make_captures(tmp_path, 0.1)
    times = reading.time_pairs(path, "card", 3, 1)
    assert {name: len(values) for name, values in times.items()} == {"unpack": 3, "reading": 3, "naive": 1}
    assert all(value > 0 for values in times.values() for value in values)


def test_truth_is_met_by_both_sources_over_the_range() -> None:
    """A few frames of the real part: both sources, offsets in range, errors under the limits."""
    measured = truth.samples(6, seed=3)
    assert [sample.source for sample in measured] == ["raw", "jpeg"] * 6
    offsets = {sample.offset_stops for sample in measured}
    assert len(offsets) == 6
    assert all(truth.OFFSETS[0] <= offset <= truth.OFFSETS[1] for offset in offsets)
    assert all(row.held is not False for row in truth.rows_of(measured))


def test_a_clipped_card_is_counted_apart() -> None:
    """A frame whose card is clipped is left out of the errors."""
    measured = [truth.Sample(source, 0.5, 0.01, clipped=False) for source in truth.AT_MOST]
    measured.append(truth.Sample("jpeg", 1.9, -1.0, clipped=True))
    rows = {row.figure: row.value for row in truth.rows_of(measured)}
    assert rows["jpeg: worst error of 1 frames, -3 to +2 stops"] == 0.01
    assert rows["jpeg: frames left out because the card is clipped"] == 1


def test_the_lights_own_change_is_no_fault_of_a_call() -> None:
    """A landing is judged as if the light had stayed; a lamp moved by the call has not changed by itself."""
    dusk = session((-1.0, -5.0, BRIGHTER), (-0.5, -5.5, HOLD))
    assert [landing.after_stops for landing in loop.landings(dusk)] == [0.0]
    lamp = session((-1.0, -5.0, {**BRIGHTER, "setting": "light"}), (0.3, -4.0, HOLD))
    assert [(landing.after_stops, landing.landed) for landing in loop.landings(lamp)] == [(0.3, False)]


def test_only_whole_moves_on_wrong_frames_are_needs() -> None:
    """A right frame, a call that leaves stops over and a call that moves nothing are not counted."""
    over = {**BRIGHTER, "left_stops": 0.5}
    played = session((0.1, -5.0, BRIGHTER), (-1.0, -5.0, over), (-1.0, -5.0, HOLD), (-1.0, -5.0, {}))
    assert list(loop.landings(played)) == []
    rows = {row.figure: row.held for row in loop.loop_rows([played])}
    assert rows["hold called on two such frames in a row"] is True
    held = session((-1.0, -5.0, HOLD), (-1.0, -5.0, HOLD), (-1.0, -5.0, {}))
    assert {row.figure: row.held for row in loop.loop_rows([held])}["hold called on two such frames in a row"] is False
    assert rows["1 sessions: inside tolerance after one move, of 0 needs"] is False


def test_a_move_called_on_a_misfire_is_a_miss() -> None:
    """The first frame of a session is left out: its light is not known yet."""
    dark = loop.Shot(replace(RIGHT, odd="misfire"), BRIGHTER)
    fine = loop.Shot(RIGHT, HOLD)
    row, back = loop.misfire_rows([loop.Played(CARD, (dark, fine, dark, fine))])
    assert (row.figure, row.value, row.held) == ("moves called on 1 misfires and other odd frames", 1, False)
    assert (back.value, back.held) == (0, True)


@pytest.mark.parametrize(("frames_between", "count"), [(0, 1), (2, 1), (3, 0)])
def test_a_call_taken_back_is_counted(frames_between: int, count: int) -> None:
    """A move and its opposite within three frames are a defect, further apart they are not."""
    between = (loop.Shot(RIGHT, HOLD),) * frames_between
    shots = (loop.Shot(RIGHT, BRIGHTER), *between, loop.Shot(RIGHT, {**BRIGHTER, "kind": "darker"}))
    assert loop.taken_back(loop.Played(CARD, shots)) == count


@pytest.mark.parametrize(("scene", "light"), loop.SCENES[:2])
def test_a_session_is_metered_called_and_followed(scene: loop.SceneName, light: loop.LightKind, tmp_path: Path) -> None:
    """The real loop lands the first wrong frame in one move, and the last frame has no call."""
    played = loop.play(tmp_path / "captures", scene, light, seed=4)
    assert len(played.shots) == loop.FRAMES[scene] - 1
    assert [landing.landed for landing in loop.landings(played)] == [True]
    assert played.shots[-1].call == {}
    assert list(loop.followed(played)) == [True]


def test_peak_memory_is_that_of_the_process_itself() -> None:
    """The peak is at least what the process has now (give or take a page), in MiB."""
    here = psutil.Process()
    assert peak_mib(here) > 0.9 * here.memory_info().rss / 2**20


def test_memory_is_held_against_the_largest_worker_and_the_daemon() -> None:
    """Each has its limit; idle workers are only reported."""
    rows = memory.rows_of(50, before=50.0, after=160.0, workers=[100.0, 195.0], of_jpeg=201.0)
    assert [(row.value, row.held) for row in rows[:4]] == [(195.0, True), (201.0, False), (50.0, True), (160.0, False)]
    assert [row.value for row in rows[4:]] == [355.0, 455.0]


@pytest.mark.parametrize(("level", "width"), [(-6.0, 0.1), (0.0, 0.1), (0.0, 1.4), (2.5, 0.9), (4.0, 0.5)])
def test_simulated_tones_have_the_level_they_were_made_for(level: float, width: float) -> None:
    """The mean light of the histogram is what the closed form says, clipped light counting as saturation."""
    tones = studio.tones(level, width, 1_000_000)
    light = tones.clipped + sum(n * 2.0 ** (-(k + 0.5) / BINS_PER_STOP) for k, n in enumerate(tones.counts))
    assert tones.total == 1_000_000
    measured = math.log2(light / tones.total) + studio.GREY_BELOW_STOPS
    assert measured == pytest.approx(studio.metered(level, width), abs=0.01)
    assert measured <= level + 0.01


def test_simulated_light_adds_and_only_its_own_part_is_turned() -> None:
    """Half flash, half lamps: a stop less time takes the lamps' half, turning the flash off leaves it."""
    light = studio.Light.giving("mixed", START, 0.0, 0.5)
    assert light.level(START) == pytest.approx(0.0)
    faster = START.with_value(Setting.SHUTTER, 2.0**-9)
    assert light.level(faster) == pytest.approx(math.log2(0.75))
    assert light.without_flash().level(START) == pytest.approx(-1.0)
    assert light.turned(1.0).level(START) == pytest.approx(math.log2(1.5))
    assert light.changed(1.0).level(START) == pytest.approx(1.0)


def test_a_simulated_session_is_the_same_for_a_seed() -> None:
    """Light, oddities, settings and calls are all drawn from the seed."""
    one, other, third = shoot.play(5), shoot.play(5), shoot.play(6)
    assert one == other
    assert one.shots != third.shots
    assert len(one.shots) == shoot.FRAMES


def simulated(*frames: tuple[float, str]) -> shoot.Played:
    """An exact session under one light from the truth and the call of each frame."""
    played = next(session for session in map(shoot.play, range(99)) if judged.is_exact(session))
    first = replace(played.shots[0], odd=None, hidden=False, obeyed=True)
    shots = []
    for number, (off, kind) in enumerate(frames):
        call = replace(first.record.call, kind=kind)  # type: ignore[arg-type]
        record = replace(first.record, number=number, call=call)
        area = off + played.cast.plan.aim.from_grey_stops
        shots.append(replace(first, record=record, same_light=number > 0, exposed=studio.Exposed(area, area)))
    return replace(played, shots=tuple(shots))


@pytest.mark.parametrize(
    ("kinds", "count"),
    [
        (("brighter", "darker"), 1),
        (("brighter", "hold", "hold", "darker"), 1),
        (("brighter", "hold", "hold", "hold", "darker"), 0),
        (("brighter", "brighter"), 0),
        (("darker", "check", "brighter"), 1),
    ],
)
def test_a_call_taken_back_within_three_frames_is_counted(kinds: tuple[str, ...], count: int) -> None:
    """Whatever is called in between; a change of light in between makes it another matter."""
    session = simulated(*((0.0, kind) for kind in kinds))
    assert len(list(judged.flutters(session))) == count
    changed = [*session.shots[:-1], replace(session.shots[-1], same_light=False)]
    assert list(judged.flutters(replace(session, shots=tuple(changed)))) == []


def test_a_move_on_an_odd_frame_is_counted_once() -> None:
    """On the frame itself, and apart where a change asked for may explain the frame."""
    session = simulated((0.0, "hold"), (-3.0, "brighter"))
    odd = replace(session.shots[1], odd="blocked light")
    seen, hidden = (replace(session, shots=(session.shots[0], replace(odd, hidden=h))) for h in (False, True))
    assert (judged.wrong_moves(seen), judged.hidden_moves(seen)) == (1, 0)
    assert (judged.wrong_moves(hidden), judged.hidden_moves(hidden)) == (0, 1)


def test_only_moves_that_lead_away_are_worse() -> None:
    """From a stop too dark to two too bright is worse; what is called does not matter, only where it led."""
    assert judged.worsened(simulated((-1.0, "brighter"), (2.0, "hold"))) == 1
    assert judged.worsened(simulated((-1.0, "brighter"), (0.9, "hold"))) == 0
    assert judged.worsened(simulated((-1.0, "hold"), (2.0, "hold"))) == 0


def test_simulated_sessions_are_judged_and_told() -> None:
    """A few of the real part: no setting leaves its range, signs are right, and a story has a line for each frame."""
    played = [shoot.play(seed) for seed in range(12)]
    rows = {row.figure: row for row in sessions.rows_of(played)}
    for figure, _ in sessions.NEVER[2:]:
        assert rows[figure].held
    assert any(row.figure.startswith("mixed: ") for row in rows.values())
    assert len(sessions.story(played[0]).splitlines()) == 1 + shoot.FRAMES


def test_a_real_watch_plays_a_session(tmp_path: Path) -> None:
    """Every frame of a session through the whole program has its call, and the predictions come true."""
    watched = program.watched(tmp_path / "captures", seed=0)
    assert len(watched.played.shots) == program.FRAMES
    rows = program.rows_of([watched])
    assert [row.figure for row in rows if row.held is False] == []
    assert list(program.errors_of(watched))
