"""The shape of a plan file: which keys there are and of what type. Unknown keys are mistakes."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from tetherwatch.advise.records import LightKind
from tetherwatch.meter.records import AreaKind

Lever = Literal["shutter", "aperture", "iso", "light"]
Value = Annotated[str | int | float, Field(union_mode="left_to_right")]
Part = Annotated[float, Field(ge=0, le=1)]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class AimModel(_Model):
    """The `[aim]` table."""

    area: AreaKind = "frame"
    from_grey_stops: float = Field(default=0.0, ge=-6, le=3)
    tolerance_stops: float = Field(default=0.17, gt=0, le=2)
    clip_limit_percent: float = Field(default=0.5, ge=0, le=100)
    box: Annotated[list[Part], Field(min_length=4, max_length=4)] | None = None


class RangeModel(_Model):
    """The `[shutter]`, `[aperture]` and `[iso]` tables."""

    start: Value
    allow: Annotated[list[Value], Field(min_length=2, max_length=2)]


class OrderModel(_Model):
    """The `[order]` table."""

    brighter: Annotated[list[Lever], Field(min_length=1)]
    darker: Annotated[list[Lever], Field(min_length=1)]


class HeadModel(_Model):
    """The keys above the tables."""

    name: Annotated[str, Field(min_length=1, max_length=80)]
    light: LightKind
    step: Literal["1/3", "1/2", "1"] = "1/3"
    sync: Value = "1/250"
