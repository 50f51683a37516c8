"""The shipped plans: what they hold and how they trade, in worked examples (common practice, no source)."""

from pathlib import Path

import pytest
from advise_records import GOOD, reading

from tetherwatch.advise.call import make_call
from tetherwatch.advise.library import load_plan, plan_text, shipped_names
from tetherwatch.advise.records import Call, Plan
from tetherwatch.errors import PlanError, UsageError
from tetherwatch.exposure.dial import label, parse_value, snap
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting

NAMES = shipped_names()
PORTRAITS = ("window-portrait", "window-card", "studio-portrait", "studio-card")


def call_for(plan: Plan, camera: str, offset: float) -> Call:
    """The call for a camera set like "1/250 f/2.8 100" whose picture is `offset` stops from the aim."""
    values = [
        snap(setting, parse_value(setting, text), plan.step)
        for setting, text in zip(CAMERA_SETTINGS, camera.split(), strict=True)
    ]
    return make_call(plan, Settings(*values), reading(offset))


def said(call: Call) -> str:
    """A call in few words: "iso 100 > 200" or "light -2.0", with what is left."""
    if call.setting is None:
        return f"{call.kind} {call.left_stops:+.1f}" if call.left_stops else call.kind
    dial = f"{call.from_label} > {call.to_label}" if call.to_label else f"{call.move_stops:+.1f}"
    left = f", {call.left_stops:+.1f} left" if call.left_stops else ""
    return f"{'check ' * (call.kind == 'check')}{call.setting.value} {dial}{left}"


EXAMPLES = [
    # A window portrait: ISO follows the light, at base ISO a shorter time does; 1/250 is given back before ISO rises.
    ("window-portrait", "1/250 f/2.8 400", -1.0, "iso 400 > 800"),
    ("window-portrait", "1/250 f/2.8 400", 1.0, "iso 400 > 200"),
    ("window-portrait", "1/250 f/2.8 400", 3.0, "iso 400 > 100, -1.0 left"),
    ("window-portrait", "1/250 f/2.8 100", 1.0, "shutter 1/250 > 1/500"),
    ("window-portrait", "1/500 f/2.8 100", -0.67, "shutter 1/500 > 1/320"),
    ("window-portrait", "1/500 f/2.8 100", -3.0, "shutter 1/500 > 1/250, +2.0 left"),
    ("window-portrait", "1/250 f/2.8 1600", -2.0, "iso 1600 > 3200, +1.0 left"),
    ("window-portrait", "1/250 f/2.8 3200", -2.0, "blocked +2.0"),
    ("window-portrait", "1/4000 f/2.8 100", 1.5, "blocked -1.5"),
    ("window-portrait", "1/125 f/2.8 100", 0.0, "check shutter 1/125 > 1/250"),
    ("window-portrait", "1/250 f/4 200", 0.0, "check aperture f/4 > f/2.8"),
    ("window-portrait", "1/250 f/2.8 6400", 1.0, "check iso 6400 > 3200"),
    ("window-portrait", "1/250 f/2.8 400", 0.1, "hold"),
    ("window-card", "1/250 f/2.8 100", -2.33, "iso 100 > 500"),
    ("window-card", "1/250 f/2.8 100", 2.0, "shutter 1/250 > 1/1000"),
    # Studio flash: the shutter cannot help; ISO to its base, then the heads.
    ("studio-portrait", "1/250 f/2.8 100", -1.0, "iso 100 > 200"),
    ("studio-portrait", "1/250 f/2.8 400", 3.5, "iso 400 > 100, -1.5 left"),
    ("studio-portrait", "1/250 f/2.8 100", 1.3, "light -1.3"),
    ("studio-portrait", "1/250 f/2.8 3200", -2.0, "light +2.0"),
    ("studio-card", "1/250 f/2.8 100", 0.3, "light -0.3"),
    ("studio-card", "1/250 f/2.8 2500", -1.0, "iso 2500 > 3200, +0.7 left"),
    # A landscape on a tripod at f/8 and ISO 100: only the time moves, however long it gets.
    ("landscape", "1/60 f/8 100", -2.0, "shutter 1/60 > 1/15"),
    ("landscape", "1/60 f/8 100", 3.0, "shutter 1/60 > 1/500"),
    ("landscape", "15 s f/8 100", -2.0, "shutter 15 s > 30 s, +1.0 left"),
    ("landscape", "30 s f/8 100", -1.0, "blocked +1.0"),
    ("landscape", "1/60 f/8 200", 0.0, "check iso 200 > 100"),
    # A product on a table: time first, then the lamps.
    ("tabletop", "1/15 f/11 100", 2.0, "shutter 1/15 > 1/60"),
    ("tabletop", "15 s f/11 100", -1.0, "light +1.0"),
    ("tabletop", "1/250 f/11 100", 1.0, "light -1.0"),
    # Movement: never slower than 1/1000; short light costs ISO first, depth of field last.
    ("movement", "1/2000 f/4 800", -1.0, "shutter 1/2000 > 1/1000"),
    ("movement", "1/1000 f/4 800", -1.0, "iso 800 > 1600"),
    ("movement", "1/1000 f/4 3200", -1.0, "aperture f/4 > f/2.8"),
    ("movement", "1/1000 f/2.8 3200", -1.0, "blocked +1.0"),
    ("movement", "1/1000 f/4 800", 1.0, "iso 800 > 400"),
    ("movement", "1/1000 f/4 100", 1.0, "shutter 1/1000 > 1/2000"),
    # The sample.
    ("sample", "1/250 f/2.8 3200", -1.0, "light +1.0"),
    ("sample", "1/2000 f/2.8 100", 1.0, "light -1.0"),
]


