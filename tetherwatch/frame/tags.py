"""Metadata entries, as text, become `Metadata`: the rules, without any file.

Keys are exiv2's ("Exif.Photo.ExposureTime"), plus the bare names `isoSpeed`, `serialNumber` and `lensName` for what
exiv2 found in the maker's own places. Source of codes and units: Exif 2.3 (CIPA DC-008); millimetre and micrometre as
units of the focal plane are those of TIFF/EP (ISO 12234-2, from memory).
"""

import math
import re
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta, timezone

from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.records import Metadata, Program

Tags = Mapping[str, str]

ISO_KEYS = (
    "Exif.Photo.ISOSpeedRatings",
    "Exif.Photo.RecommendedExposureIndex",
    "Exif.Photo.StandardOutputSensitivity",
    "Exif.Photo.ISOSpeed",
    "Exif.Image.ISOSpeedRatings",
    "isoSpeed",
)
SHUTTER_KEYS = ("Exif.Photo.ExposureTime", "Exif.Image.ExposureTime")
SHUTTER_APEX_KEYS = ("Exif.Photo.ShutterSpeedValue", "Exif.Image.ShutterSpeedValue")
APERTURE_KEYS = ("Exif.Photo.FNumber", "Exif.Image.FNumber")
APERTURE_APEX_KEYS = ("Exif.Photo.ApertureValue", "Exif.Image.ApertureValue")
PROGRAM_KEYS = ("Exif.Photo.ExposureProgram", "Exif.Image.ExposureProgram")
MODE_KEY = "Exif.Photo.ExposureMode"
BIAS_KEYS = ("Exif.Photo.ExposureBiasValue", "Exif.Image.ExposureBiasValue")
FLASH_KEYS = ("Exif.Photo.Flash", "Exif.Image.Flash")
FOCAL_KEYS = ("Exif.Photo.FocalLength", "Exif.Image.FocalLength")
FOCAL_35MM_KEY = "Exif.Photo.FocalLengthIn35mmFilm"
PITCH_KEYS = ("Exif.Photo.FocalPlaneXResolution", "Exif.Photo.FocalPlaneYResolution")
PITCH_UNIT_KEY = "Exif.Photo.FocalPlaneResolutionUnit"
LENS_KEYS = ("Exif.Photo.LensModel", "lensName", "Xmp.aux.Lens")
CAMERA_KEYS = ("Exif.Image.Model", "Exif.Image.UniqueCameraModel", "Exif.Image.Make")
SERIAL_KEYS = ("Exif.Photo.BodySerialNumber", "Exif.Image.CameraSerialNumber", "serialNumber", "Xmp.aux.SerialNumber")
TIME_KEY = "Exif.Photo.DateTimeOriginal"
SUBSECOND_KEY = "Exif.Photo.SubSecTimeOriginal"
ZONE_KEYS = ("Exif.Photo.OffsetTimeOriginal", "Exif.Photo.OffsetTime")
ORIENTATION_KEY = "Exif.Image.Orientation"
STYLE_KEYS = (
    "Exif.CanonPr.PictureStyle",
    "Exif.Fujifilm.FilmMode",
    "Exif.NikonPc.Name",
    "Exif.OlympusCs.PictureMode",
    "Exif.Panasonic.PhotoStyle",
    "Exif.Pentax.ImageTone",
    "Exif.Pentax.PictureMode",
    "Exif.PentaxDng.ImageTone",
    "Exif.Samsung2.PictureWizard",
    "Exif.Sony1.CreativeStyle",
    "Exif.Sony2.CreativeStyle",
    "Exif.Photo.CustomRendered",
    "Exif.Photo.Contrast",
    "Exif.Photo.Saturation",
)
"""How the camera renders its own pictures: makers' entries, as exiv2's own tables name them, and the standard ones."""

