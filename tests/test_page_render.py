"""The base of our pages: escaping, colours that can be read, pictures and plots inside the page."""

import base64
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jinja2 import UndefinedError
from PIL import Image

from tetherwatch.errors import UsageError
from tetherwatch.page.picture import embedded
from tetherwatch.page.plot import INK, SERIES, axes, plot
from tetherwatch.page.render import environment, render, save
from tetherwatch.text import display_name

STYLE = (Path(__file__).resolve().parent.parent / "tetherwatch" / "page" / "templates" / "style.css").read_text("utf-8")


class Elements(HTMLParser):
    """Every start tag of a page with its attributes, and all text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def drawn(title: str = "Title", line: tuple[float, ...] = (1.0, 3.0, 2.0)) -> str:
    """A small plot."""
    figure, plot_axes = axes("ISO", "signal to noise")
    plot_axes.plot(range(len(line)), line, color=SERIES[0])
    plot_axes.annotate("grade 10", (0.5, 1.5), color=INK)
    return plot(figure, title, "What it shows.")


def test_the_empty_page_is_complete_and_allows_nothing() -> None:
    """The base has a language, a viewport, a skip link to the main part, and a policy that loads nothing."""
    page = Elements(render("base.html"))
    tags = dict(page.found)
    assert tags["html"]["lang"] == "en"
    assert not {"script", "iframe", "object", "form"} & set(tags)
    policy = next(a["content"] for tag, a in page.found if tag == "meta" and "http-equiv" in a)
    assert policy is not None
    assert policy.startswith("default-src 'none'; img-src data:;")
    assert "script-src" not in policy
    assert ("a", {"class": "skip", "href": "#main"}) in page.found
    assert tags["main"]["id"] == "main"
    assert not [a for _, a in page.found for key in ("src", "href") if re.match(r"(https?:)?//", a.get(key) or "")]


@given(st.text(max_size=60))
def test_text_cannot_become_markup(text: str) -> None:
    """Whatever a picture's words hold, the page has one image with these words in their visible form."""
    words = f"{text}<script>\"'&\x1b"
    picture = environment().get_template("parts.html").module.picture  # type: ignore[attr-defined]
    shown = picture(embedded(np.zeros((2, 3, 3), np.uint8), words))
    ((tag, attributes),) = Elements(shown).found
    assert tag == "img"
    assert attributes["alt"] == display_name(words)
    assert attributes["width"] == "3"


def test_a_forgotten_value_is_an_error() -> None:
    """A template that lacks a value fails instead of printing nothing."""
    with pytest.raises(UndefinedError):
        environment().from_string("{{ forgotten }}").render()


def ratio(one: str, other: str) -> float:
    """Contrast of two colours (WCAG 2.2: relative luminance by the sRGB curve)."""
    levels = []
    for colour in (one, other):
        codes = np.array([int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)])
        linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
        levels.append(float(linear @ (0.2126, 0.7152, 0.0722)))
    return (max(levels) + 0.05) / (min(levels) + 0.05)


@pytest.mark.parametrize("mode", range(3), ids=["light", "dark", "print"])
def test_colours_can_be_told_from_the_paper(mode: int) -> None:
    """Text has 4.5 to 1 against paper and card, lines of plots 3 to 1 (WCAG AA), in each of the three sets."""
    sets = [dict(re.findall(r"--([\w-]+): (#\w{6})", block)) for block in re.findall(r":root \{(.*?)\}", STYLE, re.S)]
    colours = sets[mode]
    for ground in ("paper", "card"):
        for role in ("ink", "muted", "accent", "warn", "good"):
            assert ratio(colours[role], colours[ground]) >= 4.5, (role, ground)
        for role in ("series-1", "series-2", "series-3", "series-4"):
            assert ratio(colours[role], colours[ground]) >= 3, (role, ground)


def test_ratio_of_black_and_white_is_the_standards() -> None:
    """Black on white is 21 to 1, and #767676 the lightest grey that passes 4.5."""
    assert ratio("#000000", "#ffffff") == pytest.approx(21)
    assert ratio("#767676", "#ffffff") >= 4.5 > ratio("#777777", "#ffffff")


def test_an_embedded_picture_keeps_its_pixels() -> None:
    """The exact form gives back every pixel, the photo form nearly; size and words come along."""
    pixels = np.random.default_rng(1).integers(0, 256, (5, 7, 3), np.uint8)
    picture = embedded(pixels, "noise")
    assert (picture.width, picture.height, picture.alt) == (7, 5, "noise")
    kind, data = picture.uri.split(",")
    assert kind == "data:image/png;base64"
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(base64.b64decode(data)))), pixels)
    flat = embedded(np.full((8, 8, 3), 90, np.uint8), "flat", "photo").uri.split(",")[1]
    assert abs(int(np.asarray(Image.open(io.BytesIO(base64.b64decode(flat)))).mean()) - 90) <= 1


def test_a_plot_follows_the_page_and_repeats() -> None:
    """No colour of its own, words kept as text, named for readers, and the same bytes each time."""
    svg = drawn()
    assert svg == drawn()
    assert not re.search(r"#[0-9a-f]{6}\b(?!;?\))", svg)
    assert "var(--series-1)" in svg
    assert "var(--muted)" in svg
    assert "grade 10" in svg
    assert "<metadata" not in svg
    assert "<title id=" in svg
    assert "What it shows.</desc>" in svg
    assert not re.search(r"20\d\d-\d\d-\d\d", svg)


def test_ids_of_two_plots_do_not_meet() -> None:
    """Each plot's ids are its own, and every reference finds its target."""
    pages = [drawn("One"), drawn("Two")]
    ids = [set(re.findall(r'\bid="([^"]+)"', svg)) for svg in pages]
    assert not ids[0] & ids[1]
    for svg, own in zip(pages, ids, strict=True):
        assert set(re.findall(r'(?:href="#|url\(#)([^")]+)', svg)) <= own


def test_words_of_a_plot_are_escaped() -> None:
    """Names may come from metadata: they cannot end the title or hide control characters."""
    svg = drawn("</title><script>\x1b")
    assert "<script" not in svg
    assert "&lt;/title&gt;&lt;script&gt;\\x1b" in svg


def test_a_page_is_written_only_under_a_pages_name(tmp_path: Path) -> None:
    """A capture's name is refused untouched, and so is a folder that is not there."""
    capture = tmp_path / "RHS_0001.DNG"
    capture.write_bytes(b"precious")
    with pytest.raises(UsageError, match="not named like a page"):
        save(capture, "page")
    assert capture.read_bytes() == b"precious"
    with pytest.raises(UsageError, match="there is no folder"):
        save(tmp_path / "none" / "page.html", "page")
    (tmp_path / "taken.html").mkdir()
    with pytest.raises(UsageError, match="cannot be written"):
        save(tmp_path / "taken.html", "page")
    save(tmp_path / "page.html", "é")
    assert (tmp_path / "page.html").read_bytes() == "é".encode()
