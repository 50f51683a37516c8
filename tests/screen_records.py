"""Invented session records for the tests of the screen."""

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from tetherwatch.advise.landing import Landing, Score
from tetherwatch.advise.records import Allowed, Call, CallKind, Finding, Plan, Predicted
from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Channel, Metadata
from tetherwatch.meter.records import BINS_PER_STOP, STOPS_SHOWN, Aim, Box, Reading, Thumbnail, ToneHistogram
from tetherwatch.session.records import FrameRecord, SessionView
from tetherwatch.watch.records import Capture, Health, Problem

SETTINGS = Settings(2**-8, 2**1.5, 400.0)
NOW = 1_800_000_000.0
HOSTILE = "a\x1b[2J\x1b]0;x\x07[bold]b[/bold]\nline\r\t\x9b31m\u202e猫🐈‍⬛é.dng"

CALLS: dict[CallKind, Call] = {
    "brighter": Call(
        "brighter",
        "The face is one stop under its aim and ISO comes first in this plan.",
        Setting.ISO,
        "400",
        "800",
        1.0,
        0.0,
        Predicted(-0.02, 0.2),
    ),
    "darker": Call(
        "darker",
        "The face is two stops over; the shutter can give one and two thirds.",
        Setting.SHUTTER,
        "1/250",
        "1/800",
        -1.7,
        -0.3,
        Predicted(0.33, 0.1),
    ),
    "hold": Call("hold", "Right as it is."),
    "check": Call("check", "This frame is 3 stops darker than the last ones at the same settings: did the flash fire?"),
    "blocked": Call("blocked", "Every setting is at its end; add light or unlock the ISO.", left_stops=1.3),
}
LIGHT_CALL = Call("darker", "Only the light may still move.", Setting.LIGHT, move_stops=-0.7)
UNKNOWN_CALL = Call("brighter", "One stop under.", Setting.APERTURE, None, "f/2", 1.0)
POWER_CALL = Call(
    "brighter",
    "In this mixed light the picture moves by 0.92 ±0.29 stops.",
    Setting.LIGHT,
    "1/8",
    "1/4 +0.3",
    1.3,
    0.0,
    Predicted(-0.1, 0.2, 0.29),
)
COMPENSATION_CALL = Call(
    "brighter", "The camera is on aperture priority.", Setting.COMPENSATION, "+0.0", "+0.7", 0.7, 0.0, Predicted(0, 0)
)
STRAY_CALL = Call("check", "Set it back, or unlock it.", Setting.APERTURE, "f/2.8", "f/4", -1.0)
POWER = Allowed(Setting.LIGHT, 1 / 64, 1.0, 1 / 8)

FINDINGS = (
    Finding("diffraction", "f/22 softens fine detail: diffraction spreads a point over 7.4 pixels"),
    Finding("hand-hold", "1/60 is slow to hold by hand at 85 mm: 1/100 or faster, or a tripod"),
    Finding("sync", "1/400 is faster than sync speed 1/200: part of the frame gets no flash"),
)
"""The least important first."""

LANDING = Landing(Setting.ISO, 1.0, 0.02, 0.05, 0.03, 0.97)
SCORE = Score((LANDING, replace(LANDING, error_stops=-0.11), LANDING))


def plan(**changes: object) -> Plan:
    """A plan that locks the shutter and frees the rest."""
    made = Plan(
        name="Portrait by the window",
        source="window",
        light="continuous",
        step=Step.THIRD,
        aim=Aim("face"),
        shutter=Allowed(Setting.SHUTTER, 2**-8, 2**-8, 2**-8),
        aperture=Allowed(Setting.APERTURE, 2**2.5, 2.0, 2**1.5),
        iso=Allowed(Setting.ISO, 100.0, 3200.0, 100.0),
        brighter=(Setting.ISO, Setting.APERTURE),
        darker=(Setting.ISO, Setting.LIGHT),
        sync_s=1 / 200,
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def tones(channel: Channel, peak_stops: float = 3.0, clipped: int = 40) -> ToneHistogram:
    """A bell around `peak_stops` below saturation."""
    bins = (k / BINS_PER_STOP for k in range(STOPS_SHOWN * BINS_PER_STOP))
    counts = tuple(int(9000 * math.exp(-(((stops - peak_stops) / 1.4) ** 2))) for stops in bins)
    return ToneHistogram(channel, counts, clipped, 25)


def reading(offset: float = -1.02, channels: Sequence[Channel] = ("r", "g", "b"), **changes: object) -> Reading:
    """A raw reading of a face."""
    made = Reading(
        source="raw",
        area="face",
        level_stops=offset,
        offset_stops=offset,
        uncertainty_stops=0.03,
        clipped_percent={channel: 0.05 * place for place, channel in enumerate(channels)},
        crushed_percent=1.2,
        area_clipped_percent=0.0,
        headroom_stops=1.4,
        light_value=7.1,
        saturation={channel: 15871.0 for channel in channels},
        pile_up=(),
        tones=tuple(tones(channel, 3.0 + place) for place, channel in enumerate(channels)),
        area_tones=(),
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def thumbnail(width: int = 96, height: int = 64) -> Thumbnail:
    """A bright disc before a dark ground, clipped at its heart, with a metered box."""
    rgb, clipped = bytearray(), bytearray()
    for y in range(height):
        for x in range(width):
            far = math.hypot((x + 0.5) / width - 0.5, ((y + 0.5) / height - 0.45) * height / width)
            light = max(0.0, 1 - far * 2.4)
            rgb += bytes((int(40 + 200 * light), int(38 + 170 * light), int(50 + 130 * light)))
            clipped.append(far < 0.05)
    return Thumbnail(width, height, bytes(rgb), bytes(clipped), Box(0.35, 0.2, 0.65, 0.7))


def frame(
    number: int = 12,
    call: Call = CALLS["brighter"],
    name: str | None = None,
    settings: Settings = SETTINGS,
    measured: Reading | None = None,
    **changes: object,
) -> FrameRecord:
    """One frame, read four seconds ago."""
    made = FrameRecord(
        number=number,
        capture=Capture(Path(name or f"RHS_{number:04}.DNG"), 52_000_000, 1, NOW - 4),
        metadata=Metadata(settings=settings, camera="Halden K2", serial="77", flash_fired=False),
        reading=measured or reading(),
        thumbnail=thumbnail(),
        call=call,
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def view(*frames: FrameRecord, **changes: object) -> SessionView:
    """A session of these frames."""
    made = SessionView(
        folder=Path("/shoots/2031/Ines Okafor/capture"),
        plan=plan(),
        frames=frames,
        problems=(),
        health=Health(Path("/shoots/2031/Ines Okafor/capture"), True, "events", 0, NOW - 1),
        frame_count=max((record.number for record in frames), default=0),
        problem_count=0,
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def many_frames(count: int) -> tuple[FrameRecord, ...]:
    """A shoot that starts wrong and settles."""
    kinds: tuple[CallKind, ...] = ("brighter", "darker", "hold", "hold", "check", "blocked", "hold")
    picture = thumbnail()
    made = []
    for number in range(1, count + 1):
        offset = 2.6 * math.exp(-number / 9) * math.cos(number) + 0.05
        record = frame(number, CALLS[kinds[number % len(kinds)]], measured=reading(offset))
        made.append(replace(record, thumbnail=picture))
    return tuple(made)


PROBLEM = Problem(Path("RHS_0009.DNG"), "the file is empty", "copy it again; check that the card or disk is not full")
