"""The panels one by one: what they draw for given records."""

import re
from dataclasses import replace

import pytest
import screen_records as made
from body_records import BODY
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from tetherwatch.advise.landing import Score
from tetherwatch.advise.levers import room
from tetherwatch.advise.records import Allowed, Call, CallKind, Finding, Predicted
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, value_at
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Aim, Box
from tetherwatch.screen.block import Block
from tetherwatch.screen.call import call_panel
from tetherwatch.screen.header import header_panel
from tetherwatch.screen.health import health_panel
from tetherwatch.screen.letters import BROAD, UPRIGHT, Type, largest
from tetherwatch.screen.levers import levers_panel
from tetherwatch.screen.offset import Scale, offset_panel
from tetherwatch.screen.outlook import outlook_line, promise_words
from tetherwatch.screen.palette import DARK, PLAIN
from tetherwatch.screen.picture import CLIPPED_SIGN, picture_panel
from tetherwatch.screen.told import by_importance, told_lines
from tetherwatch.screen.tones import tones_panel
from tetherwatch.screen.trend import trend_panel
from tetherwatch.screen.words import GLYPHS, age_words, decimal, keep_end, signed


def _text(block: Block) -> str:
    return "\n".join(line.plain for line in block.lines)


@pytest.mark.parametrize(("width", "height"), [(60, 5), (80, 8), (200, 14)])
def test_a_first_look_too_uncertain_to_act_on_gives_no_order(width: int, height: int) -> None:
    """It says about how far off the picture is, how uncertain that is, and nothing that could be followed."""
    looked = made.frame(
        reading=made.reading(-1.02, provisional=True, uncertainty_stops=0.6), call=made.CALLS["brighter"], firm=False
    )
    text = _text(call_panel(looked, Score(), PLAIN, width, height))
    assert "FIRST LOOK" in text
    assert "-1.0" in text
    assert "0.6" in text
    assert "BRIGHTER" not in text
    assert "800" not in text
    assert "BRIGHTER" in _text(call_panel(replace(looked, firm=True), Score(), PLAIN, width, height))


@pytest.mark.parametrize("kind", list(made.CALLS))
def test_the_call_is_five_rows_high_in_the_smallest_usual_window(kind: CallKind) -> None:
    """At 80 columns every call has large type of five rows between its line and its reason."""
    lines = call_panel(made.frame(call=made.CALLS[kind]), Score(), PLAIN, 80, 8).lines
    assert all("█" in line.plain for line in lines[1:6])
    assert made.CALLS[kind].reason.startswith(lines[6].plain.strip())


@pytest.mark.parametrize(
    ("setting", "start", "end"),
    [
        (Setting.SHUTTER, "1/8000", "1/4000"),
        (Setting.APERTURE, "f/11", "f/16"),
        (Setting.ISO, "12800", "25600"),
        (Setting.SHUTTER, "0.5 s", "2 s"),
    ],
)
def test_the_longest_moves_still_show_from_to_and_stops_large(setting: Setting, start: str, end: str) -> None:
    """The widest labels of each dial fit the large type at 80 columns together with the stops."""
    move = f"{start} → {end} +1.0"
    assert largest([move], 78, 6) is not None
    call = replace(made.CALLS["brighter"], setting=setting, from_label=start, to_label=end)
    assert "█" in _text(call_panel(made.frame(call=call), Score(), PLAIN, 80, 8))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (made.POWER_CALL, "LIGHT 1/8 → 1/4 +0.3"),
        (made.COMPENSATION_CALL, "COMPENSATION → +0.7"),
        (replace(made.POWER_CALL, from_label="1/128 +0.3", to_label="1/64 +0.6"), "LIGHT → 1/64 +0.6"),
        (made.LIGHT_CALL, "LIGHT -0.7"),
        (replace(made.UNKNOWN_CALL, to_label=None), "APERTURE +1.0"),
        (made.STRAY_CALL, "CHECK APERTURE"),
    ],
)
def test_a_power_and_compensation_never_go_without_their_name(call: Call, words: str) -> None:
    """At 80 columns: a power looks like a shutter time, compensation like a number of stops."""
    drawn = call_panel(made.frame(call=call), Score(), PLAIN, 80, 8).lines[1:6]
    assert any(
        [f" {line.plain}".rstrip() for line in size.draw(words, "")] == [line.plain.rstrip() for line in drawn]
        for size in (BROAD, UPRIGHT)
    )


