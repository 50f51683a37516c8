"""Simulated captures through the whole program: one real watch for each session, its calls obeyed."""

import json
import random
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

from benchmarks.captures import STARTED_AT
from benchmarks.headless import headless
from benchmarks.loop import FRAMES as SCENE_FRAMES
from benchmarks.loop import MOVES, PLANS, Played, Shot, landings, misfire_rows
from benchmarks.rows import Row, Rows
from tetherwatch.advise.library import load_plan, plan_text
from tetherwatch.advise.records import Plan
from tetherwatch.exposure.dial import Dial
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness
from tetherwatch.rehearse.follow import calls_from
from tetherwatch.rehearse.light import LightKind
from tetherwatch.rehearse.options import Options
from tetherwatch.rehearse.script import SceneName
from tetherwatch.rehearse.session import Truth, rehearse

AT_LEAST_PERCENT = 99.0
MEDIAN_ERROR_STOPS, WORST_ERROR_STOPS = 0.03, 0.10
SESSIONS, QUICK_SESSIONS = 60, 4
SCENES: tuple[tuple[SceneName, LightKind], ...] = (
    ("moves", "flash"),
    ("moves", "continuous"),
    ("misfires", "flash"),
    ("steady", "mixed"),
    ("sunset", "continuous"),
    ("misfires", "mixed"),
)
FRAMES = 8
SIDE_BY_SIDE = 2
MEGAPIXELS = 0.1
START_POSITIONS = range(7, 13)
"""Third-stops above ISO 100 that a session starts at, so that there is room both ways."""

FLUTTER_FRAMES = 3
EPSILON = 1e-6


@dataclass(frozen=True, slots=True)
class Watched:
    """A session as it was played, and every event of its watch."""

    played: Played
    events: tuple[Mapping[str, Any], ...]


def measure(quick: bool) -> Rows:
    """Rows over all sessions, some at a time: each is a process of its own and waits most of its time."""
    with tempfile.TemporaryDirectory(prefix="tetherwatch-bench-") as folder, ThreadPoolExecutor(SIDE_BY_SIDE) as pool:
        seeds = range(QUICK_SESSIONS if quick else SESSIONS)
        return rows_of(list(pool.map(lambda seed: watched(Path(folder, str(seed)), seed), seeds)))


def watched(folder: Path, seed: int) -> Watched:
    """One session whose light is as its scene has it, metered and called by a real watch of its folder."""
    scene, light = SCENES[seed % len(SCENES)]
    folder.mkdir()
    plan = load_plan(_plan_for(light, folder))
    iso = Dial(Setting.ISO, plan.step).value(random.Random(seed).choice(START_POSITIONS))
    start = Settings(plan.shutter.start, plan.aperture.start, iso)
    frames = min(FRAMES, SCENE_FRAMES[scene])
    options = Options(scene, frames, seed, light=light, megapixels=MEGAPIXELS, start=start, step=plan.step)
    events: list[Mapping[str, Any]] = []
    with headless(folder, "--plan", plan.source) as watch:
        next_call = calls_from(_kept(watch.lines(), events))
        truths = list(rehearse(folder, options, STARTED_AT, next_call))
        next_call(truths[-1].file)
    return Watched(Played(plan, tuple(_shots(truths, events))), tuple(events))


def _plan_for(light: LightKind, folder: Path) -> str:
    """The shipped plan for a kind of light; none is made for mixed light, so one for flash is changed."""
    if light != "mixed":
        return PLANS[light]
    file = folder.with_suffix(".toml")
    file.write_text(plan_text(PLANS[light]).replace('light = "flash"', 'light = "mixed"'), "utf-8")
    return str(file)


def _kept(lines: Iterable[str], events: list[Mapping[str, Any]]) -> Iterator[str]:
    """The lines as they come, each kept as an event."""
    for line in lines:
        events.append(json.loads(line))
        yield line


