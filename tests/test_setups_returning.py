"""The way back to a setup's last good settings."""

from dataclasses import replace

import pytest
from advise_records import reading
from hypothesis import given
from hypothesis import strategies as st
from session_records import PLAN, SETTINGS

from tetherwatch.advise.records import NOTHING_KNOWN, Allowed, Call, Plan
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.setups.records import Setup
from tetherwatch.setups.returning import differences, return_call, return_finding

FREE = replace(PLAN, aperture=Allowed(Setting.APERTURE, 16.0, 2.0, 2.0**1.5))
RIGHT = Setup(2, 3, 9, 7, "Key left", settings=SETTINGS, proven=True)
HOLD = Call("hold", "Right as it is.")


def moved(shutter: int = 0, aperture: int = 0, iso: int = 0) -> tuple[Settings, float]:
    """The setup's good settings moved by whole stops of brightness, and what that adds up to."""
    assert SETTINGS.shutter_s and SETTINGS.aperture and SETTINGS.iso
    made = Settings(
        SETTINGS.shutter_s * 2.0**shutter, SETTINGS.aperture * 2.0 ** (-aperture / 2), SETTINGS.iso * 2.0**iso
    )
    return made, float(shutter + aperture + iso)


def called(plan: Plan, settings: Settings, offset: float) -> Call | None:
    """The way back for a frame with these settings and this offset."""
    return return_call(plan, settings, reading(offset), RIGHT, NOTHING_KNOWN)


def test_one_setting_is_one_call() -> None:
    """Back to where it was right, though the plan would move another one first."""
    settings, offset = moved(aperture=-2)
    call = called(FREE, settings, offset)
    assert call is not None
    assert (call.kind, call.setting, call.from_label, call.to_label) == ("brighter", Setting.APERTURE, "f/5.6", "f/2.8")
    assert call.left_stops == 0
    assert call.predicted is not None
    assert call.predicted.offset_stops == pytest.approx(0, abs=1e-6)
    assert "Key left" in call.reason
    assert return_finding(FREE, settings, RIGHT, call) is None


def test_several_settings_are_a_list_with_the_first_to_move() -> None:
    """The call moves the first in the plan's order; the others are told as they were."""
    settings, offset = moved(aperture=-1, iso=-2)
    call = called(FREE, settings, offset)
    assert call is not None
    assert (call.setting, call.to_label, call.left_stops) == (Setting.ISO, "400", pytest.approx(1.0))
    told = return_finding(FREE, settings, RIGHT, call)
    assert told is not None
    assert told.reason == "back in Key left, which was right with aperture f/2.8 instead of f/4"


def test_a_locked_setting_is_not_moved() -> None:
    """What the plan holds stays; it is told beside the call of the advice."""
    settings, offset = moved(aperture=-2)
    assert called(PLAN, settings, offset) is None
    told = return_finding(PLAN, settings, RIGHT, HOLD)
    assert told is not None
    assert told.kind == "return"


def test_nothing_is_offered_where_nothing_was_right_or_nothing_differs() -> None:
    """A setup that never was right proves no settings."""
    settings, offset = moved(iso=-2)
    unproven = replace(RIGHT, proven=False)
    assert return_call(FREE, settings, reading(offset), unproven, NOTHING_KNOWN) is None
    assert differences(SETTINGS, RIGHT) == ()
    assert called(FREE, SETTINGS, -1.0) is None
    assert differences(Settings(), RIGHT) == ()


@given(st.integers(-3, 3), st.integers(-3, 3), st.integers(-2, 3), st.floats(-0.15, 0.15))
def test_the_way_back_never_leads_away_or_past_the_aim(shutter: int, aperture: int, iso: int, off: float) -> None:
    """It comes closer, stays on its side or ends inside the tolerance, and moves one setting to its good value."""
    settings, offset = moved(shutter, aperture, iso)
    call = called(FREE, settings, offset + off)
    if call is None:
        return
    assert call.predicted is not None
    after = call.predicted.offset_stops
    assert abs(after) < abs(offset + off)
    assert after * (offset + off) >= 0 or abs(after) <= FREE.aim.tolerance_stops
    assert (call.kind == "brighter") == (call.move_stops > 0)
    assert call.setting in CAMERA_SETTINGS
