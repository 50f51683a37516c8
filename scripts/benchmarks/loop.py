"""The closed loop: metering, calls and an obedient photographer. How often is the picture right after one move?"""

import json
import random
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from environment import ScriptError

from benchmarks.captures import STARTED_AT, read
from benchmarks.rows import Row, Rows
from tetherwatch.advise.library import load_plan
from tetherwatch.advise.records import Plan
from tetherwatch.exposure.dial import Dial
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.rehearse.capture import TRUTH_FILE
from tetherwatch.rehearse.light import LightKind
from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.script import SceneName
from tetherwatch.rehearse.session import Truth, rehearse
from tetherwatch.session.events import call_object
from tetherwatch.session.records import FrameRecord
from tetherwatch.session.session import Session
from tetherwatch.watch.records import Capture, Metered

AT_LEAST_PERCENT = 99.0
PLANS: dict[LightKind, str] = {"flash": "studio-card", "continuous": "window-card", "mixed": "studio-card"}
SCENES: tuple[tuple[SceneName, LightKind], ...] = (
    ("steady", "flash"),
    ("steady", "continuous"),
    ("moves", "flash"),
    ("moves", "continuous"),
    ("sunset", "continuous"),
)
MISFIRES: tuple[tuple[SceneName, LightKind], ...] = (("misfires", "flash"), ("misfires", "mixed"))
FRAMES = {"steady": 4, "moves": 13, "sunset": 13, "misfires": 41}
WRONG_LAMPS_STOPS = 2.0
START_POSITIONS = range(10)
"""Third-stops above ISO 100 that a session may start at: up to ISO 800."""

MEGAPIXELS = 0.1
MOVES = ("brighter", "darker")
SOON_FRAMES = 3
EPSILON = 1e-9
PROCESS_S = 180


@dataclass(frozen=True, slots=True)
class Shot:
    """A frame of a session: the truth about it and the call it led to (empty for the last)."""

    truth: Truth
    call: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Played:
    """A session that was played to its end."""

    plan: Plan
    shots: tuple[Shot, ...]

    def away(self, shot: Shot) -> float:
        """Stops from the plan's aim in truth."""
        return shot.truth.offset_stops - self.plan.aim.from_grey_stops

    def is_out(self, shot: Shot) -> bool:
        """Whether the frame is outside the plan's tolerance in truth."""
        return abs(self.away(shot)) > self.plan.aim.tolerance_stops + EPSILON


@dataclass(frozen=True, slots=True)
class Landing:
    """Where one move led from a frame that needed it: stops from the aim, the light's own change taken out."""

    after_stops: float
    tolerance_stops: float

    @property
    def landed(self) -> bool:
        """Whether the move led inside the tolerance."""
        return abs(self.after_stops) <= self.tolerance_stops + EPSILON


def measure(quick: bool) -> Rows:
    """Rows for the loop in this process, for misfires, and for a few sessions of the real processes."""
    sessions, misfires, processes = (10, 4, 1) if quick else (100, 20, 2)
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        top = Path(folder)
        played = [play(top / f"loop-{seed}", *SCENES[seed % len(SCENES)], seed) for seed in range(sessions)]
        flashes = [play(top / f"misfires-{seed}", *MISFIRES[seed % len(MISFIRES)], seed) for seed in range(misfires)]
        real = [ok for seed in range(processes) for ok in follow(top / f"follow-{seed}", seed + 1)]
    return (*loop_rows(played), *misfire_rows(flashes), _landed_row("real processes", real))


def loop_rows(sessions: Sequence[Played]) -> Rows:
    """How many needs one move met, where it led, and what was called instead of a move."""
    made = [landing for session in sessions for landing in landings(session)]
    after = [landing.after_stops for landing in made] or [0.0]
    away = [shot.call["kind"] for session in sessions for shot in session.shots[:-1] if session.is_out(shot)]
    return (
        _landed_row(f"{len(sessions)} sessions", [landing.landed for landing in made]),
        Row("furthest from the aim after one move", max(map(abs, after)), "stop", min(after), max(after)),
        Row(f"hold called on {len(away)} frames out of tolerance", away.count("hold"), ""),
        Row("hold called on two such frames in a row", held_on(sessions), "", at_most=0),
        Row("darker setups taken for a misfire (check called)", away.count("check"), ""),
        Row("frames no setting had room for (blocked called)", away.count("blocked"), ""),
    )


def misfire_rows(sessions: Sequence[Played]) -> Rows:
    """Calls that would have moved something because of one odd frame, and calls taken back at once.

    The first frame of a session is left out: nothing is known yet of the light it should have had.
    """
    odd = [shot for session in sessions for shot in session.shots[1:] if shot.truth.odd]
    wrong = sum(shot.call.get("kind") in MOVES for shot in odd)
    return (
        Row(f"moves called on {len(odd)} misfires and other odd frames", wrong, "", at_most=0),
        Row("calls taken back within three frames", sum(map(taken_back, sessions)), "", at_most=0),
    )


