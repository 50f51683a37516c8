"""A watched folder and its session, run behind the dashboard."""

import gc
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import replace
from functools import partial
from importlib import import_module
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Event, Thread

from tetherwatch.advise.library import shipped_names
from tetherwatch.advise.whatif import Tried, Try
from tetherwatch.errors import TetherwatchError, WatchStoppedError
from tetherwatch.exposure.stops import Setting
from tetherwatch.meter.nearby import next_face
from tetherwatch.meter.records import Point
from tetherwatch.session.chosen import choose
from tetherwatch.session.opening import Opened
from tetherwatch.session.records import FrameRecord, SessionView
from tetherwatch.setups.records import Placement
from tetherwatch.watch.pipeline import Watcher
from tetherwatch.watch.records import WatchEvent
from tetherwatch.watch.task import read_capture
from tetherwatch.watch.workers import Workers

_CLOSE_S = 5.0

News = WatchEvent | tuple[FrameRecord, ...] | TetherwatchError
"""What the watch's thread tells: what happens, after the frames to look back on; or what ended it."""


class LiveSession:
    """The dashboard's source: the watch runs in a thread of its own, the session in the dashboard's.

    The watch begins when the dashboard listens: starting workers would make the first picture wait. So would collecting
    garbage, which begins then too.
    """

    def __init__(self, folder: Path, opened: Opened) -> None:
        self._session = opened.session
        plan = opened.session.plan
        self._chosen = plan.source
        self._near: Point | None = None
        reader = Workers(partial(read_capture, bodies=opened.bodies))
        self._watcher = Watcher(
            folder, plan.aim, plan.step, from_start=opened.from_start, ledger=opened.ledger, reader=reader
        )
        self._news: SimpleQueue[News] = SimpleQueue()
        self._wake: Callable[[], object] = _nothing
        self._stop = Event()
        self._thread = Thread(target=self._watch, name="watch", daemon=True)

    def view(self) -> SessionView:
        """The session at this moment."""
        return self._session.view()

    def listen(self, wake: Callable[[], object]) -> None:
        """Begin to watch; `wake` is called in the watch's thread when there is something to poll."""
        self._wake = wake
        gc.freeze()
        gc.enable()
        self._thread.start()

    def poll(self) -> bool:
        """Take in what has happened; True if the view changed."""
        changed = False
        while True:
            try:
                news = self._news.get_nowait()
            except Empty:
                return changed
            if isinstance(news, TetherwatchError):
                raise news
            if isinstance(news, tuple):
                self._session.look_back(news)
            else:
                self._session.take(news)
            changed = True

    def plans(self) -> tuple[str, ...]:
        """The shipped plans, and the user's own file where one was given."""
        return tuple(dict.fromkeys((*shipped_names(), self._chosen)))

    def use_plan(self, name: str) -> None:
        """Go on under another plan. Raises UsageError or PlanError and changes nothing then."""
        before = self._session.chosen
        chosen = choose(name, before.ceiling_iso, before.body)
        self._session.choose(chosen)
        self._watcher.use(replace(chosen.plan.aim, near=self._near), chosen.plan.step)

    def toggle_lock(self, setting: Setting) -> None:
        """Lock or free a setting for this session."""
        self._session.toggle_lock(setting)

    def next_face(self) -> bool:
        """Meter another face than now; False where the newest frame shows no other."""
        view = self._session.view()
        reading = view.frames[-1].reading if view.frames else None
        face = None if reading is None else next_face(reading.faces, reading.face)
        if face is None:
            return False
        self._near = face.middle
        self._watcher.use(replace(view.plan.aim, near=self._near), view.plan.step)
        return True

    def toggle_card(self, number: int | None) -> Placement | None:
        """Let the card in a frame, or in the newest, place the faces of its setup, or no longer."""
        return self._session.toggle_card(number)

    def tried(self, setting: Setting, stops: float) -> Tried | None:
        """What the newest frame would read with a setting moved by `stops`. Raises UsageError if it is not known."""
        return self._session.tried((Try(setting, stops=stops),))

    def toggle_pin(self, number: int | None) -> bool:
        """Pin a frame, or the newest, or take the pin from it."""
        return self._session.toggle_pin(number)

    def rename_setup(self, number: int, name: str) -> None:
        """Name a setup."""
        self._session.rename_setup(number, name)

    def merge_setup(self, number: int) -> int:
        """Merge a setup into the one before it."""
        return self._session.merge_setup(number)

    def split_setup(self) -> int:
        """Begin a setup with the newest frame."""
        return self._session.split_setup()

    def close(self) -> None:
        """Stop watching."""
        self._stop.set()
        self._watcher.close()
        if self._thread.ident is not None:
            self._thread.join(_CLOSE_S)

    def _watch(self) -> None:
        try:
            self._tell(self._session.earlier())
            import_module("tetherwatch.setups.book")  # what the first frame needs, while there is none
            with closing(self._watcher.events(self._stop)) as events:
                for event in events:
                    self._tell(event)
        except TetherwatchError as error:  # handed to the dashboard's thread, which raises it
            self._tell(error)
        except Exception as error:  # the supervised unit: the dashboard must not stay up over a watch that is gone
            self._tell(WatchStoppedError(f"{type(error).__name__}: {error}"))

    def _tell(self, news: News) -> None:
        self._news.put(news)
        with suppress(RuntimeError):  # a dashboard that has just ended
            self._wake()


def _nothing() -> None:
    """Nobody listens yet."""
