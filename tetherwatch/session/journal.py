"""One session's file: who may write it, and each thing that is written. Reading it back is `session.recall`."""

import json
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import fields
from pathlib import Path

from tetherwatch import __version__
from tetherwatch.body.bodyfile import body_text
from tetherwatch.errors import JournalError
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.faults import Fault
from tetherwatch.session.alone import Alone
from tetherwatch.session.chosen import ChosenPlan
from tetherwatch.session.codec import to_plain
from tetherwatch.session.database import Connect, Database, Tracer, connect
from tetherwatch.session.migrations import migrate
from tetherwatch.session.places import real
from tetherwatch.session.records import FrameRecord
from tetherwatch.session.values import stored_path, stored_pixels, stored_text
from tetherwatch.setups.records import Pin, Placement, Setup
from tetherwatch.watch.listing import Listing
from tetherwatch.watch.records import Capture, Problem

Clock = Callable[[], float]

_COLUMNS = (
    "number capture plan read_at captured_at camera shutter_s aperture iso source area offset_stops level_stops "
    "uncertainty_stops clipped_percent light_value call_kind call_setting call_from call_to call_move_stops "
    "predicted_offset_stops setup record"
).split()
_FRAME = f"INSERT OR REPLACE INTO frames ({', '.join(_COLUMNS)}) VALUES ({', '.join('?' * len(_COLUMNS))})"
_SKIP = "INSERT INTO captures (path, size, mtime_ns, state) VALUES (?, ?, ?, 'skipped') ON CONFLICT DO NOTHING"

_APART = ("capture", "thumbnail", "setup")
"""What of a frame is kept beside its record."""