@given(st.sampled_from(["compensation", "light"]), st.integers(60, 220))
def test_outlook_words_are_cut_at_a_word_not_in_a_number(kind: str, width: int) -> None:
    """Where the whole line does not fit, a shorter wording of the landing stands; the promise always does."""
    call = made.COMPENSATION_CALL if kind == "compensation" else made.POWER_CALL
    line = outlook_line(made.frame(call=call, landing=made.LANDING), made.SCORE, PLAIN, width).plain
    assert len(line) <= width
    assert line.startswith(" next frame ")
    assert line.endswith(("clipped", "off by +0.03", "is +0.05", "worst 0.11 off"))


def test_a_promise_tells_its_uncertainty_where_there_is_one() -> None:
    """Mixed light leaves the effect of a move uncertain; a lever that acts in full does not."""
    assert promise_words(Predicted(-0.1, 0.2, 0.29)) == "next frame -0.10 ±0.29 stops, 0.20 % clipped"
    assert promise_words(Predicted(-0.001, 0.2)) == "next frame 0.00 stops, 0.20 % clipped"


@given(st.permutations(made.FINDINGS), st.integers(60, 200), st.integers(1, 8))
def test_findings_are_told_in_their_order_and_counted(findings: list[Finding], width: int, height: int) -> None:
    """In any order of arrival the most important comes first; those without a row are counted on the last line."""
    view = made.view(made.frame(findings=tuple(findings)))
    lines = [line.plain for line in told_lines(view, PLAIN, width, height)]
    shown = [kind for line in lines for kind in ("sync", "hand-hold", "diffraction") if line.startswith(f" ! {kind}:")]
    assert shown == ["sync", "hand-hold", "diffraction"][: len(shown)] and shown
    assert len(lines) <= height
    more = re.search(r"\+(\d) more $", lines[-1])
    assert (int(more[1]) if more else 0) == 3 - len(shown)


def test_a_finding_of_a_new_kind_comes_last() -> None:
    """Kinds that nobody ranked do not hide the others."""
    new = Finding("new", "x")
    assert by_importance((new, *made.FINDINGS))[-1] is new


def test_large_type_falls_back_to_the_bold_line() -> None:
    """Where no type fits, the call's bold line and the reason remain."""
    panel = call_panel(made.frame(call=made.CALLS["blocked"]), Score(), PLAIN, 20, 8)
    assert "█" not in _text(panel)
    assert "BLOCKED" in panel.lines[0].plain


@given(st.text(alphabet="0123456789/.+-→f ISOHLDGTMNPRU", min_size=1, max_size=12), st.sampled_from([UPRIGHT, BROAD]))
def test_large_type_is_as_wide_as_measured(words: str, size: Type) -> None:
    """Every row of drawn type has the width that was promised."""
    assert {line.cell_len for line in size.draw(words, "")} == {size.measure(words)}


def test_digits_cannot_be_taken_for_each_other() -> None:
    """All drawn characters differ."""
    shapes = [
        "\n".join(line.plain for line in UPRIGHT.draw(letter, "")) for letter in "0123456789ABCDEGHIKLMNOPRSTUfs/.+-?→"
    ]
    assert len(set(shapes)) == len(shapes)


@given(st.floats(-3, 3), st.floats(-3, 3))
def test_the_scale_keeps_the_order_of_offsets(a: float, b: float) -> None:
    """A larger offset is never drawn further left."""
    scale = Scale(77)
    assert (scale.column(a) <= scale.column(b)) or a > b


