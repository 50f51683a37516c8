"""Body profile text (TOML) becomes a `Body` and back; mistakes are named all together, with their keys and lines."""

from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from tetherwatch.body.records import Body, Ceiling, Grey, IsoDial, Measured, Noise
from tetherwatch.errors import BodyError
from tetherwatch.exposure.dial import Step, label, snap
from tetherwatch.exposure.stops import Setting
from tetherwatch.toml import located, parsed, words_of

_HEADER = "# tetherwatch body profile\n"
_RAW, _PROCESSED = "raw", "the camera's processing"


def _meant(iso: float) -> float:
    """The exact value of an engraved number; a measured speed between the dial's is taken as it is."""
    return snap(Setting.ISO, iso) if float(label(Setting.ISO, iso)) == iso else iso


_Iso = Annotated[float, Field(gt=0, lt=1e9), AfterValidator(_meant)]
_Size = Annotated[float, Field(gt=0, lt=1e9)]
_Text = Annotated[str, Field(min_length=1, max_length=200)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False, defer_build=True)


class _DialTable(_Table):
    step: Literal["1/3", "1/2", "1"]
    base: _Iso
    top: _Iso

    @model_validator(mode="after")
    def _in_order(self) -> "_DialTable":
        if self.base > self.top:
            raise ValueError("base is above top")
        return self


class _CeilingTable(_Table):
    iso: _Iso
    between: Annotated[list[_Iso], Field(min_length=2, max_length=2)]
    found: _Text

    @model_validator(mode="after")
    def _inside(self) -> "_CeilingTable":
        if not self.between[0] <= self.iso <= self.between[1]:
            raise ValueError("iso lies outside between (lowest, highest)")
        return self


class _NoiseTable(_Table):
    iso: _Iso
    gain_dn_per_e: _Size
    read_noise_e: Annotated[float, Field(ge=0, lt=1e6)]
    saturation_dn: dict[Literal["r", "g", "b", "y"], _Size] = {}


class _GreyTable(_Table):
    share: Annotated[float, Field(gt=0, lt=1)]
    measured: date


class _MeasuredTable(_Table):
    on: date
    frames: Annotated[int, Field(ge=1)]
    after: Literal["raw", "the camera's processing"]


def _rising(tables: list[_NoiseTable]) -> list[_NoiseTable]:
    speeds = [table.iso for table in tables]
    if speeds != sorted(set(speeds)):
        raise ValueError("the tables must go by rising iso, each once")
    return tables


class _BodyTable(_Table):
    camera: _Text
    serial: _Text | None = None
    dial: _DialTable | None = None
    ceiling: _CeilingTable | None = None
    grey: _GreyTable | None = None
    measured: _MeasuredTable | None = None
    noise: Annotated[list[_NoiseTable], AfterValidator(_rising)] = []


def parse_body(text: str, source: str, name: str) -> Body:
    """Read and check a profile. Raises BodyError with all mistakes together, in the order of their lines."""
    try:
        table = _BodyTable.model_validate(parsed(text, source, BodyError))
    except ValidationError as error:
        mistakes = {_key(each["loc"]): words_of(dict(each)) for each in error.errors(include_url=False)}
        raise BodyError(source, located(mistakes.items(), text)) from None
    return Body(
        name=name,
        camera=table.camera,
        serial=table.serial,
        dial=_dial(table.dial),
        ceiling=_ceiling(table.ceiling),
        noise=tuple(Noise(**each.model_dump()) for each in table.noise),
        grey=None if table.grey is None else Grey(**table.grey.model_dump()),
        measured=_measured(table.measured),
    )


def body_text(body: Body) -> str:
    """The text of a profile, which `parse_body` reads back as the same body."""
    import tomli_w

    tables = {
        "camera": body.camera,
        "serial": body.serial,
        "measured": _measured_table(body.measured),
        "dial": _dial_table(body.dial),
        "ceiling": _ceiling_table(body.ceiling),
        "grey": None if body.grey is None else {"share": body.grey.share, "measured": body.grey.measured},
        "noise": [_noise_table(noise) for noise in body.noise],
    }
    return _HEADER + tomli_w.dumps({key: value for key, value in tables.items() if value not in (None, [])})


def _key(location: tuple[int | str, ...]) -> str:
    """A dotted key; the tables of an array are counted from 1."""
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in location)


def _dial(table: _DialTable | None) -> IsoDial | None:
    return None if table is None else IsoDial(Step.parse(table.step), table.base, table.top)


def _ceiling(table: _CeilingTable | None) -> Ceiling | None:
    return None if table is None else Ceiling(table.iso, table.between[0], table.between[1], table.found)


def _measured(table: _MeasuredTable | None) -> Measured | None:
    return None if table is None else Measured(table.on, table.frames, table.after == _PROCESSED)


def _written(iso: float) -> int | float:
    """An ISO as the dial has it, where that stands for the same exact value."""
    nominal = int(label(Setting.ISO, iso))
    return nominal if _meant(nominal) == iso else iso


def _dial_table(dial: IsoDial | None) -> Mapping[str, Any] | None:
    if dial is None:
        return None
    return {"step": str(dial.step.value), "base": _written(dial.base), "top": _written(dial.top)}


def _ceiling_table(ceiling: Ceiling | None) -> Mapping[str, Any] | None:
    if ceiling is None:
        return None
    between = [_written(ceiling.low), _written(ceiling.high)]
    return {"iso": _written(ceiling.iso), "between": between, "found": ceiling.found}


def _noise_table(noise: Noise) -> Mapping[str, Any]:
    figures = {"gain_dn_per_e": noise.gain_dn_per_e, "read_noise_e": noise.read_noise_e}
    return {"iso": _written(noise.iso), **figures, "saturation_dn": dict(noise.saturation_dn)}


def _measured_table(measured: Measured | None) -> Mapping[str, Any] | None:
    if measured is None:
        return None
    return {"on": measured.on, "frames": measured.frames, "after": _PROCESSED if measured.processed else _RAW}
