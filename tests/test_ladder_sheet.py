"""The ladder's sheet and its JSON: complete, safe, and quiet in a real browser."""

import base64
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from browser import CHROMIUM, print_pdf, screenshot, visit
from hypothesis import given
from hypothesis import strategies as st
from ladder_sheets import BOX, NASTY, made_ladder, made_rung, named_ladder
from PIL import Image
from test_page_render import Elements

from tetherwatch.exposure.settings import Settings
from tetherwatch.ladder.columns import COLUMNS, UNKNOWN, number
from tetherwatch.ladder.events import ladder_events
from tetherwatch.ladder.guide import GUIDE
from tetherwatch.ladder.records import Crop, Finding
from tetherwatch.ladder.sheet import sheet
from tetherwatch.ladder.words import found_words, interval_words
from tetherwatch.text import display_name

in_a_browser = pytest.mark.skipif(CHROMIUM is None, reason="no chromium here")


def written(folder: Path, page: str) -> Path:
    """A page as a file."""
    place = folder / "sheet.html"
    place.write_text(page, encoding="utf-8")
    return place


def crops(page: str) -> dict[str, np.ndarray]:
    """Every picture of a sheet by its words."""
    shown = [attributes for tag, attributes in Elements(page).found if tag == "img"]
    files = {str(a["alt"]): base64.b64decode(str(a["src"]).split(",")[1]) for a in shown}
    return {alt: np.asarray(Image.open(io.BytesIO(file))) for alt, file in files.items()}


def flat(light: float, **values: object) -> Crop:
    """A crop without noise."""
    crop = Crop("bright", BOX, np.full((BOX.height, BOX.width, 3), light, np.float32))
    return replace(crop, **values)


def test_the_sheet_shows_every_rung_part_plot_and_figure() -> None:
    """A crop for each rung and part, four plots, a row for each rung, the ceiling and the warnings."""
    warning = Finding("flicker", "the lamps pulse", 1600.0)
    page = sheet(made_ladder(4, warnings=(warning,)))
    assert set(crops(page)) == {
        f"{part} at ISO {iso}" for part in ("Dark part", "Bright part", "Fine detail") for iso in (100, 200, 400, 800)
    }
    found = Elements(page)
    assert sum(tag == "svg" for tag, _ in found.found) == 4
    for words in ("ISO 3200", "2500 to 4000", "Shadows get too noisy first.", "The lamps pulse.", "print of 42 cm"):
        assert words in found.text
    rows = re.findall(r'<th scope="row">(\d+)</th>', page)
    assert rows == ["100", "200", "400", "800"]
    assert page.count('<td class="words">') == 4
    assert page == sheet(made_ladder(4, warnings=(warning,)))


def test_crops_have_one_tone() -> None:
    """Mid-grey comes out at code 118 in each rung, also where less light reached the sensor or orientation differs."""
    first = made_rung(100.0, mismatch_stops=0.0, crops=(flat(10 / 78),))
    darker = made_rung(200.0, mismatch_stops=-0.5, crops=(flat(10 / 78 / 2**0.5),))
    longer = Settings(2.0**-2, 2.0**2.5, 400.0)  # 3 stops more time than the ladder's, behind a filter of 3 stops
    filtered = made_rung(400.0, settings=longer, compensated_stops=-3.0, mismatch_stops=0.0, crops=(flat(10 / 78),))
    page = sheet(made_ladder(3, rungs=(first, darker, filtered), orientation=6))
    shown = crops(page)
    assert {picture.shape for picture in shown.values()} == {(BOX.width, BOX.height, 3)}
    assert {int(code) for picture in shown.values() for code in np.unique(picture)} == {118}


def test_rungs_above_the_ceiling_are_marked_in_words() -> None:
    """Not by colour alone: above the ceiling is written there, and nowhere without a ceiling."""
    assert sheet(made_ladder(8)).count("<small>above the ceiling</small>") == 2
    nowhere = sheet(made_ladder(8, ceiling=None))
    assert "above the ceiling" not in nowhere
    assert "not found" in nowhere


def test_unknown_figures_are_dashes() -> None:
    """What could not be measured is neither 0 nor left out of the table; it has no plot."""
    unknown = dict.fromkeys(
        ("gain_dn_per_e", "read_noise_e", "saturation_e", "dynamic_range_stops", "snr_shadow_viewing", "detail_kept")
    )
    page = sheet(made_ladder(2, rungs=tuple(made_rung(iso, crops=(), **unknown) for iso in (100.0, 200.0))))
    assert page.count(f"<td>{UNKNOWN}</td>") >= 2 * len(unknown)
    assert 'id="crops"' not in page
    assert page.count("<svg") == 1


def test_names_and_metadata_cannot_become_markup() -> None:
    """The page of a ladder full of hostile text has the elements of a harmless one, and no control characters."""
    page = sheet(named_ladder(NASTY))
    found = Elements(page)
    assert [tag for tag, _ in found.found] == [tag for tag, _ in Elements(sheet(named_ladder("RHS"))).found]
    assert not [a for _, a in found.found if any(key.startswith("on") for key in a)]
    assert display_name(NASTY) in found.text
    assert not re.search(r"[\x00-\x08\x0b-\x1f\u202e]", page)