@given(st.floats(-12, 12), st.floats(0.01, 2.5), st.integers(20, 200))
def test_the_offset_has_one_marker_and_a_band(offset: float, tolerance: float, width: int) -> None:
    """The scale shows exactly one marker; beyond its ends the marker points outwards."""
    panel = offset_panel(made.reading(offset), Aim(tolerance_stops=tolerance), PLAIN, width, 3)
    bar = panel.lines[1].plain
    marker = "◀" if offset < -3 else "▶" if offset > 3 else "◆"
    assert bar.count(marker) == 1
    assert len(re.findall("[◀▶◆]", bar)) == 1


def test_the_offset_is_right_only_inside_the_tolerance() -> None:
    """Words tell which side the reading lies on."""
    verdicts = [_text(offset_panel(made.reading(stops), Aim(), PLAIN, 80, 3)) for stops in (-0.5, 0.1, 0.5)]
    assert ["too dark" in verdicts[0], "right" in verdicts[1], "too bright" in verdicts[2]] == [True] * 3


def test_levers_tell_range_lock_and_room() -> None:
    """Each setting's row names its value, its range or lock, and the stops left on both sides."""
    shutter, aperture, iso, order = _text(
        levers_panel(Metadata(made.SETTINGS), made.plan(), None, PLAIN, 80, 4)
    ).splitlines()
    assert re.search(r"shutter +1/250 +locked at 1/250 +no room", shutter)
    assert re.search(r"aperture +f/2.8 +free f/5.6 to f/2 +darker -2.0 +brighter \+1.0", aperture)
    assert re.search(r"ISO +400 +free 100 to 3200 +darker -2.0 +brighter \+3.0", iso)
    assert "brighter by ISO, aperture" in order


def test_the_noise_of_a_grey_is_told_where_it_is_known_and_fits() -> None:
    """A measured body tells how clean a mid-grey is at the present ISO; nothing is said beyond what was measured."""
    here, beyond = Metadata(made.SETTINGS), Metadata(replace(made.SETTINGS, iso=51_200.0))
    wide, narrow, unknown = (
        _text(levers_panel(metadata, made.plan(), None, PLAIN, width, 4, BODY))
        for metadata, width in ((here, 100), (here, 60), (beyond, 100))
    )
    assert f"grey SNR about {BODY.grey_snr(400.0):.0f}" in wide
    assert "SNR" not in narrow + unknown


def test_a_promise_tells_the_noise_where_there_is_room() -> None:
    """The prediction with its noise comes first; in a narrow window the noise goes, the promise never."""
    call = made.CALLS["brighter"]
    assert call.predicted is not None
    frame = made.frame(call=replace(call, predicted=replace(call.predicted, grey_snr=6.24)))
    wide, narrow = (outlook_line(frame, Score(()), PLAIN, width).plain for width in (80, 50))
    assert wide.endswith("clipped, grey SNR about 6.2")
    assert narrow.endswith("clipped")


def test_the_header_names_the_body_that_metered() -> None:
    """The profile whose saturation and grey were used stands beside the camera."""
    measured = replace(made.reading(0.0), body="q24\x1b")
    frame = made.frame(measured=measured)
    assert r"body q24\x1b" in _text(header_panel(frame, made.plan(), None, PLAIN, 100, 2))


def test_the_lights_power_has_a_row() -> None:
    """Where the calls put it, marked as reckoned, its range as parts of full power, and its room."""
    light = _text(
        levers_panel(Metadata(made.SETTINGS), made.plan(power=made.POWER), made.POWER.start, PLAIN, 80, 5)
    ).splitlines()[3]
    assert re.fullmatch(r" light +~1/8 +free 1/64 to 1/1 +darker -3\.0 +brighter \+3\.0 *", light)


@pytest.mark.parametrize(
    ("bias", "words"), [(0.0, "at +0.0"), (-0.04, "at +0.0"), (-0.3333, "at -0.3"), (None, "at unknown")]
)
def test_a_camera_that_is_not_manual_is_named(bias: float | None, words: str) -> None:
    """Then the order of the levers gives way to compensation and where it stands."""
    metadata = Metadata(made.SETTINGS, program="aperture priority", bias_stops=bias)
    text = _text(levers_panel(metadata, made.plan(), None, PLAIN, 80, 4))
    assert f"! aperture priority, not manual: move compensation ({words})" in text


