"""Pins: what of a frame others are to match, and how well they do."""

from dataclasses import replace

from tetherwatch.advise.records import Plan
from tetherwatch.errors import UsageError
from tetherwatch.exposure.settings import Settings
from tetherwatch.meter.records import Reading, ToneHistogram
from tetherwatch.setups.records import Match, Pin

HIGHLIGHTS_PERCENT, SHADOWS_PERCENT = 99.0, 1.0
"""Where the ends of a picture's tones are taken: beyond them lie glints, dust and noise (judgement)."""


def pin_of(setup: int, frame: int, reading: Reading, settings: Settings) -> Pin:
    """A frame as others are to match it. Raises UsageError where its face was not found, but should have been."""
    if reading.area == "face" and reading.face is None:
        raise UsageError(f"no face was found in frame {frame}", "pin one in which it was")
    return Pin(
        setup=setup,
        frame=frame,
        source=reading.source,
        area=reading.area,
        level_stops=reading.level_stops,
        channels=dict(reading.channel_stops),
        highlights=_tone(reading, HIGHLIGHTS_PERCENT),
        shadows=_tone(reading, SHADOWS_PERCENT),
        settings=settings,
    )


def holds_for(pin: Pin, reading: Reading) -> bool:
    """Whether a frame can be compared with the pinned one: by the same kind of data, of the same kind of area."""
    return (pin.source == "raw", pin.area) == (reading.source == "raw", reading.area)


def aimed(plan: Plan, pin: Pin | None, reading: Reading) -> Plan:
    """The plan with the pinned frame's level as its aim, where the frame can be compared with it."""
    if pin is None or not holds_for(pin, reading):
        return plan
    return replace(plan, aim=replace(plan.aim, from_grey_stops=pin.level_stops))


def match(pin: Pin, reading: Reading) -> Match | None:
    """How a frame compares with the pinned one; None where it cannot be compared.

    The colour of the light is told by ratios of linear channel levels, in which neither exposure nor the camera's white
    balance is.
    """
    if not holds_for(pin, reading):
        return None
    now, then = reading.channel_stops, pin.channels
    others = [channel for channel in then if channel in now and channel != "g" and "g" in then and "g" in now]
    return Match(
        frame=pin.frame,
        offset_stops=reading.level_stops - pin.level_stops,
        channel_stops={channel: (now[channel] - now["g"]) - (then[channel] - then["g"]) for channel in others},
        highlights=pin.highlights - _tone(reading, HIGHLIGHTS_PERCENT),
        shadows=pin.shadows - _tone(reading, SHADOWS_PERCENT),
        measured=reading.source == "raw",
    )


def _tone(reading: Reading, percent: float) -> float:
    return _green(reading).percentile(percent)


def _green(reading: Reading) -> ToneHistogram:
    """The green or only channel of the whole picture."""
    return next((tones for tones in reading.tones if tones.channel in ("g", "y")), reading.tones[0])
