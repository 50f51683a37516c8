"""The page of a session: whole, self-contained, readable without eyes or mouse, and proof against nasty names."""

import re
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from report_records import BRIGHTER, CARD, LANDED, MISFIRE, NASTY, SOFT, entry, picture, record

from tetherwatch.advise.records import Call, Estimate, Finding
from tetherwatch.errors import UsageError
from tetherwatch.frame.records import Metadata
from tetherwatch.report.charts import clipping_plot, landing_plot, light_plot, offset_plot, stretches
from tetherwatch.report.page import write_page
from tetherwatch.report.records import FrameEntry, ProblemEntry, SessionRecord
from tetherwatch.report.summary import summarise
from tetherwatch.setups.records import Drift, Pin, Setup
from tetherwatch.text import display_name

WINDOW = Setup(1, 1, 6, 4, "Window", Estimate(7.0, 0.03), proven=True, drift=Drift(-0.2, (-0.3, -0.1), 60.0))
LAMPS = Setup(2, 4, 5, 2, None, Estimate(9.0, 0.03))
PIN = Pin(1, 2, "raw", "card", 0.0, {}, 1.0, 9.0)
FRAMES = (
    entry(1, -1.0, BRIGHTER, setup=1),
    entry(2, 0.01, landing=LANDED, setup=1),
    entry(3, -5.0, MISFIRE, setup=1),
    entry(4, clipped=2.5, setup=2),
    entry(5, findings=(SOFT, Finding("flicker", "lamps may swing")), setup=2),
    entry(6, -0.4, CARD, setup=1),
)
BAD = ProblemEntry(Path("/shoots/spring/bad.DNG"), "it is cut short", "shoot it again", 0.0)
SESSION = replace(record(*FRAMES, setups=(WINDOW, LAMPS), pins=(PIN,)), problems=(BAD,))

RUNS_OR_LOADS = {"script", "iframe", "object", "embed", "link", "base", "form", "audio", "video", "source", "image"}


class Page(HTMLParser):
    """What a browser finds in a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep each tag with its attributes."""
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        """Keep the text."""
        self.words.append(data)

    def all(self, name: str) -> list[dict[str, str | None]]:
        """The attributes of each tag of a name."""
        return [attributes for tag, attributes in self.tags if tag == name]

    @property
    def text(self) -> str:
        """All the text, with single spaces."""
        return " ".join(" ".join(self.words).split())


def made(folder: Path, session: SessionRecord = SESSION, pictures: Sequence[object] | None = None) -> str:
    """The page of a session."""
    thumbnails = [picture() for _ in session.frames] if pictures is None else pictures
    write_page(folder / "page.html", session, summarise(session, False), thumbnails)  # type: ignore[arg-type]
    return (folder / "page.html").read_text("utf-8")


def test_it_holds_all_that_a_record_needs(tmp_path: Path) -> None:
    """Words, plots, setups, score, lists of trouble, a picture and a line for each frame."""
    page = Page(made(tmp_path))
    for said in (
        "6 frames in 2 setups within 20 s, with Halden K2.",
        "Window 4 #1, #6 7.00 ±0.03",
        "-0.20 stops in 10 minutes (-0.30 to -0.10) #2",
        "ISO 1 0.03 0.03",
        "#3 F_0003.DNG : 5.00 stops of light are gone: the flash did not fire.",
        "#4 F_0004.DNG : 2.50 % of the metered area (limit 0.5 %)",
        "#5 F_0005.DNG : the left eye is not sharp",
        "bad.DNG : it is cut short; shoot it again",
        "brighter ISO 400 → 800",
        "Lamps may swing.",
    ):
        assert said in page.text
    assert [each["id"] for each in page.all("tr") if "id" in each] == [f"frame-{n}" for n in range(1, 7)]
    assert len(page.all("img")) == 6 and len(page.all("svg")) == 4


def test_it_runs_and_loads_nothing(tmp_path: Path) -> None:
    """No script, no address but those inside the page, and a policy that forbids the rest."""
    text = made(tmp_path)
    page = Page(text)
    assert {tag for tag, _ in page.tags} & RUNS_OR_LOADS <= {"link"}
    addresses = [
        value for _, given in page.tags for name, value in given.items() if name in ("src", "href", "xlink:href")
    ]
    assert {str(address)[:5] for address in addresses} <= {
        "data:",
        *(str(a)[:5] for a in addresses if str(a)[:1] == "#"),
    }
    assert not [name for _, given in page.tags for name in given if name.startswith("on")]
    assert not re.search(r"url\((?!#)|@import", text)
    assert "default-src 'none'" in str(page.all("meta")[1]["content"])


def test_every_anchor_leads_somewhere(tmp_path: Path) -> None:
    """Each link inside the page has its target, each name is given once, labels point at what there is."""
    page = Page(made(tmp_path))
    names = [str(given["id"]) for _, given in page.tags if "id" in given]
    assert len(names) == len(set(names))
    used = [str(given[key]) for _, given in page.tags for key in ("aria-labelledby", "for") if key in given]
    links = [str(given["href"])[1:] for _, given in page.tags if str(given.get("href")).startswith("#")]
    assert {name for each in used for name in each.split()} | set(links) <= set(names)