def test_json_has_stable_names_and_no_guesses() -> None:
    """Findings first, then rungs, then the ceiling; unknown is null; a line survives a parser."""
    warning = Finding("light", "it changed", 200.0, Path("/somewhere/b.DNG"))
    events = list(ladder_events(made_ladder(2, warnings=(warning,))))
    assert [event["event"] for event in events] == ["finding", "rung", "rung", "ceiling"]
    assert json.loads(json.dumps(events, allow_nan=False)) == events
    assert events[0] == {
        "event": "finding", "kind": "light", "iso": 200.0, "file": "b.DNG", "refuses": False, "reason": "it changed",
    }  # fmt: skip
    rung = events[1]
    assert {
        "iso", "frames", "gain_dn_per_e", "read_noise_e", "snr_grey", "snr_grey_viewing", "snr_shadow",
        "dynamic_range_stops", "detail_kept", "mismatch_stops", "warnings",
    } <= set(rung)  # fmt: skip
    assert rung["column_noise_dn"] is None
    assert rung["uncertainty"]["column_noise_dn"] is None
    assert rung["uncertainty"]["gain_dn_per_e"] > 0
    assert events[-1]["limited_by"] == "shadows"
    assert events[-1]["interval"] == [2519.84, 4031.75]


@given(st.floats(1e-4, 1e6), st.integers(1, 4))
def test_numbers_keep_their_digits_and_have_no_exponent(value: float, digits: int) -> None:
    """The text lies within half a unit of the last significant digit, and is plain."""
    text = number(value, digits)
    assert re.fullmatch(r"\d+(\.\d+)?", text)
    assert abs(float(text) - value) <= 0.5000001 * 10.0 ** (np.floor(np.log10(value)) - digits + 1)
    assert len(text.replace(".", "").strip("0") or "0") <= digits


@pytest.mark.parametrize(
    ("value", "words"), [(0.0, "0"), (None, UNKNOWN), (float("inf"), UNKNOWN), (99.96, "100"), (0.2645, "0.265")]
)
def test_special_numbers(value: float | None, words: str) -> None:
    """Nothing, everything, and what rounds up to the next power of ten."""
    assert number(value) == words


def test_words_of_findings() -> None:
    """A sentence with a capital, but a file's name as it is written; an interval of one ISO is one ISO."""
    assert found_words(Finding("light", "it changed")) == "It changed."
    assert found_words(Finding("unreadable", "x.dng was left out", file=Path("x.dng"))) == "x.dng was left out."
    ceiling = made_ladder().ceiling
    assert ceiling is not None
    assert interval_words(ceiling) == "2500 to 4000"
    assert interval_words(replace(ceiling, interval=(3200.0, 3200.0))) == "3200"


def test_columns_have_a_unit_or_need_none_and_a_meaning() -> None:
    """Each column says what it means; those of the narrow table are among them."""
    assert all(column.meaning and column.heading for column in COLUMNS)
    assert 8 <= sum(column.brief for column in COLUMNS) < len(COLUMNS)


def test_the_guide_fits_a_small_terminal() -> None:
    """80 columns, 40 lines at the most, with every step and the cautions."""
    lines = GUIDE.splitlines()
    assert max(map(len, lines)) < 80
    assert len(lines) <= 40
    for word in ("Tripod", "grey card", "ND filter", "two frames", "hot", "stands", "cables", "qualified"):
        assert word in GUIDE


@in_a_browser
def test_the_sheet_is_quiet_in_a_browser(tmp_path: Path) -> None:
    """It loads without a word on the console and asks for nothing, hostile names or not."""
    page = written(tmp_path, sheet(named_ladder(NASTY)))
    result = visit(page, tmp_path / "profile")
    assert result.console == ()
    assert result.requests == ()
    assert 'id="figures"' in result.document
    assert "onerror=alert" not in re.sub(r"&lt;.*?&gt;", "", result.document)


@in_a_browser
def test_a_loud_page_would_be_found_out(tmp_path: Path) -> None:
    """A page that asks for a picture and complains is seen to do so: the test above can fail."""
    page = written(tmp_path, '<!DOCTYPE html><img src="http://a.invalid/x"><script>console.error("oh")</script>')
    result = visit(page, tmp_path / "profile")
    assert any('"oh"' in line for line in result.console)
    assert "http://a.invalid/x" in result.requests


@in_a_browser
def test_the_sheet_fits_a_phone(tmp_path: Path) -> None:
    """Nothing reaches beyond the window's right edge: the last columns of pixels are paper only."""
    screenshot(written(tmp_path, sheet(made_ladder())), tmp_path / "shot.png", tmp_path / "profile", 400, 1200)
    shot = np.asarray(Image.open(tmp_path / "shot.png").convert("RGB"))
    assert shot.shape[1] == 400
    assert len(np.unique(shot[:, -4:].reshape(-1, 3), axis=0)) == 1
    assert len(np.unique(shot.reshape(-1, 3), axis=0)) > 50


@in_a_browser
def test_the_sheet_prints(tmp_path: Path) -> None:
    """It becomes a PDF of a few pages."""
    print_pdf(written(tmp_path, sheet(made_ladder())), tmp_path / "sheet.pdf", tmp_path / "profile")
    pdf = (tmp_path / "sheet.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 5
