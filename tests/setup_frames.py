"""Frames for the tests of setups: known by their light value alone, for they have no picture to look at."""

from dataclasses import replace

from advise_records import reading
from session_records import SETTINGS, THUMBNAIL

from tetherwatch.advise.records import Shot
from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.records import Metadata
from tetherwatch.setups.records import Judged

BETWEEN_S = 5.0
PAUSE_S = 240.0


def judged(
    number: int, light: float, at: float, *, odd: bool = False, asked: float = 0.0, settings: Settings = SETTINGS
) -> Judged:
    """A frame of a card in light of this value, taken at `at` seconds."""
    brightness = settings.brightness_stops
    assert brightness is not None
    level = light + brightness
    measured = replace(reading(level, light_value=light), level_stops=level)
    shot = Shot(Metadata(settings=settings, serial="77"), measured, at)
    return Judged(number, shot, THUMBNAIL, at, odd, right=abs(level) < 0.17, asked_stops=asked)


def shoot(*lights: float, pauses: tuple[int, ...] = (), odd: tuple[int, ...] = ()) -> list[Judged]:
    """Frames in these lights; before those numbered in `pauses` lights could be moved."""
    frames, at = [], 0.0
    for number, light in enumerate(lights, start=1):
        at += PAUSE_S if number in pauses else BETWEEN_S
        frames.append(judged(number, light, at, odd=number in odd))
    return frames
