"""Body profile text (TOML) becomes a `Body` and back; mistakes are named all together, with their keys and lines."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Annotated, Any, Literal, TypeVar

from msgspec import Meta

from tetherwatch.body.records import Body, Ceiling, Grey, IsoDial, Measured, Noise
from tetherwatch.errors import BodyError
from tetherwatch.exposure.dial import Step, label, snap
from tetherwatch.exposure.stops import Setting
from tetherwatch.tables import Mistakes, keys_of
from tetherwatch.toml import located, parsed

_HEADER = "# tetherwatch body profile\n"
_RAW, _PROCESSED = "raw", "the camera's processing"

_Size = Annotated[float, Meta(gt=0, lt=1e9)]
_Text = Annotated[str, Meta(min_length=1, max_length=200)]
T = TypeVar("T")


def parse_body(text: str, source: str, name: str) -> Body:
    """Read and check a profile. Raises BodyError with all mistakes together, in the order of their lines."""
    mistakes: Mistakes = []
    keys = keys_of(_head, parsed(text, source, BodyError), "", mistakes)
    for key, make in _TABLES.items():
        if key in keys:
            keys[key] = _made(make, keys[key], key, mistakes)
    keys["noise"] = _noises(keys.get("noise") or [], mistakes)
    if mistakes:
        raise BodyError(source, located(mistakes, text))
    return Body(name, **keys)


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


def _head(
    camera: _Text,
    serial: _Text | None = None,
    dial: Any = None,
    ceiling: Any = None,
    grey: Any = None,
    measured: Any = None,
    noise: list[Any] | None = None,
) -> None:
    """The keys of a profile; its tables are looked at one by one."""


def _dial(step: Literal["1/3", "1/2", "1"], base: _Size, top: _Size) -> IsoDial:
    dial = IsoDial(Step.parse(step), _meant(base), _meant(top))
    if dial.base > dial.top:
        raise ValueError("base is above top")
    return dial


def _ceiling(iso: _Size, between: tuple[_Size, _Size], found: _Text) -> Ceiling:
    iso, low, high = map(_meant, (iso, *between))
    if not low <= iso <= high:
        raise ValueError("iso lies outside between (lowest, highest)")
    return Ceiling(iso, low, high, found)


def _grey(share: Annotated[float, Meta(gt=0, lt=1)], measured: date) -> Grey:
    return Grey(share, measured)


def _measured(
    on: date, frames: Annotated[int, Meta(ge=1)], after: Literal["raw", "the camera's processing"]
) -> Measured:
    return Measured(on, frames, after == _PROCESSED)


def _noise(
    iso: _Size,
    gain_dn_per_e: _Size,
    read_noise_e: Annotated[float, Meta(ge=0, lt=1e6)],
    saturation_dn: Mapping[Literal["r", "g", "b", "y"], _Size] = {},
) -> Noise:
    return Noise(_meant(iso), gain_dn_per_e, read_noise_e, dict(saturation_dn.items()))


_TABLES: Mapping[str, Callable[..., object]] = {
    "dial": _dial,
    "ceiling": _ceiling,
    "grey": _grey,
    "measured": _measured,
}
"""What is made of each table; the keys of a table are the arguments of its function."""


def _made(make: Callable[..., T], table: object, name: str, mistakes: Mistakes) -> T | None:
    """What is made of a table; None where a key of it is wrong, or where the keys do not fit together."""
    keys = keys_of(make, table, name, mistakes)
    if None in keys.values():
        return None
    try:
        return make(**keys)
    except ValueError as error:
        mistakes.append((name, str(error)))
        return None


def _noises(tables: list[Any], mistakes: Mistakes) -> tuple[Noise, ...]:
    """The tables of noise; they are counted from 1 in mistakes."""
    made = (_made(_noise, table, f"noise.{number}", mistakes) for number, table in enumerate(tables, start=1))
    noises = tuple(noise for noise in made if noise is not None)
    speeds = [noise.iso for noise in noises]
    if speeds != sorted(set(speeds)):
        mistakes.append(("noise", "the tables must go by rising iso, each once"))
    return noises


def _meant(iso: float) -> float:
    """The exact value of an engraved number; a measured speed between the dial's is taken as it is."""
    return snap(Setting.ISO, iso) if float(label(Setting.ISO, iso)) == iso else iso


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