class Journal:
    """The only writer of a session. Any thread of this program may write; all writing raises sqlite3.Error."""

    def __init__(self, path: Path, folder: Path, database: Database, clock: Clock, alone: Alone) -> None:
        """Use `open` instead."""
        self.path = path
        self.folder = folder
        self._database = database
        self._clock = clock
        self._alone = alone
        self._run = 0
        self._plan = 0

    @classmethod
    def open(
        cls, path: Path, folder: Path, clock: Clock, *, connect: Connect = connect, tracer: Tracer | None = None
    ) -> "Journal":
        """Open the session at `path`, or begin one for the captures in `folder`. `clock` is wall-clock seconds.

        Raises SessionBusyError if another program records it, JournalError if it cannot be used.
        """
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise JournalError(path, f"its folder cannot be made ({error.strerror})") from None
        alone = Alone(path)
        try:
            database = Database(path, connect, tracer)
            try:
                return cls._opened(path, folder, database, clock, alone)
            except BaseException:
                database.close()
                raise
        except (sqlite3.Error, ValueError) as error:
            alone.release()
            raise JournalError(path, str(error)) from None
        except BaseException:
            alone.release()
            raise

    @classmethod
    def _opened(cls, path: Path, folder: Path, database: Database, clock: Clock, alone: Alone) -> "Journal":
        migrate(database)
        home = stored_text(str(real(folder)))
        with database.transaction() as db:
            found = db.execute("SELECT folder FROM session").fetchone()
            if found is None:
                db.execute("INSERT INTO session (folder, began_at) VALUES (?, ?)", (home, clock()))
            elif found[0] != home:
                raise JournalError(path, "it is the session of another folder")
        return cls(path, folder, database, clock, alone)

    def transaction(self) -> AbstractContextManager[sqlite3.Connection]:
        """All or nothing of what is written in the block."""
        return self._database.transaction()

    def begin_run(self) -> None:
        """Write that the program has started."""
        with self.transaction() as db:
            run = db.execute("INSERT INTO runs (began_at, version) VALUES (?, ?)", (self._clock(), __version__))
            self._run = _row_id(run)

    def use_plan(self, chosen: ChosenPlan, locks: Mapping[Setting, float | None], set_after: int) -> None:
        """Write what is in force from now on; the plan was chosen after frame `set_after`."""
        kept = json.dumps({setting.value: value for setting, value in locks.items()})
        source = stored_text(chosen.source)
        body = (None, None) if chosen.body is None else (chosen.body.name, body_text(chosen.body))
        row = (self._run, self._clock(), source, chosen.text, chosen.ceiling_iso, kept, set_after, *body)
        with self.transaction() as db:
            columns = "run, since, source, text, ceiling, locks, set_after, body, body_text"
            self._plan = _row_id(db.execute(f"INSERT INTO plans ({columns}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", row))

    def looked(self, skipped: Listing) -> None:
        """Write that the folder was looked at, and what lay there and is not to be read."""
        rows = [(stored_path(Path(path), self.folder), entry.size, entry.mtime_ns) for path, entry in skipped.items()]
        with self.transaction() as db:
            db.executemany(_SKIP, rows)
            db.execute("UPDATE session SET looked_at = coalesce(looked_at, ?)", (self._clock(),))

    def began(self, capture: Capture) -> None:
        """Write that a worker has begun to read a capture."""
        with self.transaction() as db:
            attempt = "INSERT INTO attempts (capture, run, started_at) VALUES (?, ?, ?)"
            db.execute(attempt, (self._capture(db, capture), self._run, self._clock()))

    def ended(self, capture: Capture, fault: Fault | None) -> None:
        """Write how an attempt came to its end."""
        name = None if fault is None else fault.name
        with self.transaction() as db:
            row = self._capture(db, capture)
            db.execute("UPDATE captures SET fault = ? WHERE id = ?", (name, row))
            attempt = "UPDATE attempts SET ended_at = ?, outcome = ? WHERE capture = ? AND run = ? AND ended_at IS NULL"
            db.execute(attempt, (self._clock(), name or "done", row, self._run))

    def recognised(self, capture: Capture) -> None:
        """Write that a capture has the content of another one that was read."""
        with self.transaction() as db:
            db.execute("UPDATE captures SET state = 'same' WHERE id = ?", (self._capture(db, capture),))

    def add_frame(self, record: FrameRecord) -> None:
        """Write a frame; a better reading takes the place of the first one of its number."""
        with self.transaction() as db:
            capture = self._capture(db, record.capture)
            for table in ("landings", "thumbnails"):
                db.execute(f"DELETE FROM {table} WHERE frame = ?", (record.number,))
            db.execute(_FRAME, _frame_row(record, capture, self._plan, self._clock()))
            db.execute("UPDATE captures SET state = 'read' WHERE id = ?", (capture,))
            thumbnail = record.thumbnail
            box = json.dumps(to_plain(thumbnail.metered))
            picture = (record.number, thumbnail.width, thumbnail.height, box, stored_pixels(thumbnail))
            db.execute("INSERT INTO thumbnails VALUES (?, ?, ?, ?, ?)", picture)
            if record.landing is not None:
                db.execute("INSERT INTO landings VALUES (?, ?, ?, ?, ?, ?)", _landing_row(record))

    def set_setups(self, setups: Sequence[Setup], gone: Sequence[int], labels: Mapping[int, int]) -> None:
        """Write setups that changed, take out those that are `gone`, and write the setups of some frames."""
        with self.transaction() as db:
            db.executemany("DELETE FROM setups WHERE number = ?", [(number,) for number in gone])
            db.executemany(f"INSERT OR REPLACE INTO setups VALUES ({', '.join('?' * 13)})", map(_setup_row, setups))
            db.executemany(
                "UPDATE frames SET setup = ? WHERE number = ?", [(to, frame) for frame, to in labels.items()]
            )

    def merge_setups(self, number: int, into: int) -> None:
        """Write that all frames of a setup are in another one."""
        with self.transaction() as db:
            db.execute("UPDATE frames SET setup = ? WHERE setup = ?", (into, number))

    def set_pins(self, pins: Mapping[int, Pin]) -> None:
        """Write the pinned frames, by their setup."""
        rows = [(setup, pin.frame, self._clock(), json.dumps(to_plain(pin))) for setup, pin in pins.items()]
        with self.transaction() as db:
            db.execute("DELETE FROM pins")
            db.executemany("INSERT INTO pins VALUES (?, ?, ?, ?)", rows)

    def set_placements(self, placements: Sequence[Placement]) -> None:
        """Write where faces sit by a grey card."""
        rows = [_placement_row(placement, self._clock()) for placement in placements]
        with self.transaction() as db:
            db.execute("DELETE FROM placements")
            db.executemany("INSERT INTO placements VALUES (?, ?, ?, ?, ?, ?)", rows)

    def add_problem(self, problem: Problem) -> None:
        """Write a line that was said; the same line again only moves its time."""
        path = stored_path(problem.path, self.folder)
        with self.transaction() as db:
            last = "SELECT id FROM captures WHERE path = ? AND state <> 'skipped' ORDER BY id DESC LIMIT 1"
            capture = _first(db.execute(last, (path,)))
            db.execute("UPDATE captures SET state = 'failed' WHERE id = ? AND state = 'waiting'", (capture,))
            line = (
                "INSERT INTO problems (path, capture, said_at, problem, advice) VALUES (?, ?, ?, ?, ?) "
                "ON CONFLICT (path, problem) DO UPDATE SET capture = excluded.capture, said_at = excluded.said_at"
            )
            db.execute(line, (path, capture, self._clock(), problem.problem, problem.advice))

    def end_run(self) -> None:
        """Write that the program stops of its own will, and with it whatever is being read."""
        with self.transaction() as db:
            now = self._clock()
            attempts = "UPDATE attempts SET ended_at = ?, outcome = 'stopped' WHERE run = ? AND ended_at IS NULL"
            db.execute(attempts, (now, self._run))
            db.execute("UPDATE runs SET ended_at = ? WHERE id = ?", (now, self._run))

    def close(self) -> None:
        """Close the file and let others in."""
        self._database.close()
        self._alone.release()

    def _capture(self, db: sqlite3.Connection, capture: Capture) -> int:
        """The row of a capture, made if need be."""
        path = stored_path(capture.path, self.folder)
        pair = None if capture.pair is None else stored_path(capture.pair, self.folder)
        row = (path, capture.size, capture.mtime_ns, pair, capture.arrived_at, capture.sequence, capture.fingerprint)
        db.execute(
            "INSERT INTO captures (path, size, mtime_ns, pair, arrived_at, sequence, fingerprint, state) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, 'waiting') ON CONFLICT (path, size, mtime_ns) DO UPDATE SET "
            "pair = excluded.pair, arrived_at = excluded.arrived_at, sequence = excluded.sequence, "
            "fingerprint = coalesce(excluded.fingerprint, fingerprint)",
            row,
        )
        identity = "SELECT id FROM captures WHERE path = ? AND size = ? AND mtime_ns = ?"
        return int(db.execute(identity, row[:3]).fetchall()[0][0])


