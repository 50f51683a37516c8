"""A simulated studio at the level of readings: what light, camera and scene give, without a pixel.

Levels are in stops against mid-grey. Exposures of flash and continuous light add linearly; flash does not depend on the
shutter. Tones are lognormal: the metered area and the rest of the picture, each with its own level.
"""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import Literal

from tetherwatch.advise.records import LightKind, Plan
from tetherwatch.exposure.light import light_value
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting, brightness
from tetherwatch.meter.records import BINS_PER_STOP, STOPS_SHOWN, Reading, ToneHistogram

OddKind = Literal["misfire", "weak pop", "blocked light", "cap", "card"]

GREY_BELOW_STOPS = math.log2(7.8)
"""Mid-grey of a raw below saturation (ISO 12232)."""

FLOOR_STOPS = GREY_BELOW_STOPS - STOPS_SHOWN
"""Lowest level a reading can tell."""

NO_LIGHT_STOPS = -30.0
AREA_PIXELS, REST_PIXELS = 20_000, 180_000
CARD_WIDTH = 0.1
"""Standard deviation of a card's tones in stops."""

_READING_UNCERTAINTY = 0.03
_CLIPPED_UNCERTAINTY = 2.0
_CRUSHED_BELOW_STOPS = 12.0


@dataclass(frozen=True, slots=True)
class Light:
    """Exposure of the metered area at f/1 and ISO 100, 1 is mid-grey: of the flash, and of each second of the rest."""

    kind: LightKind
    burst: float
    steady: float

    @classmethod
    def giving(cls, kind: LightKind, settings: Settings, level_stops: float, steady_share: float) -> "Light":
        """The light that gives a level at these settings, with this share of it from continuous light."""
        total = 2.0 ** (level_stops - _lens(settings))
        return cls(kind, (1 - steady_share) * total, steady_share * total / _time_s(settings))

    def level(self, settings: Settings) -> float:
        """The level of the metered area; `NO_LIGHT_STOPS` at least."""
        total = self.burst + self.steady * _time_s(settings)
        return max(_lens(settings) + math.log2(total), NO_LIGHT_STOPS) if total > 0 else NO_LIGHT_STOPS

    def changed(self, stops: float) -> "Light":
        """All of it brighter or darker: distance, a scrim, another subject."""
        return replace(self, burst=self.burst * 2.0**stops, steady=self.steady * 2.0**stops)

    def turned(self, stops: float) -> "Light":
        """The lamps turned: under mixed light the flash only."""
        if self.kind == "continuous":
            return replace(self, steady=self.steady * 2.0**stops)
        return self.flash_at(stops)

    def flash_at(self, stops: float) -> "Light":
        """One frame whose flash gave that much more or less."""
        return replace(self, burst=self.burst * 2.0**stops)

    def without_flash(self) -> "Light":
        """What is left in a frame whose flash did not fire."""
        return replace(self, burst=0.0)


def _lens(settings: Settings) -> float:
    assert settings.aperture is not None and settings.iso is not None
    return brightness(Setting.APERTURE, settings.aperture) + brightness(Setting.ISO, settings.iso)


def _time_s(settings: Settings) -> float:
    assert settings.shutter_s is not None
    return settings.shutter_s


@dataclass(frozen=True, slots=True)
class Scene:
    """Standard deviations of the tones of the metered area and of the rest, and the rest's level against it; stops."""

    area_width: float
    rest_width: float
    rest_stops: float


@dataclass(frozen=True, slots=True)
class Exposed:
    """Levels of one frame in truth: of the metered area and of the rest. `card`: a card fills the picture."""

    area: float
    rest: float
    card: bool = False


def expose(light: Light, settings: Settings, scene: Scene, odd: OddKind | None, odd_stops: float) -> Exposed:
    """One frame. `odd_stops`: what a weak flash or a blocked lamp loses, or how far a card is from the area's level."""
    if odd == "misfire":
        light = light.without_flash()
    elif odd == "weak pop":
        light = light.flash_at(-odd_stops)
    elif odd == "cap":
        light = replace(light.without_flash(), steady=0.0)
    level = light.level(settings)
    if odd == "blocked light":
        return Exposed(level - odd_stops, level + scene.rest_stops)
    if odd == "card":
        return Exposed(level + odd_stops, level + odd_stops, card=True)
    return Exposed(level, level + scene.rest_stops)


def read(plan: Plan, settings: Settings, exposed: Exposed, scene: Scene, error_stops: float) -> Reading:
    """What metering makes of a frame; `error_stops` is added to what an exact meter reads."""
    widths = (CARD_WIDTH, CARD_WIDTH) if exposed.card else (scene.area_width, scene.rest_width)
    area = tones(round(exposed.area, 2), widths[0], AREA_PIXELS)
    whole = together(area, tones(round(exposed.rest, 2), widths[1], REST_PIXELS))
    level = max(metered(exposed.area, widths[0]) + error_stops, FLOOR_STOPS)
    clipped = area.clipped_percent_after(0.0)
    crushed = sum(whole.counts[round(_CRUSHED_BELOW_STOPS * BINS_PER_STOP) :]) + whole.below
    return Reading(
        source="raw",
        area="frame" if plan.aim.area == "face" else plan.aim.area,
        level_stops=level,
        offset_stops=level - plan.aim.from_grey_stops,
        uncertainty_stops=_READING_UNCERTAINTY + _CLIPPED_UNCERTAINTY * clipped / 100,
        clipped_percent={"g": whole.clipped_percent_after(0.0)},
        crushed_percent=100 * crushed / whole.total,
        area_clipped_percent=clipped,
        headroom_stops=whole.percentile(99.9),
        light_value=light_value(settings, level),
        saturation={"g": 16383.0},
        pile_up=(),
        tones=(whole,),
        area_tones=(area,),
        metered=plan.aim.box,
    )


@lru_cache(maxsize=20_000)
def tones(level_stops: float, width: float, pixels: int) -> ToneHistogram:
    """Lognormal tones whose mean light is at a level, `width` their standard deviation in stops."""
    middle = GREY_BELOW_STOPS - level_stops + math.log(2) * width**2 / 2
    edges = [pixels * _below((k / BINS_PER_STOP - middle) / width) for k in range(BINS_PER_STOP * STOPS_SHOWN + 1)]
    whole = [round(edge) for edge in edges]
    counts = tuple(high - low for low, high in pairwise(whole))
    return ToneHistogram("g", counts, clipped=whole[0], below=pixels - whole[-1])


def together(one: ToneHistogram, other: ToneHistogram) -> ToneHistogram:
    """Two parts of a picture in one histogram."""
    counts = tuple(map(sum, zip(one.counts, other.counts, strict=True)))
    return ToneHistogram(one.channel, counts, one.clipped + other.clipped, one.below + other.below)


def metered(level_stops: float, width: float) -> float:
    """Level of the mean of lognormal tones that saturate: E[min(x, 1)] in closed form."""
    deviation = width * math.log(2)
    mean = 2.0 ** (level_stops - GREY_BELOW_STOPS)
    middle = math.log(mean) - deviation**2 / 2
    light = mean * _below(-middle / deviation - deviation) + _below(middle / deviation)
    return max(math.log2(light) if light > 0 else NO_LIGHT_STOPS, FLOOR_STOPS - GREY_BELOW_STOPS) + GREY_BELOW_STOPS


def _below(deviations: float) -> float:
    """Part of a normal distribution below that many standard deviations."""
    return 0.5 * math.erfc(-deviations / math.sqrt(2))
