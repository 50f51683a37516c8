"""Rules that turn metadata entries into settings, without any file."""

from datetime import datetime, timedelta, timezone

import exiv2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.frame.records import Metadata
from tetherwatch.frame.tags import AUTO_ISO_CODES, ISO_KEYS, KEYS, metadata_from, number


def test_nothing_said_is_nothing_known() -> None:
    """No entries give an empty record."""
    assert metadata_from({}) == Metadata()


@given(st.dictionaries(st.sampled_from(KEYS), st.text(max_size=12) | st.from_regex(r"-?\d{1,9}/-?\d{1,9}")))
def test_any_text_gives_plausible_values_or_none(tags: dict[str, str]) -> None:
    """Whatever the entries hold, nothing raises and every known value is within its limits."""
    found = metadata_from(tags)
    settings = found.settings
    assert settings.shutter_s is None or 0.99e-6 <= settings.shutter_s <= 86_401
    assert settings.aperture is None or 0.499 <= settings.aperture <= 128.1
    assert settings.iso is None or 1 <= settings.iso <= 10_000_000
    assert found.focal_mm is None or found.focal_mm > 0
    assert found.pixel_um is None or 0.5 <= found.pixel_um <= 20
    assert 1 <= found.orientation <= 8


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1/250", 0.004),
        ("2.8", 2.8),
        ("200 0", 200),
        ("(400)", 400),
        ("0/0", None),
        ("", None),
        ("inf", None),
        ("x", None),
    ],
)
def test_number(text: str, value: float | None) -> None:
    """Rationals, decimals and lists are read; division by zero and words are not numbers."""
    assert number(text) == value


@pytest.mark.parametrize("text", ["0/1000000", "0", "1/0", "-1/60", "900000/1", "1/100000000"])
def test_absurd_shutter_is_unknown(text: str) -> None:
    """Zero, negative, endless and impossible times are unknown."""
    assert metadata_from({"Exif.Photo.ExposureTime": text}).settings.shutter_s is None


def test_apex_values_stand_in() -> None:
    """Without time and f-number their APEX values are used: Tv 8 is 1/256 s, Av 6 is f/8 (Exif annex)."""
    tags = {"Exif.Photo.ShutterSpeedValue": "8/1", "Exif.Photo.ApertureValue": "6/1"}
    settings = metadata_from(tags).settings
    assert settings.shutter_s == pytest.approx(1 / 256)
    assert settings.aperture == pytest.approx(8)


def test_unset_apex_values_are_unknown() -> None:
    """An APEX value of zero is an unset entry, not one second or f/1."""
    tags = {"Exif.Photo.ShutterSpeedValue": "0/96", "Exif.Photo.ApertureValue": "0/96"}
    settings = metadata_from(tags).settings
    assert settings.shutter_s is None
    assert settings.aperture is None


def test_stated_time_wins_over_apex() -> None:
    """The time itself is preferred to the rounded APEX value."""
    tags = {"Exif.Photo.ExposureTime": "1/125", "Exif.Photo.ShutterSpeedValue": "6965784/1000000"}
    assert metadata_from(tags).settings.shutter_s == pytest.approx(1 / 125)


@pytest.mark.parametrize("key", ISO_KEYS)
def test_iso_is_found_in_every_place(key: str) -> None:
    """Each place where makers put the speed is looked at."""
    assert metadata_from({key: "6400"}).settings.iso == 6400


def test_iso_overflow_means_look_elsewhere() -> None:
    """65535 is what a short entry says of speeds too high for it."""
    tags = {"Exif.Photo.ISOSpeedRatings": "65535", "Exif.Photo.RecommendedExposureIndex": "102400"}
    assert metadata_from(tags).settings.iso == 102_400
    assert metadata_from({"Exif.Photo.ISOSpeedRatings": "65535"}).settings.iso is None


@pytest.mark.parametrize(
    ("program", "mode", "expected"),
    [
        ("1", "0", "manual"),
        ("2", None, "automatic"),
        ("3", "0", "aperture priority"),
        ("4", None, "shutter priority"),
        ("7", None, "other"),
        ("0", "1", "manual"),
        (None, "1", "manual"),
        (None, "0", "automatic"),
        ("0", "2", None),
        (None, None, None),
        ("99", None, None),
    ],
)
def test_program(program: str | None, mode: str | None, expected: str | None) -> None:
    """The program counts; where it is undefined, the exposure mode tells manual from automatic."""
    tags = {"Exif.Photo.ExposureProgram": program, "Exif.Photo.ExposureMode": mode}
    assert metadata_from({key: text for key, text in tags.items() if text is not None}).program == expected


@pytest.mark.parametrize(
    ("program", "key", "code", "expected"),
    [
        ("1", "Exif.CanonCs.ISOSpeed", "15", "auto ISO"),
        ("1", "Exif.CanonCs.ISOSpeed", "14", "auto ISO"),
        ("1", "Exif.CanonCs.ISOSpeed", "17", "manual"),
        ("1", "Exif.MinoltaCs5D.ISOSpeed", "0", "auto ISO"),
        ("1", "Exif.Sony1MltCsNew.ISOSetting", "4", "auto ISO"),
        ("3", "Exif.CanonCs.ISOSpeed", "15", "aperture priority"),
        ("0", "Exif.CanonCs.ISOSpeed", "15", "auto ISO"),
    ],
)
def test_auto_iso_is_no_manual(program: str, key: str, code: str, expected: str) -> None:
    """Manual time and aperture with an ISO of the camera's choice, where the maker's entry says so (exiv2's tables)."""
    assert metadata_from({"Exif.Photo.ExposureProgram": program, key: code}).program == expected


