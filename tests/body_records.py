"""Body profiles, invented for the tests."""

from datetime import date

from hypothesis import strategies as st

from tetherwatch.body.records import Body, Ceiling, Grey, IsoDial, Measured, Noise
from tetherwatch.exposure.dial import Dial, Step
from tetherwatch.exposure.stops import Setting

THIRDS = Dial(Setting.ISO, Step.THIRD)
SPEEDS = tuple(map(THIRDS.value, THIRDS.positions))

BODY = Body(
    name="harrow-q24",
    camera="Harrow Q24",
    serial="HQ-204417",
    dial=IsoDial(Step.THIRD, 100.0, 25_600.0),
    ceiling=Ceiling(6400.0, SPEEDS[SPEEDS.index(6400.0) - 1], 6400.0, "the shadows end it"),
    noise=(
        Noise(100.0, 0.25, 5.0, {"g": 15_000.0}),
        Noise(1600.0, 4.0, 2.5, {"g": 15_800.0}),
        Noise(25_600.0, 64.0, 2.4),
    ),
    measured=Measured(date(2026, 11, 20), 10),
)
"""A body that was measured on a ladder of three rungs."""

_TEXT = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=40)
_SIZE = st.floats(1e-6, 1e6)


@st.composite
def bodies(draw: st.DrawFn) -> Body:
    """Any profile that can be written."""
    speeds = st.sampled_from(SPEEDS) | st.integers(120_000, 10**8).map(float)
    measured = st.floats(50.5, 102_399.5).filter(lambda iso: iso != round(iso))
    low, iso, high = sorted(draw(st.tuples(*[st.sampled_from(SPEEDS) | measured] * 3)))
    rungs = sorted(draw(st.sets(speeds, max_size=5)))
    saturation = st.dictionaries(st.sampled_from("rgby"), _SIZE, max_size=4)
    days = st.dates()
    return Body(
        name="any",
        camera=draw(_TEXT),
        serial=draw(st.none() | _TEXT),
        dial=draw(st.none() | st.sampled_from(Step).map(lambda step: IsoDial(step, low, high))),
        ceiling=draw(st.none() | _TEXT.map(lambda found: Ceiling(iso, low, high, found))),
        noise=tuple(Noise(each, draw(_SIZE), draw(st.floats(0, 1e5)), draw(saturation)) for each in rungs),
        grey=draw(st.none() | st.builds(Grey, st.floats(1e-4, 0.999), days)),
        measured=draw(st.none() | st.builds(Measured, days, st.integers(1, 999), st.booleans())),
    )
