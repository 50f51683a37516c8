"""The tables of a session, made by named steps; each is one transaction together with its own record.

Never change a step that was released: add one. Times are wall-clock seconds since 1970 (UTC), paths relative to the
watched folder with `/` between parts (bytes where a name is not text), everything in stops as in the program.
"""

import sqlite3
import time

from tetherwatch.session.database import Database

Step = tuple[str, tuple[str, ...]]

_RECORD = """\
CREATE TABLE IF NOT EXISTS migrations (
    name       TEXT PRIMARY KEY,              -- the step
    applied_at REAL NOT NULL                  -- when
)"""

_FIRST = (
    """\
CREATE TABLE session (                        -- one row: what this file is about
    folder     NOT NULL,                      -- the watched folder, absolute, links resolved
    began_at   REAL NOT NULL,                 -- when the session was begun
    looked_at  REAL                           -- first look at the folder: what lay there then is in `captures`
)""",
    """\
CREATE TABLE runs (                           -- each start of the program on this session
    id         INTEGER PRIMARY KEY,
    began_at   REAL NOT NULL,
    version    TEXT NOT NULL,                 -- of the program
    ended_at   REAL                           -- null: still running, or it ended unexpectedly
)""",
    """\
CREATE TABLE plans (                          -- what was in force, from one row to the next
    id         INTEGER PRIMARY KEY,
    run        INTEGER NOT NULL REFERENCES runs,
    since      REAL NOT NULL,
    source     NOT NULL,                      -- shipped name, or the file as it was named
    text       TEXT NOT NULL,                 -- the whole plan file
    ceiling    REAL,                          -- highest ISO the user accepts; null: the program's own
    locks      TEXT NOT NULL,                 -- JSON: {setting: value locked at, null: unlocked}
    set_after  INTEGER NOT NULL               -- number of the last frame when this plan was chosen
)""",
    """\
CREATE TABLE captures (                       -- one content of one path
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    path       NOT NULL,
    size       INTEGER NOT NULL,              -- bytes
    mtime_ns   INTEGER NOT NULL,
    pair       ,                              -- path of the other file of a RAW+JPEG pair
    arrived_at REAL,                          -- when it was complete; null: it lay there before the session
    sequence   INTEGER,                       -- grows with each arrival
    fingerprint BLOB,                         -- of the content; null: not known
    state      TEXT NOT NULL,                 -- skipped, waiting, read, same (as another that was read), failed
    fault      TEXT,                          -- of the last attempt that came to an end (frame.faults)
    UNIQUE (path, size, mtime_ns)
)""",
    """\
CREATE TABLE attempts (                       -- each time a capture was given to a worker
    id         INTEGER PRIMARY KEY,
    capture    INTEGER NOT NULL REFERENCES captures,
    run        INTEGER NOT NULL REFERENCES runs,
    started_at REAL NOT NULL,                 -- written before decoding begins
    ended_at   REAL,                          -- null: under way, or the program died meanwhile
    outcome    TEXT                           -- done, stopped with the program, or the fault
)""",
    "CREATE INDEX attempts_of_capture ON attempts (capture)",
    """\
CREATE TABLE frames (                         -- what was read, numbered from 1 in that order
    number     INTEGER PRIMARY KEY,
    capture    INTEGER NOT NULL REFERENCES captures,
    plan       INTEGER NOT NULL REFERENCES plans,
    read_at    REAL NOT NULL,                 -- when it was written here
    captured_at TEXT,                         -- by the camera's clock, ISO 8601
    camera     TEXT,
    shutter_s  REAL, aperture REAL, iso REAL, -- exact dial values; null: unknown
    source     TEXT NOT NULL,                 -- raw, jpeg, preview
    area       TEXT NOT NULL,                 -- what was metered
    offset_stops      REAL NOT NULL,          -- level minus aim
    level_stops       REAL NOT NULL,          -- against mid-grey
    uncertainty_stops REAL NOT NULL,
    clipped_percent   REAL NOT NULL,          -- worst channel of the whole picture
    light_value       REAL,                   -- scene light at ISO 100
    call_kind  TEXT NOT NULL,                 -- brighter, darker, hold, check, blocked
    call_setting TEXT, call_from TEXT, call_to TEXT,
    call_move_stops REAL NOT NULL,
    predicted_offset_stops REAL,              -- of the next frame, if the call is followed
    record     TEXT NOT NULL                  -- JSON: all of the frame but capture and thumbnail, for recall
)""",
    "CREATE INDEX frames_of_capture ON frames (capture)",
    """\
CREATE TABLE thumbnails (                     -- a small upright picture of each frame
    frame      INTEGER PRIMARY KEY REFERENCES frames,
    width      INTEGER NOT NULL, height INTEGER NOT NULL,
    metered    TEXT NOT NULL,                 -- JSON: the metered box, 0 to 1 from left and top
    pixels     BLOB NOT NULL                  -- zlib: width*height*3 bytes sRGB, then width*height of 0 or 1 (clipped)
)""",
    """\
CREATE TABLE landings (                       -- what came of a call, with the frame that followed it
    frame      INTEGER PRIMARY KEY REFERENCES frames,
    setting    TEXT NOT NULL,
    asked_stops REAL NOT NULL,
    predicted_offset_stops REAL NOT NULL,
    offset_stops REAL NOT NULL,
    error_stops REAL NOT NULL                 -- measured minus predicted
)""",
    """\
CREATE TABLE problems (                       -- each line said about a capture or the folder, once
    id         INTEGER PRIMARY KEY,
    path       NOT NULL,
    capture    INTEGER REFERENCES captures,   -- null: it is about none
    said_at    REAL NOT NULL,                 -- the last time
    problem    TEXT NOT NULL,
    advice     TEXT NOT NULL,
    UNIQUE (path, problem)
)""",
)