def taken_back(session: Played) -> int:
    """How often a move is followed by its opposite within three frames; for scenes whose light does not change."""
    kinds = [shot.call.get("kind") for shot in session.shots]
    opposite = {"brighter": "darker", "darker": "brighter"}
    return sum(opposite.get(kind, "") in kinds[at + 1 : at + 1 + SOON_FRAMES] for at, kind in enumerate(kinds) if kind)


def _landed_row(name: str, met: Sequence[bool]) -> Row:
    """Without any need there is nothing to show, which is a miss too."""
    figure = f"{name}: inside tolerance after one move, of {len(met)} needs"
    return Row(figure, 100 * sum(met) / max(1, len(met)), "%", at_least=AT_LEAST_PERCENT)


def play(folder: Path, scene: SceneName, light: LightKind, seed: int) -> Played:
    """One session from a random ISO with its lamps turned by a random amount, each frame metered and its call obeyed.

    The first frame of the rehearsal is taken before the lamps are turned, and left out.
    """
    plan = load_plan(PLANS[light])
    folder.mkdir()
    rng = random.Random(seed)
    lamps = {"kind": "brighter", "setting": "light", "move_stops": rng.uniform(-WRONG_LAMPS_STOPS, WRONG_LAMPS_STOPS)}
    iso = Dial(Setting.ISO, plan.step).value(rng.choice(START_POSITIONS))
    start = Settings(plan.shutter.start, plan.aperture.start, iso)
    options = Options(scene, FRAMES[scene], seed, light=light, megapixels=MEGAPIXELS, start=start, step=plan.step)
    session = Session(folder, plan)
    calls: dict[str, Mapping[str, Any]] = {}

    def next_call(file: str) -> Mapping[str, Any]:
        calls[file] = _call(session, folder / file) if calls else lamps
        return calls[file]

    truths = list(rehearse(folder, options, STARTED_AT, next_call))
    return Played(plan, tuple(Shot(truth, calls.get(truth.file, {})) for truth in truths[1:]))


def _call(session: Session, path: Path) -> Mapping[str, Any]:
    done = read(path, session.plan.aim, session.plan.step)
    capture = Capture(path, size=0, mtime_ns=0, arrived_at=0.0)
    record, *_ = session.take(Metered(capture, done.metadata, done.reading, done.thumbnail, done.notes))
    assert isinstance(record, FrameRecord)
    call: Mapping[str, Any] = call_object(record.call)
    return call


def held_on(sessions: Sequence[Played]) -> int:
    """Frames out of tolerance that are held although the frame before was, too: scatter is held once only."""
    pairs = [(session, pair) for session in sessions for pair in pairwise(session.shots[:-1])]
    return sum(all(session.is_out(shot) and shot.call["kind"] == "hold" for shot in pair) for session, pair in pairs)


def landings(session: Played) -> Iterator[Landing]:
    """Frames out of tolerance whose call leaves nothing over, each with what came of it in the next frame.

    What the light did by itself from one frame to the next is taken out: no call can know it.
    """
    for shot, after in pairwise(session.shots):
        if not session.is_out(shot) or shot.call["kind"] not in MOVES or shot.call["left_stops"]:
            continue
        lamps = shot.call["move_stops"] if shot.call["setting"] == "light" else 0.0
        drift = after.truth.light_stops - shot.truth.light_stops - lamps
        yield Landing(session.away(after) - drift, session.plan.aim.tolerance_stops)


def follow(folder: Path, seed: int) -> list[bool]:
    """The same through the real processes: for each frame out of tolerance, whether the next of its setup is inside."""
    command = [sys.executable, "-m", "tetherwatch", "rehearse", str(folder), "--follow", "--scene", "moves"]
    pace = ["--frames", "12", "--every", "0", "--seed", str(seed), "--megapixels", "1"]
    done = subprocess.run([*command, *pace], stdout=subprocess.DEVNULL, timeout=PROCESS_S, check=False)
    if done.returncode:
        raise ScriptError(f"rehearse --follow ended with exit code {done.returncode}.")
    lines = (folder / TRUTH_FILE).read_text(encoding="utf-8").splitlines()
    truths = [Truth(**json.loads(line)) for line in lines]
    return list(followed(Played(load_plan("window-card"), tuple(Shot(truth, {}) for truth in truths))))


def followed(session: Played) -> Iterator[bool]:
    """For each frame out of tolerance whether the next frame, under the same light, is inside."""
    for shot, after in pairwise(session.shots):
        if session.is_out(shot) and shot.truth.setup == after.truth.setup:
            yield not session.is_out(after)
