"""Where faces should sit, by a grey card beside one or in a frame before."""

from dataclasses import replace
from typing import Any

import pytest
from advise_records import reading
from hypothesis import given
from hypothesis import strategies as st
from session_records import FLASH, PLAN, SETTINGS

from tetherwatch.advise.records import Plan
from tetherwatch.exposure.settings import Settings
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Box, Face, Point, Reading
from tetherwatch.setups.placing import by_card, by_face, hindrance, placed, placement_words
from tetherwatch.setups.records import Placement

FACE = Face(Box(0.4, 0.2, 0.6, 0.6), Point(0.45, 0.35), Point(0.55, 0.35), 1.0)
MIXED = replace(PLAN, light="mixed")


def shot(settings: Settings = SETTINGS, serial: str = "77", **changes: Any) -> tuple[Reading, Metadata]:
    """A frame under a plan that meters a face, with what was read in it."""
    return replace(reading(0.0), **changes), Metadata(settings=settings, camera="Halden K2", serial=serial)


def card(stops: float = 0.2) -> Placement:
    """What a frame of a card only has told, the third one."""
    placement = by_card(1, 3, *shot(card_stops=stops))
    assert placement is not None and placement.from_grey is None
    return placement


def face(stops: float, **changes: Any) -> tuple[Reading, Metadata]:
    """A frame with a face whose skin lies there."""
    return shot(area="face", face=FACE, level_stops=stops, **changes)


@given(st.floats(-2, 2), st.floats(-1, 1))
def test_the_face_lies_as_far_above_the_card_however_the_frame_is_exposed(exposure: float, lies: float) -> None:
    """The ratio of face and card is that of light and skin, in one frame or in two at the same settings."""
    together = by_card(1, 3, *face(exposure + lies, card_stops=exposure))
    apart = by_face(PLAN, card(exposure), 1, 4, *face(exposure + lies))
    for placement in (together, apart):
        assert placement is not None and placement.from_grey is not None
        assert placement.from_grey.value == pytest.approx(lies)
        assert placement.from_grey.uncertainty > reading(0.0).uncertainty_stops


@given(st.floats(-2, 2), st.floats(-2, 2), st.floats(-2, 2))
def test_settings_moved_between_card_and_face_are_taken_out(time: float, aperture: float, iso: float) -> None:
    """By what they do to the light of the plan: the shutter nothing under flash."""
    moved = Settings(2.0 ** (time - 8), 2.0 ** (1.5 - aperture / 2), 400 * 2.0**iso)
    for plan, brighter in ((PLAN, time + aperture + iso), (FLASH, aperture + iso)):
        placement = by_face(plan, card(0.0), 1, 4, *face(0.5 + brighter, settings=moved))
        assert placement is not None and placement.from_grey is not None
        assert placement.from_grey.value == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("plan", "frame"),
    [
        (PLAN, shot(level_stops=0.5)),
        (PLAN, face(0.5, source="jpeg")),
        (PLAN, face(0.5, serial="78")),
        (PLAN, face(0.5, settings=replace(SETTINGS, aperture=None))),
        (MIXED, face(0.5, settings=replace(SETTINGS, shutter_s=2.0**-7))),
        (PLAN, face(2.5)),
        (PLAN, face(-2.5)),
    ],
    ids=["no face", "kind of file", "camera", "aperture unknown", "time in mixed light", "too bright", "too dark"],
)
def test_what_cannot_be_compared_places_nothing(plan: Plan, frame: tuple[Reading, Metadata]) -> None:
    """Nothing is made up."""
    assert by_face(plan, card(), 1, 4, *frame) is None
    assert (hindrance(plan, card(), *frame) is None) is (frame[0].face is None)


def test_without_a_card_nothing_is_kept() -> None:
    """Under a plan that meters no face, or with a card that is clipped, there is none."""
    assert by_card(1, 3, *shot(card_stops=None)) is None


def test_only_a_metered_face_is_held_there() -> None:
    """A frame in which none was found is judged as planned, and so is every frame until one was."""
    measured = by_face(PLAN, card(0.0), 1, 4, *face(-0.4))
    assert measured is not None
    assert placed(PLAN, measured, face(0.0)[0]).aim.from_grey_stops == pytest.approx(-0.4)
    for placement, seen in ((measured, shot()[0]), (card(), face(0.0)[0]), (None, face(0.0)[0])):
        assert placed(PLAN, placement, seen) is PLAN


def test_words_say_which_card_and_what_it_led_to() -> None:
    """Before and after a face is seen."""
    measured = by_face(PLAN, card(0.0), 1, 4, *face(-0.4))
    assert measured is not None
    assert placement_words(card()) == "the card of frame 3 is kept: the next face in this light is placed by it"
    assert placement_words(measured) == "the face lies -0.40 stops from the card of frame 3 and is held there"
