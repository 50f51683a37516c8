"""The dashboard as a whole: every size is filled exactly and says what matters, without colour."""

import io
import re
from dataclasses import replace
from pathlib import Path

import pytest
import screen_records as made
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console

from tetherwatch.advise.records import CallKind, Finding
from tetherwatch.exposure.settings import Settings
from tetherwatch.screen.layout import LEAST_HEIGHT, LEAST_WIDTH, Scene, dashboard, share
from tetherwatch.screen.palette import DARK, PLAIN, Palette
from tetherwatch.session.records import SessionView
from tetherwatch.watch.records import Health, Problem

_MANY = made.many_frames(200)
_HOSTILE_NAME = Path(made.HOSTILE)


def _hostile_view() -> SessionView:
    record = made.frame(name=made.HOSTILE, notes=(made.HOSTILE,), findings=(Finding(made.HOSTILE, made.HOSTILE),))
    record = replace(
        record,
        metadata=replace(record.metadata, camera=made.HOSTILE),
        call=replace(record.call, reason=made.HOSTILE, from_label=made.HOSTILE, to_label=made.HOSTILE),
    )
    return made.view(
        record,
        folder=_HOSTILE_NAME,
        plan=made.plan(name=made.HOSTILE, notes=(made.HOSTILE,)),
        problems=(Problem(_HOSTILE_NAME, made.HOSTILE, made.HOSTILE),),
        health=Health(_HOSTILE_NAME, False, "polling", 12345, None),
    )


VIEWS = {
    **{kind: made.view(made.frame(call=call)) for kind, call in made.CALLS.items()},
    "light": made.view(made.frame(call=made.LIGHT_CALL)),
    "unknown": made.view(made.frame(call=made.UNKNOWN_CALL, settings=Settings())),
    "mono": made.view(made.frame(measured=made.reading(0.1, ("y",)))),
    "no tones": made.view(made.frame(measured=made.reading(0.1, ()))),
    "many": made.view(*_MANY, problems=(made.PROBLEM,)),
    "none": made.view(),
    "no health": made.view(health=None),
    "hostile": _hostile_view(),
    "no picture": made.view(made.frame(thumbnail=replace(made.thumbnail(), width=0, height=0, rgb=b"", clipped=b""))),
    "told": made.view(made.frame(findings=made.FINDINGS, landing=made.LANDING), score=made.SCORE),
    "told with a problem": made.view(made.frame(findings=made.FINDINGS), problems=(made.PROBLEM,)),
    "power": made.view(made.frame(call=made.POWER_CALL), plan=made.plan(light="flash", power=made.POWER)),
    "compensation": made.view(made.frame(call=made.COMPENSATION_CALL)),
    "everything": made.view(
        made.frame(
            call=replace(made.POWER_CALL, reason="Long reason " * 30),
            findings=made.FINDINGS * 3,
            landing=made.LANDING,
        ),
        plan=made.plan(power=made.POWER),
        problems=(made.PROBLEM,),
        score=made.SCORE,
    ),
    "far off": made.view(made.frame(measured=made.reading(-9.0, headroom_stops=0.0, light_value=None))),
}


def drawn(view: SessionView, width: int, height: int, palette: Palette = PLAIN, **scene: object) -> list[str]:
    """The dashboard's lines without styles."""
    block = dashboard(Scene(view, palette, made.NOW, **scene), width, height)  # type: ignore[arg-type]
    return [line.plain for line in block.lines]


@given(st.sampled_from(sorted(VIEWS)), st.integers(1, 220), st.integers(1, 70), st.sampled_from([PLAIN, DARK]))
def test_any_window_is_filled_exactly(name: str, width: int, height: int, palette: Palette) -> None:
    """Whatever the records and the size, there are as many lines as rows and each is as wide as the window."""
    lines = drawn(VIEWS[name], width, height, palette)
    assert len(lines) == height
    assert {cell_len(line) for line in lines} == {width}


@given(st.integers(1, 220), st.integers(1, 70))
def test_no_control_character_of_the_data_survives(width: int, height: int) -> None:
    """Escape codes, newlines and direction marks in names arrive spelled out."""
    text = "".join(drawn(VIEWS["hostile"], width, height))
    assert not re.search(r"[\x00-\x1f\x7f-\x9f\u202e\u200d]", text)


def test_brackets_in_names_are_shown_as_they_are() -> None:
    """Names are not read as markup."""
    assert "[bold]b[/bold]" in "\n".join(drawn(VIEWS["hostile"], 160, 40))