AUTO_ISO_CODES = {
    "Exif.CanonCs.ISOSpeed": ("14", "15"),
    "Exif.MinoltaCs5D.ISOSpeed": ("0",),
    "Exif.MinoltaCs7D.ISOSpeed": ("0",),
    "Exif.MinoltaCsOld.ISOSetting": ("4",),
    "Exif.MinoltaCsNew.ISOSetting": ("4",),
    "Exif.Sony1MltCs7D.ISOSpeed": ("0",),
    "Exif.Sony1MltCsOld.ISOSetting": ("4",),
    "Exif.Sony1MltCsNew.ISOSetting": ("4",),
}
"""Makers' entries that say the camera chose the ISO, as exiv2's own tables name them; standard metadata have none."""

KEYS = (
    *ISO_KEYS,
    *AUTO_ISO_CODES,
    *SHUTTER_KEYS,
    *SHUTTER_APEX_KEYS,
    *APERTURE_KEYS,
    *APERTURE_APEX_KEYS,
    *PROGRAM_KEYS,
    MODE_KEY,
    *BIAS_KEYS,
    *FLASH_KEYS,
    *FOCAL_KEYS,
    FOCAL_35MM_KEY,
    *PITCH_KEYS,
    PITCH_UNIT_KEY,
    *LENS_KEYS,
    *CAMERA_KEYS,
    *SERIAL_KEYS,
    TIME_KEY,
    SUBSECOND_KEY,
    *ZONE_KEYS,
    ORIENTATION_KEY,
    *STYLE_KEYS,
)
"""Every entry that the rules look at."""

_SHUTTER_S = (1e-6, 86_400.0)
_APERTURE = (0.5, 128.0)
_ISO = (1.0, 10_000_000.0)
_FOCAL_MM = (0.5, 20_000.0)
_PITCH_UM = (0.5, 20.0)
_BIAS_STOPS = (-20.0, 20.0)
_ISO_OVERFLOW = 65535
"""What a 16-bit entry says of speeds too high for it."""

_UNIT_UM = {2: 25_400.0, 3: 10_000.0, 4: 1000.0, 5: 1.0}
"""Length of the units in which a focal plane is counted: inch, centimetre, millimetre, micrometre."""

_PITCHES_AGREE = 1.1
"""Rounded sensor sizes make the two directions of a square pixel differ by a percent or two."""

_FLASH_FIRED, _NO_FLASH_UNIT = 0x01, 0x20
_PROGRAMS: Mapping[int, Program] = {
    1: "manual",
    2: "automatic",
    3: "aperture priority",
    4: "shutter priority",
    5: "other",  # by subject: creative, action, portrait, landscape, bulb
    6: "other",
    7: "other",
    8: "other",
    9: "other",
}
_MODES: Mapping[int, Program] = {0: "automatic", 1: "manual"}
_ZONE = re.compile(r"([+-])(\d\d):(\d\d)")


def metadata_from(tags: Tags) -> Metadata:
    """What `tags` say; every missing, zero or absurd value becomes None. Never raises."""
    return Metadata(
        settings=Settings(shutter_s=_shutter(tags), aperture=_aperture(tags), iso=_iso(tags)),
        program=_program_or_auto_iso(tags),
        bias_stops=_first(tags, BIAS_KEYS, _BIAS_STOPS),
        flash_fired=_flash(tags),
        focal_mm=_first(tags, FOCAL_KEYS, _FOCAL_MM),
        focal_35mm=_first(tags, (FOCAL_35MM_KEY,), _FOCAL_MM),
        pixel_um=_pitch(tags),
        lens=_first_text(tags, LENS_KEYS),
        camera=_first_text(tags, CAMERA_KEYS),
        serial=_first_text(tags, SERIAL_KEYS),
        captured_at=_time(tags),
        orientation=_orientation(tags),
        style=_style(tags),
    )


def _style(tags: Tags) -> str | None:
    """The entries as they stand, to be compared and never shown."""
    return "; ".join(tags[key].strip() for key in STYLE_KEYS if key in tags) or None


def _program_or_auto_iso(tags: Tags) -> Program | None:
    """The exposure program; an automatic ISO counts where the rest is in manual, or not known."""
    program = _program(tags)
    automatic = any(tags.get(key, "").strip() in codes for key, codes in AUTO_ISO_CODES.items())
    return "auto ISO" if automatic and program in (None, "manual") else program


