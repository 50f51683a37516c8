"""The shape of a plan file: which keys there are and of what type.

A key that is wrong in the file is None, so that what stands beside it can still be checked.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from tetherwatch.advise.records import LightKind
from tetherwatch.meter.records import AreaKind

Lever = Literal["shutter", "aperture", "iso", "light"]
_Size = Meta(gt=0, lt=10**9)
Value = Annotated[str | Annotated[int, _Size] | Annotated[float, _Size], Meta(description="a setting's value")]
Part = Annotated[float, Meta(ge=0, le=1)]


class AimModel(Struct, frozen=True):
    """The `[aim]` table."""

    area: AreaKind | None = "frame"
    from_grey_stops: Annotated[float, Meta(ge=-6, le=3)] | None = 0.0
    tolerance_stops: Annotated[float, Meta(gt=0, le=2)] | None = 0.17
    clip_limit_percent: Annotated[float, Meta(ge=0, le=100)] | None = 0.5
    box: tuple[Part, Part, Part, Part] | None = None


class RangeModel(Struct, frozen=True):
    """The `[shutter]`, `[aperture]` and `[iso]` tables."""

    start: Value | None
    allow: tuple[Value, Value] | None


class OrderModel(Struct, frozen=True):
    """The `[order]` table."""

    brighter: Annotated[list[Lever], Meta(min_length=1)] | None
    darker: Annotated[list[Lever], Meta(min_length=1)] | None


class PowerModel(Struct, frozen=True):
    """The `[power]` table: the light's own power."""

    start: str | None
    allow: tuple[str, str] | None


class SceneModel(Struct, frozen=True):
    """The `[scene]` table: what the warnings depend on."""

    tripod: bool | None = False
    speed_m_s: Annotated[float, Meta(ge=0, le=100)] | None = None
    distance_m: Annotated[float, Meta(gt=0, le=10000)] | None = None
    mains_hz: Literal[50, 60] | None = None


class PlanModel(Struct, frozen=True):
    """The whole file: the keys above the tables, and these."""

    name: Annotated[str, Meta(min_length=1, max_length=80)] | None
    light: LightKind | None
    shutter: RangeModel
    aperture: RangeModel
    iso: RangeModel
    order: OrderModel
    step: Literal["1/3", "1/2", "1"] | None = "1/3"
    sync: Value | None = "1/250"
    aim: AimModel = AimModel()
    power: PowerModel = PowerModel(None, None)
    scene: SceneModel = SceneModel()
