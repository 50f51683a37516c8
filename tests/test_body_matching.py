"""Which body a capture was taken with."""

from dataclasses import replace

import pytest
from body_records import BODY

from tetherwatch.body.matching import Bodies, fresh

MODEL = replace(BODY, name="any-q24", serial=None)
SECOND = replace(BODY, name="q24-second", serial="HQ-2")
OTHER = replace(BODY, name="halden", camera="Halden K2", serial="77")


@pytest.mark.parametrize(
    ("known", "preferred", "camera", "serial", "name", "by"),
    [
        ([BODY, SECOND, MODEL], None, "Harrow Q24", "HQ-2", "q24-second", "by camera and serial"),
        ([MODEL, BODY], None, "Harrow Q24", "HQ-204417", "harrow-q24", "by camera and serial"),
        ([MODEL, OTHER], None, "Harrow Q24", "HQ-9", "any-q24", "by camera alone"),
        ([BODY, OTHER], None, "Harrow Q24", None, "harrow-q24", "by camera alone"),
        ([BODY], None, "Harrow Q24", "HQ-9", None, "no profile"),
        ([BODY, SECOND], None, "Harrow Q24", None, None, "several"),
        ([BODY, SECOND], "q24-second", "Harrow Q24", None, "q24-second", "as chosen"),
        ([BODY, MODEL], "any-q24", "Harrow Q24", "HQ-204417", "any-q24", "as chosen"),
        ([BODY, OTHER], "halden", "Harrow Q24", "HQ-204417", "harrow-q24", "by camera and serial"),
        ([BODY], "harrow-q24", "Harrow Q24", "HQ-9", None, "no profile"),
        ([BODY], None, None, None, None, "no profile"),
        ([BODY], "harrow-q24", None, None, "harrow-q24", "as chosen"),
        ([], None, "Harrow Q24", "HQ-204417", None, "no profile"),
    ],
)
def test_the_body_of_a_capture(
    known: list[object], preferred: str | None, camera: str | None, serial: str | None, name: str | None, by: str
) -> None:
    """The chosen one where it fits, then the exact serial, then the only one of the camera; never another body's."""
    found = Bodies(tuple(known), preferred).of(camera, serial)  # type: ignore[arg-type]
    assert (found.body.name if found.body else None) == name
    assert by in found.by


def test_a_kept_body_stays_until_its_name_is_taken_anew() -> None:
    """What a session knew is used while no profile has its name; then the profile is."""
    assert fresh([OTHER], BODY) == (OTHER, BODY)
    assert fresh([replace(BODY, serial="new")], BODY) == (replace(BODY, serial="new"),)
    assert fresh([OTHER], None) == (OTHER,)
