"""Plan files: every mistake is named at once, with key and line, and no text does any harm."""

import pytest
from advise_records import GOOD
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.advise.planfile import parse_plan
from tetherwatch.advise.records import Allowed, Scene
from tetherwatch.errors import Mistake, PlanError
from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.stops import Setting
from tetherwatch.meter.records import CENTRE_BOX, Box


def problems(text: str, ceiling_iso: float | None = None) -> tuple[Mistake, ...]:
    """The mistakes of a plan that has some."""
    with pytest.raises(PlanError) as caught:
        parse_plan(text, "mine.toml", ceiling_iso)
    assert caught.value.source == "mine.toml"
    return caught.value.problems


def line_with(text: str, part: str) -> int:
    """The line on which a text has this part, from 1."""
    return next(number for number, line in enumerate(text.split("\n"), start=1) if part in line)


def test_a_good_plan_is_read_in_exact_dial_values() -> None:
    """Nominal numbers become the powers of two they stand for; both orders and the aim are as written."""
    plan = parse_plan(GOOD, "mine.toml", 6400.0)
    assert (plan.name, plan.source, plan.light, plan.step) == ("Window", "mine.toml", "continuous", Step.THIRD)
    assert (plan.shutter.darkest, plan.shutter.brightest, plan.shutter.start) == (2.0**-12, 2.0**-8, 2.0**-8)
    assert plan.aperture.locked and plan.aperture.start == pytest.approx(2.0**1.5)
    assert (plan.iso.darkest, plan.iso.brightest) == (100.0, 6400.0)
    assert plan.brighter == (Setting.SHUTTER, Setting.ISO)
    assert plan.darker == (Setting.ISO, Setting.SHUTTER, Setting.LIGHT)
    assert (plan.aim.area, plan.aim.box, plan.aim.tolerance_stops) == ("card", Box(0.4, 0.4, 0.6, 0.6), 0.17)
    assert plan.notes == ()


def test_what_has_a_default_may_be_left_out() -> None:
    """Step, sync and the whole aim have defaults; the wide, centre-weighted frame is metered then."""
    start, end = GOOD.index("[aim]"), GOOD.index("[shutter]")
    plan = parse_plan(GOOD[:start].replace('step = "1/3"\n', "") + GOOD[end:], "mine.toml")
    assert (plan.step, plan.sync_s) == (Step.THIRD, 2.0**-8)
    assert (plan.aim.area, plan.aim.box, plan.aim.clip_limit_percent) == ("frame", CENTRE_BOX, 0.5)


