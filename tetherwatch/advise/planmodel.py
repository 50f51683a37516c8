"""The shape of a plan file: which keys there are and of what type. Unknown keys are mistakes."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from tetherwatch.advise.records import LightKind
from tetherwatch.meter.records import AreaKind

Lever = Literal["shutter", "aperture", "iso", "light"]
_Size = Field(gt=0, lt=1e9)
Value = Annotated[str | Annotated[int, _Size] | Annotated[float, _Size], Field(union_mode="left_to_right")]
Part = Annotated[float, Field(ge=0, le=1)]


class _Model(BaseModel):
    """A key that is wrong in the file is None, so that what stands beside it can still be checked."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class AimModel(_Model):
    """The `[aim]` table."""

    area: AreaKind | None = "frame"
    from_grey_stops: Annotated[float, Field(ge=-6, le=3)] | None = 0.0
    tolerance_stops: Annotated[float, Field(gt=0, le=2)] | None = 0.17
    clip_limit_percent: Annotated[float, Field(ge=0, le=100)] | None = 0.5
    box: Annotated[list[Part], Field(min_length=4, max_length=4)] | None = None


class RangeModel(_Model):
    """The `[shutter]`, `[aperture]` and `[iso]` tables."""

    start: Value | None
    allow: Annotated[list[Value], Field(min_length=2, max_length=2)] | None


class OrderModel(_Model):
    """The `[order]` table."""

    brighter: Annotated[list[Lever], Field(min_length=1)] | None
    darker: Annotated[list[Lever], Field(min_length=1)] | None


class PowerModel(_Model):
    """The `[power]` table: the light's own power."""

    start: str | None
    allow: Annotated[list[str], Field(min_length=2, max_length=2)] | None


class SceneModel(_Model):
    """The `[scene]` table: what the warnings depend on."""

    tripod: bool | None = False
    speed_m_s: Annotated[float, Field(ge=0, le=100)] | None = None
    distance_m: Annotated[float, Field(gt=0, le=10000)] | None = None
    mains_hz: Literal[50, 60] | None = None


class HeadModel(_Model):
    """The keys above the tables."""

    name: Annotated[str, Field(min_length=1, max_length=80)] | None
    light: LightKind | None
    step: Literal["1/3", "1/2", "1"] | None = "1/3"
    sync: Value | None = "1/250"