def number(text: str) -> float | None:
    """The first number of an entry ("1/250", "2.8", "200 0"); None if there is none or it is not finite."""
    upper, slash, lower = (text.split() or [""])[0].strip("\0()").partition("/")
    try:
        value = float(upper) / float(lower) if slash else float(upper)
    except (ValueError, ZeroDivisionError, OverflowError):
        return None
    return value if math.isfinite(value) else None


def _first(tags: Tags, keys: Iterable[str], limits: tuple[float, float]) -> float | None:
    values = (number(tags.get(key, "")) for key in keys)
    return next((value for value in values if value is not None and limits[0] <= value <= limits[1]), None)


def _first_code(tags: Tags, keys: Iterable[str]) -> int | None:
    value = _first(tags, keys, (0, 65535))
    return None if value is None else int(value)


def _text(tags: Tags, key: str) -> str | None:
    return tags.get(key, "").partition("\0")[0].strip() or None


def _first_text(tags: Tags, keys: Iterable[str]) -> str | None:
    return next((text for key in keys if (text := _text(tags, key))), None)


def _shutter(tags: Tags) -> float | None:
    seconds = _first(tags, SHUTTER_KEYS, _SHUTTER_S)
    if seconds is not None:
        return seconds
    apex = _first(tags, SHUTTER_APEX_KEYS, (-math.log2(_SHUTTER_S[1]), -math.log2(_SHUTTER_S[0])))
    return 2.0**-apex if apex else None  # an APEX value of 0 is an unset one far more often than one second


def _aperture(tags: Tags) -> float | None:
    f_number = _first(tags, APERTURE_KEYS, _APERTURE)
    if f_number is not None:
        return f_number
    apex = _first(tags, APERTURE_APEX_KEYS, (2 * math.log2(_APERTURE[0]), 2 * math.log2(_APERTURE[1])))
    return 2.0 ** (apex / 2) if apex else None


def _iso(tags: Tags) -> float | None:
    values = (_first(tags, (key,), _ISO) for key in ISO_KEYS)
    return next((value for value in values if value is not None and value != _ISO_OVERFLOW), None)


def _program(tags: Tags) -> Program | None:
    program, mode = _first_code(tags, PROGRAM_KEYS), _first_code(tags, (MODE_KEY,))
    return _PROGRAMS.get(program or 0) or (None if mode is None else _MODES.get(mode))


def _flash(tags: Tags) -> bool | None:
    code = _first_code(tags, FLASH_KEYS)
    if code is None or code & _NO_FLASH_UNIT:
        return None
    return bool(code & _FLASH_FIRED)


def _pitch(tags: Tags) -> float | None:
    """Pixel pitch in micrometres; None too where the two directions disagree, for then one of them is wrong."""
    counts = [value for key in PITCH_KEYS if (value := number(tags.get(key, ""))) is not None and value > 0]
    unit_um = _UNIT_UM.get(int(number(tags.get(PITCH_UNIT_KEY, "2")) or 0))
    if not counts or unit_um is None or max(counts) > _PITCHES_AGREE * min(counts):
        return None
    pitch_um = unit_um / counts[0]
    return pitch_um if _PITCH_UM[0] <= pitch_um <= _PITCH_UM[1] else None


def _orientation(tags: Tags) -> int:
    code = _first_code(tags, (ORIENTATION_KEY,))
    return code if code is not None and 1 <= code <= 8 else 1


def _time(tags: Tags) -> datetime | None:
    try:
        moment = datetime.strptime(_text(tags, TIME_KEY) or "", "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    return moment.replace(microsecond=_microseconds(tags), tzinfo=_zone(tags))


def _microseconds(tags: Tags) -> int:
    digits = _text(tags, SUBSECOND_KEY) or ""
    return int(digits[:6].ljust(6, "0")) if digits.isascii() and digits.isdigit() else 0


def _zone(tags: Tags) -> timezone | None:
    match = _ZONE.fullmatch(_first_text(tags, ZONE_KEYS) or "")
    if match is None:
        return None
    sign = -1 if match[1] == "-" else 1
    offset = sign * timedelta(hours=int(match[2]), minutes=int(match[3]))
    return timezone(offset) if abs(offset) < timedelta(days=1) else None