SHUTTER = 'allow = ["1/250", "1/4000"]'
SINGLE = [
    ('name = "Window"', 'name = ""', "name", "this may not be empty"),
    ('name = "Window"', f'name = "{"x" * 81}"', "name", "it should have at most 80 characters"),
    ('name = "Window"', "name = 5", "name", "it should be a valid string"),
    ('name = "Window"', "name = 1979-05-27", "name", "it should be a valid string"),
    ('light = "continuous"', 'light = "sun"', "light", "it should be 'flash', 'continuous' or 'mixed'"),
    ('light = "continuous"', "light = []", "light", "it should be 'flash', 'continuous' or 'mixed'"),
    ('step = "1/3"', 'step = "1/4"', "step", "it should be '1/3', '1/2' or '1'"),
    ('step = "1/3"', "step = 1", "step", "it should be '1/3', '1/2' or '1'"),
    ('step = "1/3"', 'sync = "soon"', "sync", "'soon' is not a value for shutter"),
    ('step = "1/3"', "sync = true", "sync", "this is not a setting's value"),
    ('step = "1/3"', 'mood = "calm"', "mood", "unknown key"),
    ('step = "1/3"', 'str = "calm"', "str", "unknown key"),
    ('step = "1/3"', '"two words" = 1', "two words", "unknown key"),
    ("[aim]", "[colour]\nwarm = 1\n[aim]", "colour", "unknown key"),
    ('area = "card"', 'area = "nose"', "aim.area", "it should be 'face', 'card', 'box' or 'frame'"),
    ('area = "card"', 'area = "frame"', "aim.box", 'a box has no effect with area = "frame"'),
    ("box = [0.4, 0.4, 0.6, 0.6]", "box = [0.4, 0.4, 0.6]", "aim.box", "it needs 4, not 3"),
    ("box = [0.4, 0.4, 0.6, 0.6]", "box = [0.4, 0.4, 0.6, 6]", "aim.box", "it should be less than or equal to 1"),
    ("box = [0.4, 0.4, 0.6, 0.6]", "box = [0.6, 0.4, 0.4, 0.6]", "aim.box", "the box has no area"),
    ("from_grey_stops = 0.0", "from_grey_stops = 9", "aim.from_grey_stops", "it should be less than or equal to 3"),
    ("from_grey_stops = 0.0", "from_grey_stops = nan", "aim.from_grey_stops", "it should be"),
    ("from_grey_stops = 0.0", "from_grey_stops = -inf", "aim.from_grey_stops", "it should be greater than or equal"),
    ("tolerance_stops = 0.17", "tolerance_stops = 0", "aim.tolerance_stops", "it should be greater than 0"),
    ("tolerance_stops = 0.17", "tolerance_stops = nan", "aim.tolerance_stops", "it should be"),
    ("tolerance_stops = 0.17", 'tolerance_stops = "0.2"', "aim.tolerance_stops", "it should be a valid number"),
    ("clip_limit_percent = 0.5", "clip_limit_percent = 101", "aim.clip_limit_percent", "it should be less than"),
    ("clip_limit_percent = 0.5", "clip_limit_percent = nan", "aim.clip_limit_percent", "it should be"),
    ("clip_limit_percent = 0.5", "float = 0.5", "aim.float", "unknown key"),
    ('start = "1/250"', 'start = "1/60"', "shutter.start", "1/60 lies outside allow"),
    ('start = "1/250"', 'start = "f/4"', "shutter.start", "'f/4' is not a value for shutter"),
    ('start = "1/250"', "start = 1979-05-27", "shutter.start", "this is not a setting's value"),
    (SHUTTER, 'allow = ["1/4000", "1/250"]', "shutter.allow", "wrong way round: the slowest time first"),
    (SHUTTER, 'allow = ["1/250", "1/16000"]', "shutter.allow", "'1/16000' is on no shutter dial"),
    (SHUTTER, 'allow = ["1/250"]', "shutter.allow", "it needs 2, not 1"),
    (SHUTTER, 'allow = "1/250"', "shutter.allow", "it should be a valid list"),
    (SHUTTER, 'allow = ["1/250", {a = 1}]', "shutter.allow", "this is not a setting's value"),
    (SHUTTER, 'allow = ["1/250", "ceiling"]', "shutter.allow", "'ceiling' is not a value for shutter"),
    ('allow = ["f/2.8", "f/2.8"]', 'allow = ["f/4", "f/2"]', "aperture.allow", "the widest aperture first"),
    ("start = 100", 'start = "ceiling"', "iso.start", "'ceiling' is not a value for iso"),
    ("start = 100", "start = 150", "iso.start", "150 is on no iso dial"),
    ("start = 100", f"start = 0x{'f' * 5000}", "iso.start", "this is not a setting's value"),
    ('allow = [100, "ceiling"]', "allow = [800, 100]", "iso.allow", "the lowest ISO first, then the highest"),
    ('brighter = ["shutter", "iso"]', "brighter = []", "order.brighter", "it needs at least 1, not 0"),
    ('brighter = ["shutter", "iso"]', 'brighter = ["zoom"]', "order.brighter", "it should be 'shutter', 'aperture'"),
    ('brighter = ["shutter", "iso"]', 'brighter = ["iso", "iso"]', "order.brighter", "iso is named twice"),
    ('brighter = ["shutter", "iso"]', 'brighter = ["aperture"]', "order.brighter", "aperture is locked"),
]


@pytest.mark.parametrize(("right", "wrong", "key", "what"), SINGLE, ids=[case[1][:40] for case in SINGLE])
def test_each_mistake_is_named_with_key_and_line(right: str, wrong: str, key: str, what: str) -> None:
    """One mistake gives one problem: its dotted key, its line, and what is wrong in words."""
    text = GOOD.replace(right, wrong, 1)
    (problem,) = problems(text)
    assert problem.key == key
    assert what in problem.problem
    assert problem.line == line_with(text, "box =" if key == "aim.box" else wrong.split("\n")[0])


