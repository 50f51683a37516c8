"""What to rehearse, checked."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from tetherwatch.errors import UsageError
from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.rehearse.light import LightKind
from tetherwatch.rehearse.script import SCENE_LIGHTS, SceneName

Files = Literal["dng", "jpeg", "both"]

START = Settings(shutter_s=2.0**-8, aperture=2.0**1.5, iso=100.0)
"""1/250, f/2.8, ISO 100."""

_RANGES = {
    "frames": (1, 100_000),
    "seed": (0, 2**32 - 1),
    "every_s": (0.0, 3600.0),
    "megapixels": (0.1, 100.0),
    "spread_stops": (0.0, 1.0),
}
_ASPECT = 1.5


@dataclass(frozen=True, slots=True)
class Options:
    """What to rehearse. Raises UsageError for options that do not go together.

    `light` None takes the scene's usual light. `start` holds the settings of the first frame, on a dial of `step`.
    `every_s` is the time between captures in their metadata. `spread_stops`: how well shutter, iris and lamp repeat,
    one standard deviation; 0 is exact.
    """

    scene: SceneName = "steady"
    frames: int = 12
    seed: int = 1
    every_s: float = 4.0
    files: Files = "dng"
    compressed: bool = True
    megapixels: float = 6.0
    light: LightKind | None = None
    start: Settings = START
    step: Step = Step.THIRD
    spread_stops: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be played."""
        if self.scene not in SCENE_LIGHTS:
            raise UsageError(f"there is no scene {self.scene!r}", f"use one of: {', '.join(SCENE_LIGHTS)}")
        if self.light_kind not in SCENE_LIGHTS[self.scene]:
            fitting = " or ".join(SCENE_LIGHTS[self.scene])
            raise UsageError(f"{self.scene!r} cannot be played under {self.light} light", f"use {fitting} light")
        if self.start.brightness_stops is None:
            raise UsageError("the first settings are incomplete", "give shutter, aperture and ISO")
        check_ranges(self, _RANGES)

    @property
    def light_kind(self) -> LightKind:
        """The light asked for, or the scene's usual one."""
        return self.light or SCENE_LIGHTS[self.scene][0]

    @property
    def cell_grid(self) -> tuple[int, int]:
        """Rows and columns of 2x2 cells that make a 3:2 picture of the size asked for."""
        return cell_grid(self.megapixels)


def check_ranges(options: object, ranges: Mapping[str, tuple[float, float]]) -> None:
    """Raise UsageError for the first attribute that lies outside its range (least, most)."""
    for name, (least, most) in ranges.items():
        value = getattr(options, name)
        if not least <= value <= most:
            raise UsageError(f"{name} cannot be {value:g}", f"use {least:g} to {most:g}")


def cell_grid(megapixels: float) -> tuple[int, int]:
    """Rows and columns of 2x2 cells that make a 3:2 picture of a size."""
    rows = round(math.sqrt(megapixels * 1e6 / _ASPECT) / 2)
    return rows, round(rows * _ASPECT)
