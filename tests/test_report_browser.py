"""The page of a session in a real browser: it opens in silence, asks nothing of the network, and prints."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from browser import CHROMIUM, print_pdf, visit
from report_records import NASTY, entry, picture, record

from tetherwatch.frame.records import Metadata
from tetherwatch.report.page import write_page
from tetherwatch.report.summary import summarise
from tetherwatch.setups.records import Setup

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")


def page_of_nasty_names(folder: Path) -> Path:
    """A session in which each frame and setup has another nasty name."""
    names = [name.replace("/", "_") for name in NASTY]
    frames = [
        replace(entry(number, name="a", setup=number), path=Path("/shoots") / name, metadata=Metadata(camera=name))
        for number, name in enumerate(names, start=1)
    ]
    setups = tuple(Setup(number, number, number, 1, name) for number, name in enumerate(NASTY, start=1))
    session = record(*frames, setups=setups)
    path = folder / "page.html"
    write_page(path, session, summarise(session, False), [picture(200) for _ in frames])
    return path


def test_it_opens_without_a_word_and_without_the_network(tmp_path: Path) -> None:
    """No line on the console, no request; all is drawn, and no nasty name became an element."""
    seen = visit(page_of_nasty_names(tmp_path), tmp_path / "profile")
    assert (seen.console, seen.requests) == ((), ())
    assert seen.document.count("<img ") == len(NASTY) and seen.document.count("<svg ") == 2
    assert "<script" not in seen.document and "onerror=alert(1)>" not in re.sub("&[lg]t;", "", seen.document)


def test_a_page_that_does_either_would_be_seen(tmp_path: Path) -> None:
    """The test above can fail: a picture from elsewhere is asked for, a script's error is on the console."""
    page = tmp_path / "page.html"
    page.write_text('<img src="http://example.invalid/a.png"><script>undefined_name()</script>')
    seen = visit(page, tmp_path / "profile")
    assert "http://example.invalid/a.png" in seen.requests
    assert any("undefined_name" in line for line in seen.console)


def test_what_slips_in_is_stopped_by_the_page_itself(tmp_path: Path) -> None:
    """Even if a script or an address got into the page, its policy would let neither run nor load."""
    page = page_of_nasty_names(tmp_path)
    slipped = '<img src="http://example.invalid/a.png"><script>document.title = "owned"</script></main>'
    page.write_text(page.read_text("utf-8").replace("</main>", slipped), "utf-8")
    seen = visit(page, tmp_path / "profile")
    assert not seen.requests and "<title>owned" not in seen.document
    assert any("Content Security Policy" in line for line in seen.console)


def test_it_prints(tmp_path: Path) -> None:
    """Printing gives a PDF with a page for each part: the record upright, the table across."""
    print_pdf(page_of_nasty_names(tmp_path), tmp_path / "page.pdf", tmp_path / "profile")
    pdf = (tmp_path / "page.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-")
    sizes = {tuple(map(float, box.split())) for box in re.findall(rb"/MediaBox\s*\[([^\]]+)\]", pdf)}
    assert any(width < height for _, _, width, height in sizes) and any(width > height for _, _, width, height in sizes)