@pytest.mark.parametrize(("name", "camera", "offset", "expected"), EXAMPLES)
def test_the_trade_of_each_plan(name: str, camera: str, offset: float, expected: str) -> None:
    """From settings and offset to the one move that a photographer would make under this plan."""
    assert said(call_for(load_plan(name), camera.replace("15 s", "15").replace("30 s", "30"), offset)) == expected


def test_every_shipped_plan_has_examples() -> None:
    """No plan ships whose trade is not written down above."""
    assert {example[0] for example in EXAMPLES} == set(NAMES)
    assert len(NAMES) >= 6


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_plan_is_commented_and_sound(name: str) -> None:
    """It opens with comments that call its figures common practice, it parses, and it starts inside its own ranges."""
    text = plan_text(name)
    opening = text[: text.index("name =")]
    assert opening.startswith("# ") and "common practice" in opening
    plan = load_plan(name)
    assert plan.source == name
    start = Settings(plan.shutter.start, plan.aperture.start, plan.iso.start)
    assert make_call(plan, start, reading(0.0)).kind == "hold"


@pytest.mark.parametrize("name", NAMES)
def test_the_ceiling_of_a_shipped_plan(name: str) -> None:
    """Where a plan says "ceiling", --ceiling decides, else ISO 3200 is taken and noted; without it neither counts."""
    named = '"ceiling"]' in plan_text(name)
    for ceiling, highest in ((12800.0, 12800.0), (None, 3200.0)):
        plan = load_plan(name, ceiling)
        assert plan.iso.brightest == (highest if named else plan.iso.darkest)
        assert any("ISO 3200 is assumed" in note for note in plan.notes) == (named and ceiling is None)


@pytest.mark.parametrize("name", PORTRAITS)
def test_portraits_hold_time_and_aperture(name: str) -> None:
    """In portrait plans the time is never longer than 1/250, f/2.8 is kept, and ISO follows the light."""
    plan = load_plan(name)
    assert label(Setting.SHUTTER, plan.shutter.brightest) == "1/250"
    assert plan.aperture.locked and label(Setting.APERTURE, plan.aperture.start) == "f/2.8"
    assert call_for(plan, "1/250 f/2.8 100", -1.0).setting is Setting.ISO


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("offset", [-9.0, -2.0, -0.4, 0.4, 2.0, 9.0])
def test_no_shipped_plan_moves_what_it_holds(name: str, offset: float) -> None:
    """From the plan's own start, a locked setting is never the one to move."""
    plan = load_plan(name)
    call = make_call(plan, Settings(plan.shutter.start, plan.aperture.start, plan.iso.start), reading(offset))
    assert call.setting is None or call.setting is Setting.LIGHT or not plan.allowed(call.setting).locked


def test_a_plan_file_is_read_from_its_path(tmp_path: Path) -> None:
    """Also one that a Windows editor saved with a byte order mark, under a name of any script."""
    path = tmp_path / "Fenster 猫.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_plan(str(path)).name == "Window"


def test_a_plan_with_mistakes_names_its_path(tmp_path: Path) -> None:
    """The error carries the path as it was given."""
    path = tmp_path / "wrong.toml"
    path.write_text("name = 5", encoding="utf-8")
    with pytest.raises(PlanError) as caught:
        load_plan(str(path))
    assert caught.value.source == str(path)


@pytest.mark.parametrize("name", ["", "nowhere", "no/where.toml", "a\0b", "x" * 5000, "\udc80", "../plans/landscape"])
def test_a_plan_that_is_nowhere_is_a_usage_error(name: str) -> None:
    """A name that is neither shipped nor a file gives advice, whatever it is made of."""
    with pytest.raises(UsageError) as caught:
        load_plan(name)
    assert caught.value.problem and caught.value.advice


def test_a_file_that_is_no_text_is_a_usage_error(tmp_path: Path) -> None:
    """Bytes that are not UTF-8, a folder, and a file far too large are each said to be that."""
    picture, huge = tmp_path / "picture.toml", tmp_path / "huge.toml"
    picture.write_bytes(b"\xff\xd8\xff\xe0")
    huge.write_bytes(b"#" * 70_000)
    for path, what in ((picture, "is not text"), (huge, "is too large"), (tmp_path, "cannot be read")):
        with pytest.raises(UsageError, match=what):
            load_plan(str(path))
