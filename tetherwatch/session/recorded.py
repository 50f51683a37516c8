"""A session that is written down: everything it takes goes to its recorder too."""

from pathlib import Path

from tetherwatch.exposure.stops import Setting
from tetherwatch.session.chosen import ChosenPlan
from tetherwatch.session.recorder import Recorder
from tetherwatch.session.records import Past, SessionEvent
from tetherwatch.session.session import Session
from tetherwatch.watch.records import WatchEvent


class RecordedSession(Session):
    """A `Session` with a recorder; None where no file can be written at all."""

    def __init__(self, folder: Path, chosen: ChosenPlan, past: Past, recorder: Recorder | None) -> None:
        """Begin, or go on from `past`, under `chosen`."""
        super().__init__(folder, chosen.plan, past)
        self._chosen = chosen
        self._recorder = recorder
        self._write_plan()

    def take(self, event: WatchEvent) -> tuple[SessionEvent, ...]:
        """As in a `Session`; what is to be said of the writing follows."""
        news = super().take(event)
        said = self._recorder.note(*news) if self._recorder is not None else ()
        for problem in said:
            super().take(problem)
        return (*news, *said)

    def choose(self, chosen: ChosenPlan) -> None:
        """Change the plan, as `use_plan` does."""
        self._chosen = chosen
        self.use_plan(chosen.plan)
        self._write_plan()

    def toggle_lock(self, setting: Setting) -> None:
        """As in a `Session`."""
        super().toggle_lock(setting)
        self._write_plan()

    def _write_plan(self) -> None:
        """Write what is in force, and the newest frame, which may have been called again."""
        if self._recorder is not None:
            self._recorder.use_plan(self._chosen, self.locks, self.set_after)
            self._recorder.rewrite(*self.view().frames[-1:])