def _shots(truths: Sequence[Truth], events: Sequence[Mapping[str, Any]]) -> Iterator[Shot]:
    """Each frame with its call; empty where the watch told none."""
    calls = {event["file"]: event["call"] for event in events if event["event"] == "frame"}
    return (Shot(truth, calls.get(truth.file, {})) for truth in truths)


def rows_of(sessions: Sequence[Watched]) -> Rows:
    """The figures of these sessions."""
    played = [session.played for session in sessions]
    met = [landing.landed for each in played for landing in landings(each)]
    errors = [abs(error) for session in sessions for error in errors_of(session)] or [0.0]
    name = f"{len(sessions)} sessions: right after one move, of {len(met)} needs"
    return (
        Row(name, 100 * sum(met) / max(1, len(met)), "%", at_least=AT_LEAST_PERCENT),
        misfire_rows(played)[0],
        Row("calls taken back within 3 frames of the same light", sum(map(flutters, played)), "", at_most=0),
        Row("frames with a setting outside its range", sum(map(outside_range, played)), "", at_most=0),
        Row("moves against the truth", sum(map(wrong_signs, played)), "", at_most=0),
        Row(f"median error of {len(errors)} predictions", median(errors), "stop", at_most=MEDIAN_ERROR_STOPS),
        Row("worst error of a prediction", max(errors), "stop", at_most=WORST_ERROR_STOPS),
        Row("frames without a call", sum(not shot.call for each in played for shot in each.shots), "", at_most=0),
    )


def errors_of(session: Watched) -> Iterator[float]:
    """Errors of the predictions in stops, where the light did nothing by itself and the lever acts on all of it."""
    partly = ("shutter", "light") if session.played.plan.light == "mixed" else ()
    landed = (event for event in session.events if event["event"] == "landed" and event["setting"] not in partly)
    told = {event["file"]: event["error_stops"] for event in landed}
    for shot, after in pairwise(session.played.shots):
        if after.truth.file in told and abs(own_change(shot, after)) < EPSILON:
            yield told[after.truth.file]


def own_change(shot: Shot, after: Shot) -> float:
    """Stops the light changed from one frame to the next without being asked."""
    asked = shot.call["move_stops"] if shot.call.get("setting") == "light" else 0.0
    return after.truth.light_stops - shot.truth.light_stops - asked


def flutters(session: Played) -> int:
    """Calls that take back one of the three frames before, the light being the same all along."""
    return sum(
        any(_opposite(earlier, shot) for earlier in _same_light(session, place))
        for place, shot in enumerate(session.shots)
    )


def _same_light(session: Played, place: int) -> list[Shot]:
    """The frames before this one that saw its light, as it was or as they asked for it; three at most."""
    found: list[Shot] = []
    run = session.shots[max(0, place - FLUTTER_FRAMES) : place + 1]
    for earlier, shot in reversed(list(pairwise(run))):
        if abs(own_change(earlier, shot)) > EPSILON:
            break
        found.append(earlier)
    return found


def _opposite(one: Shot, other: Shot) -> bool:
    return {one.call.get("kind"), other.call.get("kind")} == set(MOVES)


def outside_range(session: Played) -> int:
    """Frames taken with a camera setting outside of what the plan allows."""
    return sum(_is_outside(session.plan, setting, shot) for setting in CAMERA_SETTINGS for shot in session.shots)


def _is_outside(plan: Plan, setting: Setting, shot: Shot) -> bool:
    allowed, value = plan.allowed(setting), shot.truth.settings.get(setting)
    low, high = brightness(setting, allowed.darkest), brightness(setting, allowed.brightest)
    return value is None or not low - EPSILON <= brightness(setting, value) <= high + EPSILON


def wrong_signs(session: Played) -> int:
    """Moves that lead away from the plan's aim."""
    moves = [shot for shot in session.shots if shot.call.get("kind") in MOVES]
    return sum(session.away(shot) * shot.call["move_stops"] >= 0 for shot in moves)
