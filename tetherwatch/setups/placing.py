"""Where the faces of a setup should sit: never guessed, but measured against a grey card, beside a face or before one.

With the aim of the face there, the card sits at mid-grey, whatever the skin: what an incident reading would give.
"""

import math
from dataclasses import replace

from tetherwatch.advise.records import Estimate, Plan
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Reading
from tetherwatch.setups.records import Placement

_CARD_UNCERTAINTY = 0.05
"""Stops: how squarely a card is held to the light (judgement)."""

_SKIN_STOPS = (-2.5, 2.0)
"""Skin reflects some 5 to 50 % of green light, a card 18 % (from memory), and may be turned to the light more or less.
What lies beyond stands in another light than the card did."""


def by_card(setup: int | None, frame: int, reading: Reading, metadata: Metadata) -> Placement | None:
    """What a frame of a setup with a grey card in the aim's box tells, at once if there is a face too.

    None where no card can be measured: faces are not the aim, or the box is clipped or black.
    """
    if reading.card_stops is None:
        return None
    card = Placement(frame, reading.card_stops, reading.source, metadata.serial, metadata.settings)
    return card if reading.face is None else _measured(card, setup, frame, reading, 0.0)


def by_face(
    plan: Plan, card: Placement, setup: int, frame: int, reading: Reading, metadata: Metadata
) -> Placement | None:
    """The placement of a card with the face of a later frame in the same light.

    None where there is no face, or something keeps it from being compared (`hindrance`).
    """
    if reading.face is None or hindrance(plan, card, reading, metadata) is not None:
        return None
    return _measured(card, setup, frame, reading, _brighter(plan, card.settings, metadata.settings) or 0.0)


def hindrance(plan: Plan, card: Placement, reading: Reading, metadata: Metadata) -> str | None:
    """What keeps a face from being compared with a card, in words; None if nothing does."""
    if (card.source == "raw", card.serial) != (reading.source == "raw", metadata.serial):
        return "it is of another camera or kind of file"
    brighter = _brighter(plan, card.settings, metadata.settings)
    if brighter is None:
        return "not all settings of both are known, or the shutter was moved in mixed light"
    least, most = _SKIN_STOPS
    lies = reading.level_stops - brighter - card.card_stops
    return None if least <= lies <= most else f"this face lies {lies:+.1f} stops from it, in another light"


def placed(plan: Plan, placement: Placement | None, reading: Reading) -> Plan:
    """The plan with the face's measured place as its aim, where a face is metered."""
    if placement is None or placement.from_grey is None or reading.area != "face":
        return plan
    return replace(plan, aim=replace(plan.aim, from_grey_stops=placement.from_grey.value))


def placement_words(placement: Placement) -> str:
    """What a card has led to, as a sentence without its full stop."""
    if placement.from_grey is None:
        return f"the card of frame {placement.card_frame} is kept: the next face in this light is placed by it"
    lies = f"the face lies {placement.from_grey.value:+.2f} stops from the card of frame {placement.card_frame}"
    return f"{lies} and is held there"


def hindered_words(card: Placement, hindrance: str) -> str:
    """That a card waits although there is a face, as a sentence without its full stop."""
    return f"the card of frame {card.card_frame} does not place this face: {hindrance}"


def _measured(card: Placement, setup: int | None, frame: int, reading: Reading, brighter: float) -> Placement:
    """`brighter`: by so many stops the face's frame is exposed more than the card's."""
    stops = reading.level_stops - brighter - card.card_stops
    uncertainty = math.hypot(reading.uncertainty_stops, _CARD_UNCERTAINTY)
    return replace(card, setup=setup, face_frame=frame, from_grey=Estimate(stops, uncertainty))


def _brighter(plan: Plan, before: Settings, after: Settings) -> float | None:
    """By how many stops settings make the picture brighter; None where that is not known."""
    stops = 0.0
    for setting in CAMERA_SETTINGS:
        one, other = before.get(setting), after.get(setting)
        if setting is Setting.SHUTTER and plan.light == "flash":
            continue
        if one is None or other is None or (setting is Setting.SHUTTER and plan.light == "mixed" and one != other):
            return None
        stops += brightness(setting, other) - brightness(setting, one)
    return stops
