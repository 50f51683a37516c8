"""Where a face should sit: never guessed, but taken from a frame in which a grey card is held beside it."""

import math

from tetherwatch.advise.records import Estimate
from tetherwatch.meter.records import Reading

_CARD_UNCERTAINTY = 0.05
"""Stops: how squarely a card is held to the light (judgement)."""


def face_from_card(reading: Reading) -> Estimate | None:
    """How far the face lies above a grey card in the aim's box, in stops; None unless both are in the frame.

    With the aim of the face there, the card sits at mid-grey, whatever the skin: what an incident reading would give.
    """
    if reading.face is None or reading.card_stops is None:
        return None
    stops = reading.level_stops - reading.card_stops
    return Estimate(stops, math.hypot(reading.uncertainty_stops, _CARD_UNCERTAINTY))