@pytest.mark.parametrize(
    ("gone", "key", "line_of_table", "what"),
    [
        ('name = "Window"\n', "name", None, "this key is missing"),
        ('light = "continuous"\n', "light", None, "this key is missing"),
        ('start = "1/250"\n', "shutter.start", "[shutter]", "this key is missing"),
        ('allow = ["f/2.8", "f/2.8"]\n', "aperture.allow", "[aperture]", "this key is missing"),
        ('brighter = ["shutter", "iso"]\n', "order.brighter", "[order]", "this key is missing"),
        (GOOD[GOOD.index("[order]") :], "order", None, "the table [order] is missing"),
    ],
)
def test_what_is_missing_is_named_at_its_table(gone: str, key: str, line_of_table: str | None, what: str) -> None:
    """A key that is not there has the line of its table; where there is no table, none."""
    text = GOOD.replace(gone, "", 1)
    line = None if line_of_table is None else line_with(text, line_of_table)
    assert problems(text) == (Mistake(key, line, what),)


def test_ten_mistakes_are_ten_problems() -> None:
    """All mistakes of a file come together, in the order of their lines."""
    text = """\
name = ""
light = "flash"
step = "1/4"
mood = "calm"
[aim]
box = [0.4, 0.4, 0.3, 0.6]
area = "nose"
[shutter]
start = "1/250"
allow = ["1/60", "1/1000"]
colour = "red"
[aperture]
allow = ["f/8", "f/2.8"]
[iso]
start = 50
allow = [100, 800]
[order]
brighter = ["iso", "shutter"]
darker = ["moon"]
"""
    found = [(problem.line, problem.key) for problem in problems(text)]
    assert found == [
        (1, "name"),
        (3, "step"),
        (4, "mood"),
        (6, "aim.box"),
        (7, "aim.area"),
        (10, "shutter.allow"),
        (11, "shutter.colour"),
        (12, "aperture.start"),
        (13, "aperture.allow"),
        (15, "iso.start"),
        (18, "order.brighter"),
        (19, "order.darker"),
    ]


def test_a_wrong_key_causes_no_other_complaint() -> None:
    """What depends on a key that is wrong itself is not judged by a default."""
    text = GOOD.replace('light = "continuous"', 'light = "flash"').replace('step = "1/3"', "sync = true")
    text = text.replace('area = "card"', 'area = "nose"').replace('["shutter", "iso"]', '["iso"]')
    text = text.replace('["iso", "shutter", "light"]', '["iso", "light"]')
    assert [problem.key for problem in problems(text)] == ["sync", "aim.area"]


SCENE = "[scene]\ntripod = true\nspeed_m_s = 2\ndistance_m = 6.0\nmains_hz = 50\n"


def test_a_scene_is_read() -> None:
    """What it says is taken over; what it leaves out is hand-held or unknown, and so is all of it without the table."""
    assert parse_plan(GOOD + SCENE, "mine.toml").scene == Scene(True, 2.0, 6.0, 50)
    assert parse_plan(GOOD + "[scene]\nmains_hz = 60\n", "mine.toml").scene == Scene(mains_hz=60)
    assert parse_plan(GOOD + "[scene]\n", "mine.toml").scene == parse_plan(GOOD, "mine.toml").scene == Scene()


def test_the_power_of_the_light_is_read() -> None:
    """Its ends and start become parts of full power; without the table there are none."""
    power = parse_plan(GOOD + '[power]\nstart = "1/8"\nallow = ["1/256", "1/1"]\n', "mine.toml").power
    assert power == Allowed(Setting.LIGHT, darkest=1 / 256, brightest=1.0, start=1 / 8)
    assert parse_plan(GOOD, "mine.toml").power is None


@pytest.mark.parametrize(
    ("line", "key", "what"),
    [
        ('tripod = "yes"', "scene.tripod", "it should be a valid boolean"),
        ("tripod = 1", "scene.tripod", "it should be a valid boolean"),
        ("speed_m_s = -1", "scene.speed_m_s", "it should be greater than or equal to 0"),
        ("speed_m_s = nan", "scene.speed_m_s", "it should be"),
        ("speed_m_s = 101", "scene.speed_m_s", "it should be less than or equal to 100"),
        ('speed_m_s = "2 m/s"', "scene.speed_m_s", "it should be a valid number"),
        ("distance_m = 0", "scene.distance_m", "it should be greater than 0"),
        ("distance_m = inf", "scene.distance_m", "it should be"),
        ("mains_hz = 55", "scene.mains_hz", "it should be 50 or 60"),
        ('mains_hz = "50"', "scene.mains_hz", "it should be 50 or 60"),
        ("mood = 1", "scene.mood", "unknown key"),
    ],
)
def test_each_mistake_of_a_scene_is_named(line: str, key: str, what: str) -> None:
    """Wrong types, impossible numbers and unknown keys have their key and line."""
    text = f"{GOOD}[scene]\n{line}\n"
    (problem,) = problems(text)
    assert (problem.key, problem.line) == (key, line_with(text, line))
    assert what in problem.problem


