"""Session files, frames and failing disks for the tests of the journal."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from advise_records import GOOD
from hypothesis import strategies as st

from tetherwatch.exposure.settings import Settings
from tetherwatch.meter.records import Box, Reading, Thumbnail
from tetherwatch.session.chosen import ChosenPlan, chosen_plan
from tetherwatch.session.database import connect
from tetherwatch.session.journal import Journal
from tetherwatch.session.recall import Recalled, recall
from tetherwatch.session.recorded import RecordedSession
from tetherwatch.session.recorder import Recorder
from tetherwatch.session.records import FrameRecord
from tetherwatch.watch.records import Capture

CHOSEN: ChosenPlan = chosen_plan("mine.toml", GOOD, 3200.0)


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self, now: float = 1_900_000_000.0) -> None:
        self.now = now

    def __call__(self) -> float:
        return self.now


class Disk:
    """Connects to session files, and can take back the right to write to the last one."""

    def __init__(self) -> None:
        self.db: sqlite3.Connection | None = None

    def __call__(self, path: Path) -> sqlite3.Connection:
        """Connect as the program does."""
        self.db = connect(path)
        return self.db

    def fill_up(self) -> None:
        """From now on the database cannot grow: SQLite itself says that the disk is full."""
        assert self.db is not None
        (pages,) = self.db.execute("PRAGMA page_count").fetchone()
        self.db.execute(f"PRAGMA max_page_count = {pages}").fetchall()

    def make_room(self) -> None:
        """It can grow again."""
        assert self.db is not None
        self.db.execute("PRAGMA max_page_count = 1000000").fetchall()

    def protect(self, protected: bool = True) -> None:
        """Refuse every write, as a disk that was mounted anew read-only does, or allow it again."""
        assert self.db is not None
        self.db.execute(f"PRAGMA query_only = {int(protected)}")


class Program:
    """One run of the program on a session file: a session and what it is written with."""

    def __init__(self, path: Path, folder: Path, **options: Any) -> None:
        self.clock = options.pop("clock", None) or Clock()
        self.steady = Clock(0.0)
        self.disk = Disk()
        self.journal = Journal.open(path, folder, self.clock, connect=self.disk)
        self.recalled: Recalled = recall(self.journal)
        self.recorder = Recorder(self.journal, self.recalled, self.steady, **options)
        self.session = RecordedSession(folder, CHOSEN, self.recalled.past, self.recorder)
        self.session.look_back(self.session.earlier())

    def die(self) -> None:
        """End as a killed program does: nothing more is written, the system takes back file and lock."""
        self.journal.close()

    def rows(self, query: str, *values: object) -> list[Any]:
        """What the file holds."""
        assert self.disk.db is not None
        return self.disk.db.execute(query, values).fetchall()


@contextmanager
def program(path: Path, folder: Path, **options: Any) -> Iterator[Program]:
    """A run of the program that ends well."""
    running = Program(path, folder, **options)
    with closing(running.recorder):
        yield running


st.register_type_strategy(float, st.floats(allow_nan=False, allow_infinity=False))
_names = st.text(st.characters(exclude_characters="/\0", exclude_categories=["Cs"]), max_size=9)
_bytes = st.binary(max_size=3).map(lambda some: os.fsdecode(some.translate(None, b"/\0")))
paths = st.builds(lambda name, some: Path("/shoots") / f"a{name}{some}", _names, _bytes)
captures = st.builds(Capture, path=paths, pair=st.none() | paths, fingerprint=st.none() | st.binary(max_size=16))


@st.composite
def thumbnails(draw: st.DrawFn) -> Thumbnail:
    """Small pictures."""
    width, height = draw(st.integers(1, 5)), draw(st.integers(1, 5))
    rgb = draw(st.binary(min_size=3 * width * height, max_size=3 * width * height))
    marks = draw(st.lists(st.integers(0, 1), min_size=width * height, max_size=width * height))
    return Thumbnail(width, height, rgb, bytes(marks), draw(st.builds(Box)))


settings = st.builds(Settings)
readings = st.builds(Reading, provisional=st.just(False))  # first looks are not written down
frames: st.SearchStrategy[FrameRecord] = st.builds(
    FrameRecord, capture=captures, thumbnail=thumbnails(), reading=readings
)
