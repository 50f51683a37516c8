"""Where a face should sit, by a grey card in the same frame."""

from dataclasses import replace

import pytest
from advise_records import reading

from tetherwatch.advise.placement import face_from_card
from tetherwatch.meter.records import Box, Face, Point

FACE = Face(Box(0.4, 0.2, 0.6, 0.6), Point(0.45, 0.35), Point(0.55, 0.35), 1.0)


@pytest.mark.parametrize("exposure", [-2.0, 0.0, 1.0])
def test_the_face_lies_as_far_above_the_card_however_the_frame_is_exposed(exposure: float) -> None:
    """The ratio of face and card is the light's and the skin's, not the exposure's."""
    taken = replace(reading(0.0), level_stops=exposure + 0.8, card_stops=exposure, face=FACE)
    found = face_from_card(taken)
    assert found is not None
    assert found.value == pytest.approx(0.8) and found.uncertainty > taken.uncertainty_stops


def test_without_a_face_or_a_card_nothing_is_taken() -> None:
    """Nothing is made up where one of the two was not metered."""
    assert face_from_card(replace(reading(0.0), face=FACE)) is None
    assert face_from_card(replace(reading(0.0), card_stops=0.0)) is None
