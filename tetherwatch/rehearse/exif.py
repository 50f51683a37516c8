"""What a camera writes about a capture: nominal dial numbers, time, body and lens (Exif 2.3, by exiv2 key)."""

from datetime import datetime
from fractions import Fraction

from tetherwatch.exposure.dial import Step, label, parse_value
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.rehearse.camera import Camera

_LARGEST_SHORT = 65535
_PER_CENTIMETRE = "3"
_FULL_WIDTH_MM = 36.0
_FIRED = "1"
_FLASH_OFF = "16"


def capture_tags(
    camera: Camera, settings: Settings, step: Step, captured_at: datetime, flash_asked: bool, columns: int
) -> dict[str, str]:
    """Tags of a capture made by hand, `columns` pixels wide.

    The flash tag says that the flash was asked to fire: a camera knows no more.
    """
    nominal = _nominal(settings, step)
    iso = int(nominal[Setting.ISO])
    return {
        "Exif.Image.Make": camera.make,
        "Exif.Image.Model": camera.model,
        "Exif.Photo.ExposureTime": _ratio(nominal[Setting.SHUTTER]),
        "Exif.Photo.FNumber": _ratio(nominal[Setting.APERTURE]),
        "Exif.Photo.ExposureProgram": "1",
        "Exif.Photo.ISOSpeedRatings": str(min(iso, _LARGEST_SHORT)),
        "Exif.Photo.SensitivityType": "2",
        "Exif.Photo.RecommendedExposureIndex": str(iso),
        "Exif.Photo.ExposureBiasValue": "0/1",
        "Exif.Photo.Flash": _FIRED if flash_asked else _FLASH_OFF,
        "Exif.Photo.FocalLength": f"{camera.focal_mm}/1",
        "Exif.Photo.FocalLengthIn35mmFilm": str(round(camera.focal_mm * _FULL_WIDTH_MM / camera.sensor_mm)),
        "Exif.Photo.ExposureMode": "1",
        "Exif.Photo.WhiteBalance": "1",
        "Exif.Photo.BodySerialNumber": camera.serial,
        "Exif.Photo.LensModel": camera.lens,
        **_focal_plane_tags(camera, columns),
        **_time_tags(captured_at),
    }


def _nominal(settings: Settings, step: Step) -> dict[Setting, Fraction]:
    known = ((setting, settings.get(setting)) for setting in CAMERA_SETTINGS)
    values = {s: parse_value(s, label(s, value, step)) for s, value in known if value is not None}
    return {setting: Fraction(value).limit_denominator(16_000) for setting, value in values.items()}


def _ratio(value: Fraction) -> str:
    return f"{value.numerator}/{value.denominator}"


def _focal_plane_tags(camera: Camera, columns: int) -> dict[str, str]:
    """Pixels per centimetre of the sensor; they are square."""
    count = _ratio(Fraction(10 * columns / camera.sensor_mm).limit_denominator(1000))
    return {
        "Exif.Photo.FocalPlaneXResolution": count,
        "Exif.Photo.FocalPlaneYResolution": count,
        "Exif.Photo.FocalPlaneResolutionUnit": _PER_CENTIMETRE,
    }


def _time_tags(moment: datetime) -> dict[str, str]:
    text = moment.strftime("%Y:%m:%d %H:%M:%S")
    tags = {
        "Exif.Image.DateTime": text,
        "Exif.Photo.DateTimeOriginal": text,
        "Exif.Photo.SubSecTimeOriginal": f"{moment.microsecond // 1000:03d}",
    }
    zone = moment.strftime("%z")
    if zone:
        tags["Exif.Photo.OffsetTimeOriginal"] = f"{zone[:3]}:{zone[3:5]}"
    return tags