def _frame_row(record: FrameRecord, capture: int, plan: int, now: float) -> tuple[object, ...]:
    metadata, reading, call = record.metadata, record.reading, record.call
    settings, predicted = metadata.settings, call.predicted
    plain = {field.name: to_plain(getattr(record, field.name)) for field in fields(record) if field.name not in _APART}
    return (
        *(record.number, capture, plan, now),
        None if metadata.captured_at is None else metadata.captured_at.isoformat(),
        None if metadata.camera is None else stored_text(metadata.camera),
        *(settings.shutter_s, settings.aperture, settings.iso),
        *(reading.source, reading.area, reading.offset_stops, reading.level_stops, reading.uncertainty_stops),
        max(reading.clipped_percent.values(), default=0.0),
        reading.light_value,
        *(call.kind, None if call.setting is None else call.setting.value, call.from_label, call.to_label),
        call.move_stops,
        None if predicted is None else predicted.offset_stops,
        record.setup,
        json.dumps(plain),
    )


def _setup_row(setup: Setup) -> tuple[object, ...]:
    light, settings = setup.light_value, setup.settings
    return (
        *(setup.number, None if setup.name is None else stored_text(setup.name)),
        *(setup.first_frame, setup.last_frame, setup.frame_count),
        *((None, None) if light is None else (light.value, light.uncertainty)),
        *(settings.shutter_s, settings.aperture, settings.iso, setup.state),
        None if setup.drift is None else setup.drift.slope,
        json.dumps(to_plain(setup)),
    )


def _placement_row(placement: Placement, now: float) -> tuple[object, ...]:
    stops = None if placement.from_grey is None else placement.from_grey.value
    numbers = placement.card_frame, placement.setup, placement.face_frame
    return *numbers, stops, now, json.dumps(to_plain(placement))


def _landing_row(record: FrameRecord) -> tuple[object, ...]:
    landing = record.landing
    assert landing is not None
    ends = (landing.predicted_offset_stops, landing.offset_stops, landing.error_stops)
    return record.number, landing.setting.value, landing.asked_stops, *ends


def _row_id(cursor: sqlite3.Cursor) -> int:
    return int(cursor.lastrowid or 0)


def _first(cursor: sqlite3.Cursor) -> int | None:
    """The first value of the first row; None if there is no row."""
    rows = cursor.fetchall()
    return rows[0][0] if rows else None