@pytest.mark.parametrize("kind", list(made.CALLS))
@given(width=st.integers(LEAST_WIDTH, 220), height=st.integers(LEAST_HEIGHT, 70))
def test_everything_that_matters_is_in_the_text(kind: CallKind, width: int, height: int) -> None:
    """Without any colour the call, its reason, the file, the offset, the source and the settings can be read."""
    text = "\n".join(drawn(VIEWS[kind], width, height))
    call = made.CALLS[kind]
    words = [kind.upper(), "RHS_0012.DNG", "-1.02 stops", "reading: raw", "1/250", "f/2.8", "400", "locked at 1/250"]
    words += [call.reason.split()[0], call.from_label or "", call.to_label or ""]
    words += [call.setting.value] if call.setting and call.setting != "iso" else []
    for word in words:
        assert word in text


@pytest.mark.parametrize(("width", "height"), [(80, 24), (100, 30), (200, 50)])
def test_the_usual_windows_show_the_clipping_of_each_channel(width: int, height: int) -> None:
    """From 80x24 on the tones are shown, one row or more for each channel by its letter."""
    text = "\n".join(drawn(VIEWS["brighter"], width, height))
    for letter, share_of in (("R", "0.00"), ("G", "0.05"), ("B", "0.10")):
        assert re.search(rf"^ {letter} .*{share_of} % clipped", text, re.MULTILINE)
    assert "1.4 stops headroom" in text
    assert "1.20 % crushed" in text


@pytest.mark.parametrize(("width", "height"), [(100, 30), (200, 50), (80, 50)])
def test_larger_windows_add_trend_and_picture(width: int, height: int) -> None:
    """Where there is room the last frames and the picture appear."""
    text = "\n".join(drawn(VIEWS["many"], width, height))
    assert "┌┐ metered area" in text
    assert "+2.0" in text


@given(st.integers(1, LEAST_WIDTH - 1), st.integers(8, 70))
def test_a_window_too_small_says_so_and_still_gives_the_call(width: int, height: int) -> None:
    """Below the least size the call's line stays and the size to take is named, as far as it fits."""
    lines = drawn(VIEWS["brighter"], max(width, 24), max(height, 12))
    assert "BRIGHTER" in lines[0]
    assert f"{LEAST_WIDTH}x{LEAST_HEIGHT}" in "".join(lines)


def test_before_the_first_capture_the_folder_plan_and_next_step_are_shown() -> None:
    """The waiting screen says what is watched, under which plan, and what to do."""
    text = "\n".join(drawn(VIEWS["none"], 80, 24))
    for words in ("Waiting for the first capture", "Ines Okafor", "Portrait by the window", "take a frame", "1/250"):
        assert words in text


def test_an_absent_folder_is_said_on_the_waiting_screen() -> None:
    """When the folder is away the waiting screen asks for it."""
    away = made.view(health=Health(Path("/x"), False, "polling", 0, None))
    text = "\n".join(drawn(away, 80, 24))
    assert "FOLDER AWAY" in text
    assert "Bring the folder back" in text


def test_a_pause_names_the_frames_held_back() -> None:
    """The header says that the picture is frozen, how many frames are newer, and still the source."""
    first = drawn(VIEWS["brighter"], 80, 24, newer=3)[0]
    assert "PAUSED, 3 newer" in first
    assert "reading: raw" in first


def test_estimates_are_called_estimates() -> None:
    """A JPEG or preview reading is labelled as an estimate at every size, a provisional one as a first look."""
    jpeg = made.view(made.frame(measured=made.reading(source="jpeg")))
    preview = made.view(made.frame(measured=made.reading(source="preview", provisional=True)))
    for width, height in ((60, 16), (80, 24), (200, 50)):
        assert "JPEG estimate" in drawn(jpeg, width, height)[0]
        assert "preview estimate, first look" in drawn(preview, width, height)[0]


def test_unknown_settings_and_light_are_said() -> None:
    """A capture without settings shows "unknown", not zero."""
    text = "\n".join(drawn(VIEWS["unknown"], 80, 24))
    assert len(re.findall(r"(shutter|aperture|ISO) +unknown", text)) >= 3
    assert "room unknown" in text
    assert "light unknown" in "\n".join(drawn(VIEWS["far off"], 80, 24))


def test_notes_of_frame_and_plan_are_shown_where_there_is_room() -> None:
    """Sentences that decoder and plan attach appear at the bottom, each once."""
    frame = made.frame(notes=("Read from the preview.",), measured=made.reading(notes=("Read from the preview.",)))
    text = "\n".join(drawn(made.view(frame, plan=made.plan(notes=("ISO 3200 assumed.",))), 200, 50))
    assert text.count("note: Read from the preview.") == 1
    assert "note: ISO 3200 assumed." in text