def test_the_codes_for_auto_iso_are_those_of_the_metadata_library() -> None:
    """The library that reads the entries names each of these codes as automatic."""
    for key, codes in AUTO_ISO_CODES.items():
        for code in codes:
            exif = exiv2.ExifData()
            exif[key] = code
            assert "Auto" in exif[key].print(exif)


@pytest.mark.parametrize(
    ("code", "fired"), [("0", False), ("1", True), ("16", False), ("9", True), ("32", None), ("", None)]
)
def test_flash(code: str, fired: bool | None) -> None:
    """Bit 0 says it fired; a camera without flash, or no entry, says nothing."""
    assert metadata_from({"Exif.Photo.Flash": code}).flash_fired is fired


def test_time_with_subseconds_and_zone() -> None:
    """Sub-second digits are a decimal fraction, and the zone is the camera's."""
    tags = {
        "Exif.Photo.DateTimeOriginal": "2026:03:01 14:05:09",
        "Exif.Photo.SubSecTimeOriginal": "07",
        "Exif.Photo.OffsetTimeOriginal": "-03:30",
    }
    zone = timezone(-timedelta(hours=3, minutes=30))
    assert metadata_from(tags).captured_at == datetime(2026, 3, 1, 14, 5, 9, 70_000, zone)


def test_time_without_zone_is_naive() -> None:
    """No zone is invented, and a malformed one is none."""
    tags = {"Exif.Photo.DateTimeOriginal": "2026:03:01 14:05:09", "Exif.Photo.OffsetTimeOriginal": "   :  "}
    found = metadata_from(tags).captured_at
    assert found is not None
    assert found.tzinfo is None


@pytest.mark.parametrize("text", ["", "0000:00:00 00:00:00", "    :  :     :  :  ", "2026:13:01 00:00:00", "yesterday"])
def test_invalid_time_is_unknown(text: str) -> None:
    """Blank, zero and impossible times are unknown."""
    assert metadata_from({"Exif.Photo.DateTimeOriginal": text}).captured_at is None


def test_text_is_trimmed_and_empty_text_is_unknown() -> None:
    """NULs and blanks are cut off; what is empty then lets the next place speak."""
    tags = {
        "Exif.Image.Model": " Harrow Q24 \0\0junk",
        "Exif.Photo.LensModel": " \0",
        "lensName": "Harrow 85 mm",
        "serialNumber": "",
    }
    found = metadata_from(tags)
    assert (found.camera, found.lens, found.serial) == ("Harrow Q24", "Harrow 85 mm", None)


def plane(across: str | None, down: str | None, unit: str | None) -> dict[str, str]:
    """Entries about the focal plane, without those that are None."""
    names = ("FocalPlaneXResolution", "FocalPlaneYResolution", "FocalPlaneResolutionUnit")
    texts = zip(names, (across, down, unit), strict=True)
    return {f"Exif.Photo.{name}": text for name, text in texts if text is not None}


@pytest.mark.parametrize(
    ("across", "down", "unit", "pitch_um"),
    [
        ("5080/1", "5080/1", "2", 5.0),
        ("2000/1", "2000/1", "3", 5.0),
        ("200/1", "200/1", "4", 5.0),
        ("1/5", "1/5", "5", 5.0),
        ("5080/1", None, "2", 5.0),
        (None, "5080/1", "2", 5.0),
        ("5080/1", "5080/1", None, 5.0),  # Exif's default unit is the inch
        ("5080/1", "5000/1", "2", 5.0),
        ("5080/1", "4000/1", "2", None),
        ("5080/1", "0/1", "2", 5.0),
        ("0/1", "0/0", "2", None),
        ("-5080/1", None, "2", None),
        ("5080/1", None, "1", None),
        ("5080/1", None, "6", None),
        ("5080/1", None, "", None),
        ("1270/1", None, "2", 20.0),
        ("1200/1", None, "2", None),
        ("50800/1", None, "2", 0.5),
        ("52000/1", None, "2", None),
        (None, None, "2", None),
    ],
)
def test_pixel_pitch(across: str | None, down: str | None, unit: str | None, pitch_um: float | None) -> None:
    """Counts per inch, cm, mm or um give the pitch; unknown units, absurd pitches and unlike directions give none."""
    assert metadata_from(plane(across, down, unit)).pixel_um == pytest.approx(pitch_um)


@pytest.mark.parametrize(("text", "code"), [("6", 6), ("0", 1), ("9", 1), ("", 1)])
def test_orientation(text: str, code: int) -> None:
    """Codes 1 to 8 count; anything else is upright."""
    assert metadata_from({"Exif.Image.Orientation": text}).orientation == code


def test_bias_of_zero_is_known() -> None:
    """Zero is a real exposure bias, but a real focal length is not zero."""
    found = metadata_from({"Exif.Photo.ExposureBiasValue": "0/10", "Exif.Photo.FocalLength": "0/1"})
    assert found.bias_stops == 0
    assert found.focal_mm is None


def test_a_rendering_is_told_by_whatever_names_it() -> None:
    """Makers' entries and standard ones together; none where there is none."""
    one = metadata_from({"Exif.Photo.Contrast": "0", "Exif.NikonPc.Name": "PORTRAIT "})
    assert one.style == "PORTRAIT; 0"
    assert metadata_from({"Exif.Photo.Contrast": "1", "Exif.NikonPc.Name": "PORTRAIT"}).style != one.style
    assert metadata_from({}).style is None
