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
from tetherwatch.rehearse.light import LightKind
from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.script import SceneName
from tetherwatch.rehearse.session import TRUTH_FILE, Truth, rehearse
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
FRAMES = {"steady": 4, "moves": 13, "sunset": 13, "misfires": 17}
WRONG_LAMPS_STOPS = 2.0
START_POSITIONS = range(10)
"""Third-stops above ISO 100 that a session may start at: up to ISO 800."""

MEGAPIXELS = 0.1
MOVES = ("brighter", "darker")
EPSILON = 1e-9
PROCESS_S = 180


@dataclass(frozen=True, slots=True)
class Shot:
    """A frame of a session: the truth about it and the call it led to (empty for the last)."""

    truth: Truth
    call: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Landing:
    """A frame that needed a move, and where one move led: stops from the aim, the light's own change taken out."""

    before_stops: float
    after_stops: float
    landed: bool


def measure(quick: bool) -> Rows:
    """Rows for the loop in this process, for misfires, and for a few sessions of the real processes."""
    sessions, misfires, processes = (10, 2, 1) if quick else (100, 20, 2)
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder:
        top = Path(folder)
        landed = [landing for seed in range(sessions) for landing in _landings(top / f"loop-{seed}", SCENES, seed)]
        missed = [shot for seed in range(misfires) for shot in _played(top / f"misfires-{seed}", MISFIRES, seed)[1]]
        real = [ok for seed in range(processes) for ok in follow(top / f"follow-{seed}", seed + 1)]
    return (*landing_rows(landed, sessions), *misfire_rows(missed), _percent("real processes: ", real))


def landing_rows(landings: Sequence[Landing], sessions: int) -> Rows:
    """How many needs one move met, and where it led."""
    after = [landing.after_stops for landing in landings]
    return (
        _percent(f"{sessions} sessions: ", [landing.landed for landing in landings]),
        Row("furthest from the aim after one move", max(map(abs, after)), "stop", min(after), max(after)),
    )


def misfire_rows(shots: Sequence[Shot]) -> Rows:
    """Calls that would have moved something because a flash did not fire."""
    odd = [shot for shot in shots if not shot.truth.flash_fired]
    wrong = sum(shot.call.get("kind") in MOVES for shot in odd)
    return (Row(f"moves called on {len(odd)} misfires", wrong, "", at_most=0),)


def _percent(name: str, met: Sequence[bool]) -> Row:
    figure = f"{name}inside tolerance after one move, of {len(met)} needs"
    return Row(figure, 100 * sum(met) / len(met), "%", at_least=AT_LEAST_PERCENT)


def _landings(folder: Path, scenes: Sequence[tuple[SceneName, LightKind]], seed: int) -> list[Landing]:
    plan, shots = _played(folder, scenes, seed)
    return list(landings(shots, plan))


def _played(folder: Path, scenes: Sequence[tuple[SceneName, LightKind]], seed: int) -> tuple[Plan, list[Shot]]:
    scene, light = scenes[seed % len(scenes)]
    plan = load_plan(PLANS[light])
    return plan, play(folder, scene, light, plan, seed)


def play(folder: Path, scene: SceneName, light: LightKind, plan: Plan, seed: int) -> list[Shot]:
    """One session from a random ISO with its lamps turned by a random amount, each frame metered and its call obeyed.

    The first frame of the rehearsal is taken before the lamps are turned, and left out.
    """
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
    return [Shot(truth, calls.get(truth.file, {})) for truth in truths[1:]]


def _call(session: Session, path: Path) -> Mapping[str, Any]:
    done = read(path, session.plan.aim, session.plan.step)
    capture = Capture(path, size=0, mtime_ns=0, arrived_at=0.0)
    record = session.take(Metered(capture, done.metadata, done.reading, done.thumbnail, done.notes))
    assert isinstance(record, FrameRecord)
    return call_object(record.call)


def landings(shots: Sequence[Shot], plan: Plan) -> Iterator[Landing]:
    """Frames out of tolerance whose call leaves nothing over, each with what came of it in the next frame.

    What the light did by itself from one frame to the next is taken out: no call can know it.
    """
    aim, tolerance = plan.aim.from_grey_stops, plan.aim.tolerance_stops + EPSILON
    for shot, after in pairwise(shots):
        away = shot.truth.offset_stops - aim
        if abs(away) <= tolerance or shot.call["kind"] not in MOVES or shot.call["left_stops"]:
            continue
        lamps = shot.call["move_stops"] if shot.call["setting"] == "light" else 0.0
        drift = after.truth.light_stops - shot.truth.light_stops - lamps
        left = after.truth.offset_stops - aim - drift
        yield Landing(away, left, abs(left) <= tolerance)


def follow(folder: Path, seed: int) -> list[bool]:
    """The same through the real processes: for each frame out of tolerance, whether the next of its setup is inside."""
    command = [sys.executable, "-m", "tetherwatch", "rehearse", str(folder), "--follow", "--scene", "moves"]
    pace = ["--frames", "12", "--every", "0", "--seed", str(seed), "--megapixels", "1"]
    done = subprocess.run([*command, *pace], stdout=subprocess.DEVNULL, timeout=PROCESS_S, check=False)
    if done.returncode:
        raise ScriptError(f"rehearse --follow ended with exit code {done.returncode}.")
    lines = (folder / TRUTH_FILE).read_text(encoding="utf-8").splitlines()
    return followed([Truth(**json.loads(line)) for line in lines], load_plan("window-card"))


def followed(truths: Sequence[Truth], plan: Plan) -> list[bool]:
    """For each frame out of tolerance whether the next frame, under the same light, is inside."""
    inside = [abs(truth.offset_stops - plan.aim.from_grey_stops) <= plan.aim.tolerance_stops for truth in truths]
    frames = zip(truths, inside, strict=True)
    return [good for (a, fine), (b, good) in pairwise(frames) if not fine and a.setup == b.setup]
