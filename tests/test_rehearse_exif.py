"""What a simulated camera writes about a capture, read back by the rules for real ones and through real files."""

from dataclasses import replace
from datetime import datetime, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.metadata import read_metadata
from tetherwatch.frame.tags import metadata_from
from tetherwatch.rehearse.camera import Camera
from tetherwatch.rehearse.exif import capture_tags
from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.session import rehearse

NOON = datetime(2031, 5, 4, 12, 0, 0, tzinfo=timezone.utc)
AT_250 = Settings(2.0**-8, 2.0**1.5, 400.0)


def tags(camera: Camera, columns: int) -> dict[str, str]:
    """Tags of a capture at 1/250, f/2.8, ISO 400."""
    return capture_tags(camera, AT_250, Step.THIRD, NOON, False, columns)


def test_a_capture_says_all_that_the_rules_ask_for() -> None:
    """Settings, program, focal lengths and pixel pitch come back as the camera has them."""
    found = metadata_from(tags(Camera(), 6000))
    assert found.settings == Settings(1 / 250, 2.8, 400.0)
    assert (found.program, found.bias_stops, found.flash_fired) == ("manual", 0.0, False)
    assert (found.focal_mm, found.focal_35mm) == (85.0, 85.0)
    assert found.pixel_um == pytest.approx(6.0)
    assert (found.camera, found.lens, found.captured_at) == ("Harrow Q24", "Harrow 85mm F1.8", NOON)


def test_a_smaller_sensor_has_a_longer_equivalent() -> None:
    """On a sensor 24 mm wide, 85 mm sees what 128 mm (127.5, a whole number in Exif) sees on one of 36 mm."""
    found = metadata_from(tags(replace(Camera(), sensor_mm=24.0), 6000))
    assert (found.focal_mm, found.focal_35mm) == (85.0, 128.0)
    assert found.pixel_um == pytest.approx(4.0)


@given(st.integers(100, 20_000), st.floats(4.0, 60.0))
def test_pixel_pitch_is_sensor_width_over_columns(columns: int, sensor_mm: float) -> None:
    """For any sensor whose pitch is that of a camera (0.5 to 20 micrometres); any other is unknown."""
    pitch_um = 1000 * sensor_mm / columns
    found = metadata_from(tags(replace(Camera(), sensor_mm=sensor_mm), columns)).pixel_um
    if 0.51 <= pitch_um <= 19.9:
        assert found == pytest.approx(pitch_um, rel=1e-3)
    elif not 0.49 <= pitch_um <= 20.1:
        assert found is None


@pytest.mark.parametrize("files", ["dng", "jpeg"])
def test_pixel_pitch_survives_in_files(tmp_path: Path, files: str) -> None:
    """A rehearsed capture carries the pitch of the pixels it really has."""
    options = Options(frames=1, megapixels=6.0, files=files, every_s=0.0)  # type: ignore[arg-type]
    (truth,) = rehearse(tmp_path, options, NOON)
    found = read_metadata(tmp_path / truth.file)
    assert found.pixel_um == pytest.approx(1000 * 36 / (2 * options.cell_grid[1]), rel=1e-3)
    assert (found.focal_mm, found.focal_35mm) == (85.0, 85.0)