def test_it_can_be_read_without_eyes_or_mouse(tmp_path: Path) -> None:
    """Pictures and plots have words, table heads their scope, what scrolls takes the keyboard; no sign stands alone."""
    page = Page(made(tmp_path))
    assert all(given["alt"] for given in page.all("img"))
    assert all(given["role"] == "img" and given["aria-labelledby"] for given in page.all("svg"))
    assert all(given.get("scope") for given in page.all("th"))
    assert all(given["tabindex"] == "0" and given["aria-label"] for given in page.all("div") if given.get("role"))
    assert page.all("html")[0]["lang"] == "en" and len(page.all("h1")) == 1
    assert page.all("a")[0]["class"] == "skip"


def test_names_do_no_harm(tmp_path: Path) -> None:
    """Names of files, setups, cameras and plans, and every sentence, are text: the page has the same tags as ever."""
    plain, nasty = (Page(made(tmp_path, named(names))) for names in (["plain"] * len(NASTY), NASTY))
    assert [tag for tag, _ in nasty.tags] == [tag for tag, _ in plain.tags]
    assert [sorted(given) for _, given in nasty.tags] == [sorted(given) for _, given in plain.tags]
    assert not [character for character in nasty.text if not character.isprintable()]
    assert all(name in nasty.text for name in NASTY if name.isprintable())


def test_names_do_no_harm_in_a_plot() -> None:
    """A setup's name is drawn as text: no formula, no element, and the drawing stays well-formed."""
    plain = [each.tag for each in ElementTree.fromstring(offset_plot(named(["plain"]))).iter()]
    for name in NASTY:
        drawing = ElementTree.fromstring(offset_plot(named([name])))
        assert [each.tag for each in drawing.iter()] == plain
        assert display_name(name, 24).strip() in [(each.text or "").strip() for each in drawing.iter("text")]


def named(names: Sequence[str]) -> SessionRecord:
    """A session in which everything that has a name has one of these."""
    frames = [named_frame(number, name) for number, name in enumerate(names, start=1)]
    setups = tuple(replace(WINDOW, number=number, name=name) for number, name in enumerate(names, start=1))
    problems = tuple(ProblemEntry(frame.path, name, name, 0.0) for frame, name in zip(frames, names, strict=True))
    session = record(*frames, folder=Path("/shoots") / names[0].replace("/", "_"), setups=setups)
    plans = tuple(frame.plan for frame in frames)
    return replace(session, problems=problems, path=frames[-1].path, plans=plans)


def named_frame(number: int, name: str) -> FrameEntry:
    """A frame that went wrong in every way, told of in these words."""
    one = entry(number, -5.0, Call("check", name, odd="gone"), setup=number, clipped=9.0, notes=(name,))
    return replace(
        one,
        path=Path("/shoots") / name.replace("/", "_"),
        metadata=Metadata(camera=name, lens=name, serial=name),
        findings=(Finding("eyes", name),),
        plan=replace(one.plan, name=name, source=name),
        landing=LANDED,
    )


def test_a_session_without_frames_has_a_page(tmp_path: Path) -> None:
    """It says so, and has neither plots nor tables."""
    page = Page(made(tmp_path, record()))
    assert "No frame was read in this session." in page.text
    assert not page.all("svg") and not page.all("table")


def test_one_frame_that_knows_nothing_has_a_page(tmp_path: Path) -> None:
    """What is unknown is called so; a picture that is missing too."""
    one = entry(1)
    bare = replace(one, metadata=Metadata(), arrived_at=None, measured=replace(one.measured, light_value=None))
    page = Page(made(tmp_path, record(bare), [None]))
    assert "no picture" in page.text and "shutter unknown aperture unknown ISO unknown" in page.text
    assert len(page.all("svg")) == 1


def test_a_plot_is_drawn_only_of_what_there_is() -> None:
    """No light value, no clipping and no landing: no empty plots."""
    one = entry(1)
    session = record(replace(one, measured=replace(one.measured, light_value=None)))
    assert (light_plot(session), clipping_plot(session), landing_plot(session)) == (None, None, None)
    assert all((light_plot(SESSION), clipping_plot(SESSION), landing_plot(SESSION)))


def test_stretches_follow_the_setups() -> None:
    """A new stretch wherever the setup changes; one that is too narrow for its name shows its number."""
    found = stretches(SESSION)
    assert [(each.first, each.last, each.name) for each in found] == [
        (1, 3, "Window"),
        (4, 5, "setup 2"),
        (6, 6, "Window"),
    ]
    assert [each.label(6) for each in found] == ["Window", "setup 2", "Window"]
    assert [each.label(100) for each in found] == ["1", "2", ""]


def test_only_a_page_is_written_over(tmp_path: Path) -> None:
    """A capture named by mistake is left as it is."""
    capture = tmp_path / "a.DNG"
    capture.write_text("a capture")
    with pytest.raises(UsageError, match="not named like its content"):
        write_page(capture, SESSION, summarise(SESSION, False), [None] * 6)
    assert capture.read_text() == "a capture" and [path.name for path in tmp_path.iterdir()] == ["a.DNG"]