@given(st.sampled_from(Setting), st.floats(-14, 14), st.floats(-0.06, 0.06), st.integers(60, 110))
def test_no_room_is_ever_minus_nothing(setting: Setting, stops: float, off: float, width: int) -> None:
    """At the end of a range, and a rounding beside it, the room is 0.0."""
    if setting not in CAMERA_SETTINGS:
        return
    end = value_at(setting, stops)
    allowed = Allowed(setting, end, value_at(setting, stops + 1), end)
    metadata = Metadata(Settings().with_value(setting, value_at(setting, stops + off)))
    text = _text(levers_panel(metadata, made.plan().with_allowed(allowed), None, PLAIN, width, 4))
    assert not re.search(r"[-+]0\.0\b", text)


@given(st.floats(-0.06, 0.06), st.integers(0, 2))
def test_decimals_have_no_sign_on_nothing(value: float, digits: int) -> None:
    """A small negative number rounds to 0.0, not -0.0."""
    text = decimal(value, digits)
    assert text.startswith("-") == (float(text) < 0)


@pytest.mark.parametrize(("iso", "words"), [(6400.0, "! outside by +1.0"), (50.0, "! outside by -1.0")])
def test_a_setting_outside_its_range_is_marked(iso: float, words: str) -> None:
    """The mark says by how many stops, plus when it is brighter than allowed."""
    settings = made.SETTINGS.with_value(Setting.ISO, iso)
    assert words in _text(levers_panel(Metadata(settings), made.plan(), None, PLAIN, 60, 3))


@given(st.floats(50, 102400), st.integers(-3, 8), st.integers(0, 8))
def test_both_rooms_together_are_the_range(iso: float, darkest: int, wide: int) -> None:
    """Whatever the value, room towards darker plus room towards brighter is the length of the range."""
    allowed = Allowed(Setting.ISO, 100.0 * 2**darkest, 100.0 * 2 ** (darkest + wide), 100.0)
    left = room(allowed, iso)
    assert left.darker + left.brighter == pytest.approx(wide)


def test_a_setting_the_capture_does_not_state_is_unknown() -> None:
    """None shows as unknown, with its range still told."""
    text = _text(levers_panel(Metadata(Settings()), made.plan(), None, PLAIN, 100, 3))
    assert text.count("unknown") == 6
    assert "free 100 to 3200" in text


@given(st.integers(60, 200), st.integers(2, 24), st.floats(0.5, 12))
def test_the_histogram_peaks_where_the_tones_are(width: int, height: int, peak: float) -> None:
    """The highest column stands at the peak's distance from saturation."""
    reading = made.reading(0, ("y",), tones=(made.tones("y", peak),))
    line = tones_panel(reading, PLAIN, width, height).lines[0].plain
    graph = line[3 : line.index("│")]
    best = max(range(len(graph)), key=lambda column: (" ▁▂▃▄▅▆▇█".index(graph[column]), -abs(column - len(graph) / 2)))
    stops_of_column = 14 / len(graph)
    assert abs((len(graph) - best - 0.5) * stops_of_column - peak) <= 1.5


def test_a_single_dark_pixel_still_shows() -> None:
    """A share too small for a step of the scale is drawn as the lowest step."""
    tones = made.tones("y", 1.0)
    lone = replace(tones, counts=(*tones.counts[:-1], 1))
    line = tones_panel(made.reading(0, ("y",), tones=(lone,)), PLAIN, 80, 2).lines[0].plain
    assert line[3] == "▁"


def test_a_clipped_area_is_marked_by_a_sign_not_only_by_colour() -> None:
    """With and without colour the clipped cells carry the same sign, however small the clipped spot."""
    spot = made.thumbnail()
    one = bytearray(len(spot.clipped))
    one[37 * spot.width + 51] = 1
    spot = replace(spot, clipped=bytes(one))
    for palette in (PLAIN, DARK):
        picture = _text(picture_panel(spot, palette, 40, 12)).rsplit("\n", 1)[0]
        assert picture.count(CLIPPED_SIGN) == 1