@pytest.mark.parametrize(("width", "height"), [(80, 24), (100, 30), (200, 50)])
def test_the_most_important_finding_and_the_landing_are_shown(width: int, height: int) -> None:
    """From 80x24 on the first finding stands by its kind, the others are shown or counted, and the landing is told."""
    text = "\n".join(drawn(VIEWS["told"], width, height))
    assert "! sync: 1/400 is faster than sync speed 1/200" in text
    assert "! diffraction: " in text or re.search(r"\+[12] more \s*$", text, re.MULTILINE)
    assert f"landed: ISO, {'off by +0.03' if width == 80 else 'predicted +0.02, is +0.05'}" in text
    assert ("calls landed: 3, median 0.03, worst 0.11 off" in text) == (width == 200)


@pytest.mark.parametrize("name", ["told", "told with a problem", "power", "compensation"])
@given(width=st.integers(80, 220), height=st.integers(24, 70))
def test_what_is_told_does_not_push_out_the_call(name: str, width: int, height: int) -> None:
    """From 80x24 on, whatever else is told, the call is large and the tones are there."""
    lines = drawn(VIEWS[name], width, height)
    text = "\n".join(lines)
    assert "BRIGHTER" in text and "next frame " in text
    assert sum("█" in line for line in lines[: height // 2]) >= 5
    assert text.count("% clipped") >= 3


@given(width=st.integers(80, 220), height=st.integers(24, 70))
def test_a_finding_and_a_problem_are_both_told(width: int, height: int) -> None:
    """From 80x24 on neither hides the other, also where the reason is long and the light has a row."""
    view = VIEWS["told with a problem"]
    call = replace(made.POWER_CALL, reason="A reason of two lines at eighty columns, as mixed light gives. " * 2)
    crowded = replace(view, frames=(replace(view.frames[0], call=call),), plan=made.plan(power=made.POWER))
    text = "\n".join(drawn(crowded, width, height))
    assert "! sync: " in text and "! RHS_0009.DNG: the file is empty" in text


def test_a_row_is_given_to_the_light_where_the_plan_knows_its_power() -> None:
    """At 80x24 where the light stands, as the calls put it, its range and its room are shown."""
    text = "\n".join(drawn(replace(VIEWS["power"], power=made.POWER.start), 80, 24))
    assert re.search(r"light +~1/8 +free 1/64 to 1/1 +darker -3\.0 +brighter \+3\.0", text)


def test_a_notice_takes_the_place_of_the_keys() -> None:
    """A notice stands in the last line."""
    assert "ISO is locked now" in drawn(VIEWS["hold"], 80, 24, notice="ISO is locked now")[-1]


@given(st.integers(15, 200), st.integers(0, 8), st.integers(0, 2), st.integers(0, 9), st.integers(3, 4))
def test_the_single_column_never_overfills(height: int, reason: int, pressing: int, told: int, levers: int) -> None:
    """Panels of the single column share at most the rows there are."""
    assert sum(share(height, reason, pressing, told, levers).values()) <= height


@pytest.mark.parametrize(("width", "height"), [(80, 24), (100, 30), (200, 50)])
def test_a_long_reason_is_shown_whole(width: int, height: int) -> None:
    """From 80x24 on a reason of three lines keeps its last word."""
    call = replace(made.CALLS["blocked"], reason="Every setting stands at its end " * 6 + "so add light.")
    text = " ".join(drawn(made.view(made.frame(call=call)), width, height))
    assert "so add light." in " ".join(text.split())


def test_a_reason_that_does_not_fit_says_so() -> None:
    """In the smallest window a cut reason ends in an ellipsis."""
    call = replace(made.CALLS["blocked"], reason="Every setting stands at its end " * 6 + "so add light.")
    lines = drawn(made.view(made.frame(call=call)), LEAST_WIDTH, LEAST_HEIGHT)
    assert any(line.rstrip().endswith(" …") and "Every" in line for line in lines)


def test_the_block_prints_as_it_is_on_a_console() -> None:
    """Rich prints the block line for line, without wrapping."""
    output = io.StringIO()
    console = Console(file=output, width=100, color_system=None)
    console.print(dashboard(Scene(VIEWS["hold"], PLAIN, made.NOW), 100, 30))
    assert len(output.getvalue().splitlines()) == 30
