"""A session that is written down: everything it takes goes to its recorder too."""

from pathlib import Path
from typing import TypeGuard

from tetherwatch.advise.records import Finding
from tetherwatch.body.matching import NO_BODIES, Bodies
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.session.bodies import body_sentence
from tetherwatch.session.chosen import ChosenPlan
from tetherwatch.session.recorder import Recorder
from tetherwatch.session.records import FrameRecord, Past, SessionEvent, Warned
from tetherwatch.session.session import Session
from tetherwatch.setups.records import Placement
from tetherwatch.watch.records import FirstLook, Metered, Problem, WatchEvent


class RecordedSession(Session):
    """A `Session` with a recorder; None where no file can be written at all."""

    def __init__(
        self, folder: Path, chosen: ChosenPlan, past: Past, recorder: Recorder | None, bodies: Bodies = NO_BODIES
    ) -> None:
        """Begin, or go on from `past`, under `chosen`. `bodies`: the profiles that captures may be of."""
        super().__init__(folder, chosen.plan, past, bodies)
        self._chosen = chosen
        self._recorder = recorder
        self._told_of_bodies = set[str]()
        self._write_change()

    def take(self, event: WatchEvent) -> tuple[SessionEvent, ...]:
        """As in a `Session`; what is to be said of its body goes before a frame, and of the writing follows."""
        met = self._meet(event.metadata, event.capture.path) if self._is_newest(event) else ()
        news = (*met, *super().take(event))
        said = self._recorded(event, news)
        for problem in said:
            super().take(problem)
        return (*news, *said)

    def earlier(self) -> tuple[FrameRecord, ...]:
        """Frames for `look_back`, which the start did not wait for. From any thread. Raises JournalError."""
        return () if self._recorder is None else self._recorder.earlier()

    def _recorded(self, event: WatchEvent, news: tuple[SessionEvent, ...]) -> tuple[Problem, ...]:
        if self._recorder is None:
            return ()
        if isinstance(event, Metered):
            self._note_setups()
        return self._recorder.note(*news)

    def _note_setups(self) -> None:
        if self._recorder is not None:
            self._recorder.note_setups(self.lighting)

    @property
    def chosen(self) -> ChosenPlan:
        """The plan in force as it was chosen, and the body whose ceiling it has."""
        return self._chosen

    def _is_newest(self, event: WatchEvent) -> TypeGuard[Metered | FirstLook]:
        """Whether an event tells of a capture that came after all frames, as every first look does."""
        if isinstance(event, Metered):
            return not event.replaces and self.is_newest(event.capture)
        return isinstance(event, FirstLook)

    def _meet(self, metadata: Metadata, path: Path) -> tuple[Warned, ...]:
        """Let the ceiling be that of the body that the newest capture, at `path`, is of; news of each body once."""
        found = self._bodies.of(metadata.camera, metadata.serial)
        if found.body != self._chosen.body:
            self._chosen = self._chosen.under(found.body)
            self.use_ceiling(self._chosen.plan)
            self._write_plan()
        sentence = body_sentence(self._chosen, self._bodies, metadata, found)
        if sentence is None or sentence in self._told_of_bodies:
            return ()
        self._told_of_bodies.add(sentence)
        return (Warned(path, Finding("body", sentence)),)

    def choose(self, chosen: ChosenPlan) -> None:
        """Change the plan, as `use_plan` does."""
        self._chosen = chosen
        self.use_plan(chosen.plan)
        self._write_change()

    def toggle_lock(self, setting: Setting) -> None:
        """As in a `Session`."""
        super().toggle_lock(setting)
        self._write_change()

    def toggle_pin(self, number: int | None = None) -> bool:
        """As in a `Session`."""
        pinned = super().toggle_pin(number)
        self._write_lighting()
        return pinned

    def toggle_card(self, number: int | None = None) -> Placement | None:
        """As in a `Session`."""
        placement = super().toggle_card(number)
        self._write_lighting()
        return placement

    def rename_setup(self, number: int, name: str) -> None:
        """As in a `Session`."""
        super().rename_setup(number, name)
        self._write_lighting()

    def merge_setup(self, number: int) -> int:
        """As in a `Session`."""
        into = super().merge_setup(number)
        if self._recorder is not None:
            self._recorder.note_merged(number, into)
        self._write_lighting()
        return into

    def split_setup(self) -> int:
        """As in a `Session`."""
        number = super().split_setup()
        self._write_lighting()
        return number

    def _write_lighting(self) -> None:
        """Write setups and pins, and the newest frame, which was called again."""
        self._note_setups()
        if self._recorder is not None:
            self._recorder.rewrite(*self.view().frames[-1:])

    def _write_change(self) -> None:
        """Write what is in force, and the newest frame, which may have been called again."""
        self._write_plan()
        if self._recorder is not None:
            self._recorder.rewrite(*self.view().frames[-1:])

    def _write_plan(self) -> None:
        if self._recorder is not None:
            self._recorder.use_plan(self._chosen, self.locks, self.set_after)