_SETUPS = (
    """\
CREATE TABLE setups (                         -- each lighting setup; one that was only provisional is taken out again
    number     INTEGER PRIMARY KEY,           -- from 1 in the order in which they were found
    name       TEXT,                          -- the user's; null: none given
    first_frame INTEGER NOT NULL,             -- numbers of frames
    last_frame INTEGER NOT NULL,
    frame_count INTEGER NOT NULL,
    light_value REAL,                         -- scene light at ISO 100 in its last frames; null: a setting is unknown
    light_uncertainty REAL,                   -- one standard uncertainty of it
    shutter_s  REAL, aperture REAL, iso REAL, -- the last settings at which a frame was right, or of the last frame
    state      TEXT NOT NULL,                 -- provisional, current, earlier
    drift_slope REAL,                         -- stops per 10 minutes; null: none is seen
    record     TEXT NOT NULL                  -- JSON: all of the setup, for recall
)""",
    """\
CREATE TABLE pins (                           -- the frame that others in a setup are to match
    setup      INTEGER PRIMARY KEY,
    frame      INTEGER NOT NULL,              -- its number; no reference, for frames are written anew
    pinned_at  REAL NOT NULL,
    record     TEXT NOT NULL                  -- JSON: all of the pin, for recall
)""",
    # The setup a frame belongs to, which later frames may correct; null: none is known.
    "ALTER TABLE frames ADD COLUMN setup INTEGER",
    "CREATE INDEX frames_of_setup ON frames (setup)",
)

_BODIES = (
    # The body profile whose ceiling counts, and its whole text; null: none is known.
    "ALTER TABLE plans ADD COLUMN body TEXT",
    "ALTER TABLE plans ADD COLUMN body_text TEXT",
)

_PLACEMENTS = (
    """\
CREATE TABLE placements (                     -- where the faces of a setup sit, by a grey card in a frame
    card_frame INTEGER PRIMARY KEY,           -- its number
    setup      INTEGER,                       -- null, as the next two: no face was seen since
    face_frame INTEGER,                       -- the frame whose face was measured
    from_grey_stops REAL,                     -- the aim: how far the face lies above the card
    placed_at  REAL NOT NULL,
    record     TEXT NOT NULL                  -- JSON: all of the placement, for recall
)""",
)

MIGRATIONS: tuple[Step, ...] = (
    ("first tables", _FIRST),
    ("setups and pins", _SETUPS),
    ("bodies", _BODIES),
    ("placements", _PLACEMENTS),
)


def migrate(database: Database, steps: tuple[Step, ...] = MIGRATIONS) -> None:
    """Bring a database up to date.

    Raises sqlite3.Error, and ValueError naming a step that only a newer program knows.
    """
    with database.transaction() as db:
        db.execute(_RECORD)
        applied = {name for (name,) in db.execute("SELECT name FROM migrations")}
    unknown = applied - {name for name, _ in steps}
    if unknown:
        raise ValueError(f"it was written by a newer version of this program ({min(unknown)})")
    for name, statements in steps:
        if name not in applied:
            with database.transaction() as db:
                _apply(db, name, statements)


def _apply(db: sqlite3.Connection, name: str, statements: tuple[str, ...]) -> None:
    for statement in statements:
        db.execute(statement)
    db.execute("INSERT INTO migrations VALUES (?, ?)", (name, time.time()))
