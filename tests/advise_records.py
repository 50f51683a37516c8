"""Plans, settings and readings for the tests of advice."""

from collections.abc import Sequence

from hypothesis import strategies as st

from tetherwatch.advise.records import Allowed, Plan
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness, value_at
from tetherwatch.meter.records import BINS_PER_STOP, STOPS_SHOWN, Aim, Reading, ToneHistogram

BINS = BINS_PER_STOP * STOPS_SHOWN

GOOD = """\
name = "Window"
light = "continuous"
step = "1/3"

[aim]
area = "card"
box = [0.4, 0.4, 0.6, 0.6]
from_grey_stops = 0.0
tolerance_stops = 0.17
clip_limit_percent = 0.5

[shutter]
start = "1/250"
allow = ["1/250", "1/4000"]

[aperture]
start = "f/2.8"
allow = ["f/2.8", "f/2.8"]

[iso]
start = 100
allow = [100, "ceiling"]

[order]
brighter = ["shutter", "iso"]
darker = ["iso", "shutter", "light"]
"""
"""A plan without mistakes."""


def tones(pixels: dict[int, int] | None = None, clipped: int = 0, below: int = 1000) -> ToneHistogram:
    """A green channel with some pixels in given bins below saturation."""
    counts = [0] * BINS
    for bin_, count in (pixels or {}).items():
        counts[bin_] = count
    return ToneHistogram("g", tuple(counts), clipped, below)


def reading(offset: float, area_tones: Sequence[ToneHistogram] = (), light_value: float | None = 7.0) -> Reading:
    """A raw reading of a card that is `offset` stops from an aim at mid-grey."""
    area = tuple(area_tones) or (tones(),)
    return Reading(
        source="raw",
        area="card",
        level_stops=offset,
        offset_stops=offset,
        uncertainty_stops=0.03,
        clipped_percent={"r": 0.0, "g": 0.1, "b": 0.0},
        crushed_percent=1.2,
        area_clipped_percent=max(tone.clipped_percent_after(0.0) for tone in area),
        headroom_stops=1.4,
        light_value=light_value,
        saturation={"r": 16383.0, "g": 16383.0, "b": 16383.0},
        pile_up=(),
        tones=area,
        area_tones=area,
    )


@st.composite
def ranges(draw: st.DrawFn, setting: Setting, step: Step) -> Allowed:
    """An allowed range between two positions of a dial, which is not always the camera's own."""
    dial = Dial(setting, draw(st.sampled_from([step, step, Step.THIRD, Step.HALF])))
    ends = sorted(draw(st.lists(st.sampled_from(dial.positions), min_size=2, max_size=2)))
    darkest, brightest = map(dial.value, ends)
    return Allowed(setting, darkest, brightest, darkest)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Any plan that a plan file and this session's locks can lead to."""
    step = draw(st.sampled_from(Step))
    light = draw(st.sampled_from(["flash", "continuous", "mixed"]))
    shutter, aperture, iso = (draw(ranges(setting, step)) for setting in CAMERA_SETTINGS)
    free = [allowed.setting for allowed in (shutter, aperture, iso) if not allowed.locked]
    levers = [s for s in free if s is not Setting.SHUTTER or light != "flash"] + [Setting.LIGHT]
    brighter, darker = (tuple(draw(st.lists(st.sampled_from(levers), unique=True))) for _ in range(2))
    aim = Aim("card", tolerance_stops=draw(st.sampled_from([0.04, 0.17, 0.25, 0.5, 1.0])))
    return Plan(
        name="Any",
        source="any",
        light=light,  # type: ignore[arg-type]
        step=step,
        aim=aim,
        shutter=shutter,
        aperture=aperture,
        iso=iso,
        brighter=brighter,
        darker=darker,
        sync_s=min(2.0**-8, shutter.darkest),
    )


@st.composite
def values_inside(draw: st.DrawFn, allowed: Allowed, step: Step) -> float | None:
    """A setting inside its range: on the dial, between its positions, or unknown."""
    low, high = brightness(allowed.setting, allowed.darkest), brightness(allowed.setting, allowed.brightest)
    on_dial = [allowed.darkest, allowed.brightest]
    on_dial += [v for v in map(Dial(allowed.setting, step).value, Dial(allowed.setting, step).positions)
                if low <= brightness(allowed.setting, v) <= high]  # fmt: skip
    between = st.floats(low, high).map(lambda stops: value_at(allowed.setting, stops))
    return draw(st.sampled_from(on_dial) | st.sampled_from(on_dial) | between | st.none())


@st.composite
def settings_inside(draw: st.DrawFn, plan: Plan) -> Settings:
    """Camera settings that the plan allows, some of them unknown."""
    return Settings(*(draw(values_inside(plan.allowed(setting), plan.step)) for setting in CAMERA_SETTINGS))


offsets = st.floats(-14, 14) | st.sampled_from([0.0, 0.17, -0.17, 0.5, -0.5, 1 / 6, -1 / 6, 1.0, -1.5])


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    """Any offset, and tones that may clip when they get brighter."""
    pixels = draw(st.dictionaries(st.integers(0, BINS - 1), st.integers(0, 300), max_size=5))
    return reading(draw(offsets), [tones(pixels, draw(st.integers(0, 9)), draw(st.integers(1, 2000)))])


@st.composite
def cases(draw: st.DrawFn) -> tuple[Plan, Settings, Reading]:
    """A plan, settings it allows, and a reading."""
    plan = draw(plans())
    return plan, draw(settings_inside(plan)), draw(readings())