@pytest.mark.parametrize(
    ("table", "key", "what"),
    [
        ('start = "1/8"', "power.allow", "this key is missing"),
        ('allow = ["1/256", "1/1"]', "power.start", "this key is missing"),
        ('start = "1/8"\nallow = ["1/1", "1/256"]', "power.allow", "the lowest power first"),
        ('start = "1/8"\nallow = ["1/4", "1/1"]', "power.start", "1/8 lies outside allow"),
        ('start = "1/3"\nallow = ["1/256", "1/1"]', "power.start", "'1/3' is not a power"),
        ('start = "1/8"\nallow = ["1/256", "1/1 +0.3"]', "power.allow", "more than full power"),
        ('start = 0.5\nallow = ["1/256", "1/1"]', "power.start", "it should be a valid string"),
        ('start = "1/8"\nallow = ["1/256"]', "power.allow", "it needs 2, not 1"),
        ('start = "1/8"\nallow = ["1/256", "1/1"]\nstep = 1', "power.step", "unknown key"),
    ],
)
def test_each_mistake_of_a_power_is_named(table: str, key: str, what: str) -> None:
    """Its spelling, its order and its start are checked like those of the camera's settings."""
    (problem,) = problems(f"{GOOD}[power]\n{table}\n")
    assert problem.key == key
    assert what in problem.problem


def test_flash_forbids_the_shutter() -> None:
    """Under flash the shutter is no lever; under flash and mixed light no time may be shorter than the sync speed."""
    flash = GOOD.replace("continuous", "flash")
    assert [(problem.key, problem.problem.split(":")[0]) for problem in problems(flash)] == [
        ("shutter.allow", "1/4000 is faster than the sync speed 1/250"),
        ("order.brighter", "shutter does not change flash exposure"),
        ("order.darker", "shutter does not change flash exposure"),
    ]
    assert [problem.key for problem in problems(GOOD.replace("continuous", "mixed"))] == ["shutter.allow"]
    slow = GOOD.replace("continuous", "mixed").replace('"1/4000"', '"1/200"').replace('step = "1/3"', 'sync = "1/160"')
    slow = slow.replace("1/250", "1/60")
    assert [problem.problem.split(":")[0] for problem in problems(slow)] == [
        "1/200 is faster than the sync speed 1/160"
    ]


@pytest.mark.parametrize(
    ("given_iso", "step", "highest"),
    [(None, "1/3", 3200.0), (12800.0, "1/3", 12800.0), (3000.0, "1/3", 2500.0), (1250.0, "1/3", 1250.0),
     (1250.0, "1/2", 1100.0), (5000.0, "1", 3200.0), (1e12, "1", 102400.0)],
)  # fmt: skip
def test_the_ceiling_is_a_limit(given_iso: float | None, step: str, highest: float) -> None:
    """ "ceiling" is the highest ISO of the dial that is not above what the user accepts; 3200 if nothing is said."""
    plan = parse_plan(GOOD.replace('"1/3"', f'"{step}"'), "mine.toml", given_iso)
    assert plan.iso.brightest == pytest.approx(highest, rel=0.03)
    assert plan.ceiling_iso == plan.iso.brightest
    assert any("ISO 3200 is assumed" in note for note in plan.notes) == (given_iso is None)


def test_a_ceiling_says_whose_it_is() -> None:
    """A ceiling of a body profile is noted with its name, a user's own needs no note; neither counts as assumed."""
    measured, own = parse_plan(GOOD, "mine.toml", 6400.0, "q24"), parse_plan(GOOD, "mine.toml", 6400.0)
    assert measured.notes == ("the noise ceiling, ISO 6400, is that of body profile q24",)
    assert own.notes == ()
    assert [plan.ceiling_assumed for plan in (measured, own, parse_plan(GOOD, "mine.toml"))] == [False, False, True]


