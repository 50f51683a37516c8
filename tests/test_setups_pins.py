"""How a frame matches the pinned one: offsets, the colour of the light, the ends of the tones."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from screen_records import SETTINGS, plan, reading

from tetherwatch.frame.records import Channel
from tetherwatch.meter.records import Box, Face, Point, Reading
from tetherwatch.setups.pins import aimed, match, pin_of
from tetherwatch.setups.records import Match

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "scripts"))

from benchmarks.setups import capture_rows, match_rows

stops = st.floats(-2, 2)
FACE = Face(Box(0.4, 0.2, 0.6, 0.6), Point(0.45, 0.35), Point(0.55, 0.35), 1.0)


def measured(level: float, red: float = 0.0, blue: float = 0.0, **changes: object) -> Reading:
    """A raw whose channels lie at a level, red and blue by so much apart."""
    channels: dict[Channel, float] = {"r": level + red - 4, "g": level - 3, "b": level + blue - 3.5}
    return reading(level, level_stops=level, channel_stops=channels, **{"face": FACE, **changes})


def matched(before: Reading, after: Reading) -> Match:
    """The second frame against the first, which is pinned."""
    found = match(pin_of(2, 7, before, SETTINGS), after)
    assert found is not None
    return found


@given(stops, stops, stops, stops)
def test_exposure_and_colour_are_told_apart(level: float, change: float, red: float, blue: float) -> None:
    """Ratios of channels do not depend on the exposure, nor the offset on colour."""
    found = matched(measured(level), measured(level + change, red, blue))
    assert found.offset_stops == pytest.approx(change)
    assert found.channel_stops["r"] == pytest.approx(red)
    assert found.channel_stops["b"] == pytest.approx(blue)
    assert found.measured
    assert found.frame == 7


def test_frames_that_cannot_be_compared_are_not() -> None:
    """Of another area, or a raw with an estimate; two estimates can, and are called that."""
    pin = pin_of(1, 1, measured(0.0), SETTINGS)
    assert match(pin, measured(0.0, area="frame")) is None
    assert match(pin, measured(0.0, source="jpeg")) is None
    assert not matched(measured(0.0, source="jpeg"), measured(0.1, source="preview")).measured


def test_the_pinned_level_is_the_aim() -> None:
    """Where the frame can be compared; else the plan's own stays."""
    pin = pin_of(1, 1, measured(0.4), SETTINGS)
    assert aimed(plan(), pin, measured(0.0)).aim.from_grey_stops == 0.4
    assert aimed(plan(), pin, measured(0.0, area="frame")) == plan()
    assert aimed(plan(), None, measured(0.0)) == plan()


def test_a_monochrome_frame_has_no_colour_to_drift() -> None:
    """Its offset is told all the same."""
    grey = replace(measured(0.0), channel_stops={"y": -3.0})
    found = matched(grey, replace(grey, level_stops=0.2))
    assert found.channel_stops == {}
    assert found.offset_stops == pytest.approx(0.2)


def test_pictures_match_what_was_changed_between_them() -> None:
    """Offsets to 0.03 stop and channel ratios to 2 %, over light, its colour, white balance, ISO and aperture."""
    assert [row.held for row in match_rows(20)] == [True, True]


def test_real_raws_match_what_was_changed_between_them() -> None:
    """The same through captures that are written, decoded and metered, whatever white balance they state."""
    assert [row.held for row in capture_rows(4)] == [True, True]