@given(st.integers(1, 300), st.integers(1, 300), st.integers(3, 120), st.integers(2, 60))
def test_a_picture_of_any_shape_fits(width: int, height: int, columns: int, rows: int) -> None:
    """Thumbnails of any shape, even one dot, fill the panel without error."""
    size = width * height
    picture = replace(
        made.thumbnail(1, 1),
        width=width,
        height=height,
        rgb=bytes(3 * size),
        clipped=bytes(size),
        metered=Box(0, 0.9, 1, 1),
    )
    panel = picture_panel(picture, DARK, columns, rows)
    assert [cell_len(line.plain) for line in panel.lines] == [columns] * rows


def test_the_metered_area_is_outlined_unless_it_is_everything() -> None:
    """A rectangle is drawn for a part of the picture, none for the whole."""
    part = _text(picture_panel(made.thumbnail(), PLAIN, 60, 20)).rsplit("\n", 1)[0]
    whole = _text(picture_panel(replace(made.thumbnail(), metered=Box(0, 0, 1, 1)), PLAIN, 60, 20)).rsplit("\n", 1)[0]
    assert all(corner in part for corner in "┌┐└┘")
    assert "┌" not in whole


def test_the_trend_shows_each_kind_with_its_sign() -> None:
    """The newest frame is rightmost and every frame that fits is drawn once."""
    frames = made.many_frames(20)
    chart = _text(trend_panel(frames, Aim(), PLAIN, 60, 8)).rsplit("\n", 1)[0]
    assert sum(chart.count(sign) for sign in GLYPHS.values()) == 20
    newest = max(line.rfind(GLYPHS[frames[-1].call.kind]) for line in chart.splitlines())
    assert newest == max(line.rfind(sign) for line in chart.splitlines() for sign in GLYPHS.values())


@given(st.integers(3, 20), st.integers(0, 200))
def test_the_trend_always_has_a_row_for_the_aim(height: int, count: int) -> None:
    """A row labelled 0.0 exists at every height and the chart holds what fits."""
    panel = trend_panel(_FRAMES[:count], Aim(), PLAIN, 40, height)
    assert any(line.plain.startswith("  0.0") for line in panel.lines)


_FRAMES = made.many_frames(200)


def test_health_tells_age_backlog_and_the_last_problem() -> None:
    """Folder, way of watching, backlog, age of the last capture, counts and the last problem with its advice."""
    view = made.view(made.frame(), problems=(made.PROBLEM,), problem_count=1)
    text = _text(health_panel(view, made.NOW, PLAIN, 160, 2))
    for words in (
        "Ines Okafor",
        "events",
        "0 waiting",
        "last 4 s ago",
        "12 read, 1 failed",
        "the file is empty; copy it",
    ):
        assert words in text


@pytest.mark.parametrize(
    ("seconds", "words"), [(-5, "0 s"), (59.9, "59 s"), (60, "1 min"), (7200, "2 h"), (200_000, "2 d")]
)
def test_ages_use_the_largest_unit(seconds: float, words: str) -> None:
    """An age is short; a clock that ran backwards counts as now."""
    assert age_words(seconds) == words


@given(st.floats(-20, 20), st.integers(0, 3))
def test_signs_are_shown_except_on_nothing(stops: float, digits: int) -> None:
    """Stops always carry their sign, but a rounded zero has none."""
    text = signed(stops, digits)
    assert (text[0] in "+-") == (float(text) != 0)
    assert float(text) == pytest.approx(stops, abs=0.5 * 10**-digits + 1e-9)


@given(st.text(max_size=40), st.integers(1, 30))
def test_long_paths_keep_their_end(text: str, cells: int) -> None:
    """A path is cut at its beginning to what fits."""
    kept = keep_end(text, cells)
    assert cell_len(kept) <= max(cells, 1)
    assert text.endswith(kept.removeprefix("…")) or kept == text
