"""The grey cards of a session: which the user named, and where they place faces."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from tetherwatch.advise.records import Finding, Plan
from tetherwatch.errors import UsageError
from tetherwatch.session.records import FrameRecord
from tetherwatch.setups.placing import by_card, by_face, hindered_words, hindrance, placement_words
from tetherwatch.setups.records import Placement
from tetherwatch.watch.records import Metered


class Cards:
    """At most one placement in each setup, and one card that waits for the next face.

    A card is of the setup whose face comes next: a picture of a card alone shows too little of the light to tell.
    """

    def __init__(self, placements: Sequence[Placement]) -> None:
        """Begin with these."""
        self._placements = tuple(placements)
        self._hindered: tuple[int, Finding] | None = None

    @property
    def placements(self) -> tuple[Placement, ...]:
        """All of them."""
        return self._placements

    def of(self, setup: int | None) -> Placement | None:
        """Where faces of a setup sit; None where no card says so."""
        return next((each for each in self._placements if each.setup is not None and each.setup == setup), None)

    def toggle(self, record: FrameRecord) -> Placement | None:
        """Let the card in a frame place faces, or no longer; None if it does not now.

        Raises UsageError where no card can be measured in it.
        """
        self._hindered = None
        others = tuple(each for each in self._placements if each.card_frame != record.number)
        if len(others) < len(self._placements):
            self._placements = others
            return None
        by_another = next((each.card_frame for each in others if each.face_frame == record.number), None)
        if by_another is not None:
            raise UsageError(f"the card of frame {by_another} places this face already", "look back and press g there")
        placement = by_card(record.setup, record.number, record.reading, record.metadata)
        if placement is None:
            raise UsageError("no grey card can be measured here", "hold it inside the box of a plan that meters a face")
        self._put(placement)
        return placement

    def take(self, plan: Plan, setup: int, number: int, frame: Metered | FrameRecord) -> None:
        """Measure the newest frame's face by the card that waits for one."""
        self._hindered = None
        waiting = next((each for each in self._placements if each.setup is None and each.card_frame != number), None)
        if waiting is None or frame.reading.face is None:
            return
        measured = by_face(plan, waiting, setup, number, frame.reading, frame.metadata)
        why_not = hindrance(plan, waiting, frame.reading, frame.metadata)
        if measured is not None:
            self._put(measured)
        elif why_not is not None:
            self._hindered = number, Finding("face", hindered_words(waiting, why_not))

    def read_again(self, setup: int, number: int, frame: Metered | FrameRecord) -> None:
        """Take a better reading of a frame with a card, such as its raw after its JPEG."""
        for each in self._placements:
            if each.card_frame == number and each.face_frame in (None, number):
                self._put(by_card(setup, number, frame.reading, frame.metadata) or each)

    def correct(self, labels: Mapping[int, int]) -> None:
        """Move placements with their faces, of which it turned out that they are in another setup."""
        for each in self._placements:
            setup = each.setup if each.face_frame is None else labels.get(each.face_frame, each.setup)
            if setup != each.setup:
                self._put(replace(each, setup=setup))

    def merge(self, number: int, into: int) -> None:
        """Make one setup of two: the placement in `into` goes before the other."""
        merged, there = self.of(number), self.of(into)
        if merged is not None:
            self._put(replace(merged, setup=into))
        if there is not None:
            self._put(there)

    def told(self, number: int) -> tuple[Finding, ...]:
        """That a frame's face was placed by the card of a frame before, or why it was not."""
        if self._hindered is not None and self._hindered[0] == number:
            return (self._hindered[1],)
        found = (each for each in self._placements if each.face_frame == number != each.card_frame)
        return tuple(Finding("face", placement_words(each)) for each in found)

    def _put(self, placement: Placement) -> None:
        """Keep one in the place of its own earlier state and of what says the same of its setup."""
        kept = (each for each in self._placements if each.card_frame != placement.card_frame)
        self._placements = (*(each for each in kept if each.setup != placement.setup), placement)
