"""What a session's file holds of setups, pins and placed faces, against what it should: the difference is written."""

from tetherwatch.session.journal import Journal
from tetherwatch.session.lighting import Lighting
from tetherwatch.session.records import Past


class KeptSetups:
    """The setups, pins and placements of a file. Where the disk refuses, what is wanted in the end is written later."""

    def __init__(self, past: Past) -> None:
        """A file that holds those of `past`."""
        self._held = {setup.number: setup for setup in past.setups}
        self._pins_held, self._placements_held = dict(past.pins), past.placements
        self._setups, self._pins, self._placements = self._held, self._pins_held, self._placements_held
        self._labels: dict[int, int] = {}
        self._moved: dict[int, int] = {}

    def want(self, lighting: Lighting) -> None:
        """What the file should hold, and the setups of the last frames."""
        labels = lighting.labels
        self._setups = {setup.number: setup for setup in lighting.setups}
        self._pins, self._placements = dict(lighting.pins), lighting.cards.placements
        self._moved |= {number: setup for number, setup in labels.items() if self._labels.get(number, setup) != setup}
        self._labels = dict(labels)

    @property
    def complete(self) -> bool:
        """Whether the file holds what it should."""
        aims, held = (self._pins, self._placements), (self._pins_held, self._placements_held)
        return not self._moved and self._setups == self._held and aims == held

    def write(self, journal: Journal) -> None:
        """Write what differs. Raises sqlite3.Error."""
        changed = [setup for setup in self._setups.values() if self._held.get(setup.number) != setup]
        gone = [number for number in self._held if number not in self._setups]
        journal.set_setups(changed, gone, self._moved)
        if self._pins != self._pins_held:
            journal.set_pins(self._pins)
        if self._placements != self._placements_held:
            journal.set_placements(self._placements)

    def written(self) -> None:
        """What was written is on the disk."""
        self._held, self._pins_held, self._placements_held = self._setups, self._pins, self._placements
        self._moved = {}
