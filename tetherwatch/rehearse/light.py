"""Light of the simulated studio: what it does to a picture at given settings, in stops.

A light of `stops` L gives offset 0 when the settings' brightness is -L. Flash is over before the shutter moves, so its
part counts as if the shutter stood at `FLASH_REFERENCE_S`; the steady part follows the shutter; both add as linear
light. Shutters faster than the sync speed are not modelled.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting, brightness

LightKind = Literal["flash", "continuous", "mixed"]

FLASH_REFERENCE_S = 1 / 256
"""The dial's exact 1/250 s."""

STEADY_SHARE: dict[LightKind, float] = {"flash": 2.0**-7, "continuous": 1.0, "mixed": 0.25}
"""Share of the light that does not come from the flash, at the reference shutter; under flash: the room."""


@dataclass(frozen=True, slots=True)
class Light:
    """A light of one kind and its level in stops."""

    kind: LightKind
    stops: float

    def moved(self, stops: float) -> "Light":
        """All lamps `stops` brighter (negative: darker)."""
        return replace(self, stops=self.stops + stops)

    def offset_stops(self, settings: Settings, pop: float = 1.0) -> float:
        """The grey card against mid-grey in stops; `pop` is the part of its flash that the flash gives, 0 for none.

        Raises ValueError if a setting is unknown.
        """
        if settings.shutter_s is None or settings.aperture is None or settings.iso is None:
            raise ValueError("light needs all three settings")
        steady = STEADY_SHARE[self.kind]
        burst = pop * (1 - steady) * FLASH_REFERENCE_S
        lens = brightness(Setting.APERTURE, settings.aperture) + brightness(Setting.ISO, settings.iso)
        return self.stops + lens + math.log2(burst + steady * settings.shutter_s)