@pytest.mark.parametrize(
    ("ceiling", "what"),
    [(64.0, "the ceiling, ISO 64, lies below 100"), (0.0, "lies below every dial"), (-5.0, "lies below every dial"),
     (float("nan"), "lies below every dial")],
)  # fmt: skip
def test_a_ceiling_below_the_plan_is_a_mistake(ceiling: float, what: str) -> None:
    """A ceiling under the lowest ISO is named as such."""
    (problem,) = problems(GOOD, ceiling)
    assert (problem.key, problem.line) == ("iso.allow", line_with(GOOD, "ceiling"))
    assert what in problem.problem


def test_a_note_says_what_faces_need(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan for the face says how to install what finds faces, and what is metered without; not once it is there."""
    text = GOOD.replace('area = "card"\nbox = [0.4, 0.4, 0.6, 0.6]', 'area = "face"')
    assert not any("faces" in note for note in parse_plan(text, "mine.toml", 800.0).notes)
    monkeypatch.setattr("tetherwatch.face.package.PACKAGE", "not_there_at_all")
    (note,) = (note for note in parse_plan(text, "mine.toml", 800.0).notes if "faces" in note)
    assert "tetherwatch[face]" in note and "frame is metered instead" in note


def test_other_ways_to_write_tables_are_read() -> None:
    """Dotted keys, inline tables, quoted names, Windows line ends and several lines for one list are all TOML."""
    plan = parse_plan(GOOD, "mine.toml")
    without = GOOD[: GOOD.index("[aperture]")] + GOOD[GOOD.index("[iso]") :]
    inline = 'aperture = { start = "f/2.8", allow = ["f/2.8", "f/2.8"] }\n' + without
    dotted = 'aperture.start = "f/2.8"\naperture.allow = ["f2.8", 2.8]\n' + without
    for text in (dotted, inline, GOOD.replace("\n", "\r\n"), GOOD.replace("[iso]", '[ "iso" ] # speed'),
                 GOOD.replace('["1/250", "1/4000"]', '[\n  "1/250",\n  "1/4000",\n]')):  # fmt: skip
        assert parse_plan(text, "mine.toml") == plan


@pytest.mark.parametrize(
    ("text", "key", "line"),
    [
        (GOOD.replace("\n", "\r\n").replace("start = 100", "start = 0"), "iso.start", 21),
        (GOOD.replace("[iso]\nstart", "[ 'iso' ]\n\"start\""). replace("= 100", "= 0"), "iso.start", 21),
        (GOOD[: GOOD.index("[iso]")].replace("[aim]", "iso . start = 0\niso.allow = [100, 800]\n[aim]")
         + GOOD[GOOD.index("[order]") :], "iso.start", 5),
        ('iso = { start = 0, allow = [100, 800] }\n' + GOOD[: GOOD.index("[iso]")]
         + GOOD[GOOD.index("[order]") :], "iso.start", 1),
        (GOOD.replace('name = "Window"', 'name = """\n[iso]\nstart = 1\n"""').replace("= 100", "= 0"), "iso.start", 24),
        ("# \x85 \u2028 \x0b\n".replace("\x0b", "") + GOOD.replace("= 100", "= 0"), "iso.start", 22),
        (GOOD.replace("start = 100", "start = [\n[5],\n]"), "iso.start", 21),
    ],
    ids=["CRLF", "quoted", "dotted", "inline", "long string", "odd line ends", "list"],
)  # fmt: skip
def test_lines_are_found_however_it_is_written(text: str, key: str, line: int) -> None:
    """The line is that of the key, or of the inline table that holds it, as an editor counts lines."""
    (problem,) = problems(text)
    assert (problem.key, problem.line) == (key, line)


SYNTAX = {
    "nothing closes": ('name = "x\n', 1),
    "no value": ("name = \n", 1),
    "a table twice": (GOOD + "[iso]\n", line_with(GOOD + "[iso]#2", "[iso]#2")),
    "a key twice": ("a = 1\na = 2\nb = 3", 2),
    "a byte order mark": ("\ufeff" + GOOD, 1),
    "an escape code": ('name = "\x1b[2J"\n', 1),
    "a lone surrogate": ('name = "\\ud800"\n', 1),
    "nested deeply": ("a = " + "[" * 50_000, None),
    "tables nested deeply": ("a = " + "{a = " * 10_000, None),
    "a name of many parts": ("a." * 20_000 + "b = 1", None),
    "a huge number": ("a = " + "9" * 5000, None),
    "an impossible date": ("a = 2031-02-30\n", None),
}


@pytest.mark.parametrize(("text", "line"), SYNTAX.values(), ids=SYNTAX)
def test_text_that_is_no_plan_is_one_problem(text: str, line: int | None) -> None:
    """Broken TOML is one problem that says where reading stopped, where that is known."""
    (problem,) = problems(text)
    assert problem.key == ""
    assert problem.problem.startswith(("not valid TOML: ", "not a plan: "))
    assert "line" not in problem.problem
    if line is not None:
        assert problem.line in (line, None)


@pytest.mark.parametrize(
    "value", ["5", '"x"', "[1]", "[[1]]", "true", "nan", "1979-05-27", "07:32:00", "{}", "{a = 1}"]
)
@pytest.mark.parametrize("key", ["name", "aim", "shutter", "aperture", "iso", "order", "power", "scene"])
def test_a_part_of_the_wrong_type_is_named(key: str, value: str) -> None:
    """Whatever stands in place of a table or a key, its name comes back in the problems."""
    start, end = GOOD.find(f"[{key}]"), GOOD.find("\n[", GOOD.find(f"[{key}]") + 1)
    without = GOOD if start < 0 else GOOD[:start] + (GOOD[end:] if end > 0 else "")
    text = GOOD.replace('name = "Window"\n', "") if key == "name" else without
    if (key, value) in (("name", '"x"'), ("aim", "{}"), ("scene", "{}")):
        assert parse_plan(f"{key} = {value}\n{text}", "mine.toml")
    else:
        found = problems(f"{key} = {value}\n{text}")
        assert {problem.key.split(".")[0] for problem in found} == {key}
        assert {problem.line for problem in found} == {1}


def test_a_list_of_tables_is_no_table() -> None:
    """Doubled brackets make a list, which is named at its line."""
    text = GOOD.replace("[iso]", "[[iso]]")
    assert problems(text) == (Mistake("iso", line_with(text, "[[iso]]"), "this should be a table"),)


def test_an_unknown_key_of_hostile_text_is_kept_for_showing() -> None:
    """Text from the file comes back as it is; who shows it makes it safe."""
    (problem,) = problems(GOOD.replace('step = "1/3"', '"\\u001b[2J\\u202e" = 1'))
    assert problem == Mistake("\x1b[2J\u202e", None, "unknown key")


VALUES = ["5", "-1", "0", '"x"', '"1/250"', '"ceiling"', "[]", "[100, 800]", '["iso"]', "true", "nan", "-inf",
          "1979-05-27T07:32:00Z", "{}", "{a = 1}", '"1/3"', '"f/2.8"', "1e308", "0xffffffff", '""', '"\\u0000"',
          f"1{'0' * 400}", f"0x{'f' * 5000}"]  # fmt: skip
KEYS = ["name", "light", "step", "sync", "area", "box", "start", "allow", "brighter", "darker", "[aim]", "[iso]",
        "[scene]", "[power]", "tripod", "mains_hz", "speed_m_s",
        "[shutter]", "[aperture]", "[order]", "[[iso]]", "tolerance_stops", "aim.box", "x"]  # fmt: skip


@st.composite
def almost_plans(draw: st.DrawFn) -> str:
    """A plan some of whose lines were replaced."""
    lines = GOOD.split("\n")
    for place in draw(st.lists(st.integers(0, len(lines) - 1), max_size=5)):
        key = draw(st.sampled_from(KEYS))
        own = lines[place].partition("=")[0] if "=" in lines[place] else key
        lines[place] = draw(st.sampled_from([key, f"{key} = {draw(st.sampled_from(VALUES))}",
                                             f"{own} = {draw(st.sampled_from(VALUES))}"]))  # fmt: skip
    return "\n".join(lines)


@given(st.text() | almost_plans() | st.text(alphabet="[]{}=\"'.,\n#a1\\ "), st.none() | st.floats())
def test_any_text_is_a_plan_or_a_plan_error(text: str, ceiling: float | None) -> None:
    """Whatever a file holds, the answer is a plan or its problems, each with words and a line inside the file."""
    try:
        parse_plan(text, "mine.toml", ceiling)
    except PlanError as error:
        assert error.problems
        for problem in error.problems:
            assert problem.problem
            assert problem.line is None or 1 <= problem.line <= text.count("\n") + 1
            assert "Exceeds the limit" not in problem.problem
