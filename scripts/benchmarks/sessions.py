"""Thousands of simulated sessions at the level of readings, closed loop. What does the advice do to them?"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from statistics import median

from environment import say

from benchmarks import judged
from benchmarks.rows import Row, Rows
from benchmarks.shoot import Played, Shot, play
from tetherwatch.exposure.dial import label
from tetherwatch.exposure.stops import CAMERA_SETTINGS

AT_LEAST_PERCENT = 99.0
MEDIAN_ERROR_STOPS, WORST_ERROR_STOPS = 0.03, 0.10
LIGHTS = ("flash", "continuous", "mixed")
SESSIONS, QUICK_SESSIONS = 2000, 200
STORIES = 1

Check = tuple[str, Callable[[Played], int]]

NEVER: tuple[Check, ...] = (
    ("moves called on odd frames", lambda session: judged.wrong_moves(session) if session.cast.claimed_right else 0),
    ("calls taken back within 3 frames of the same light", lambda session: sum(1 for _ in judged.flutters(session))),
    ("frames with a setting outside its range", judged.outside_range),
    ("moves against what was read", judged.wrong_signs),
    ("exact camera: obeyed moves that led further away", judged.worsened),
)
"""What must not happen in any session."""


def measure(quick: bool) -> Rows:
    """Rows for all kinds of light together, then for each; the first session that fails is told frame by frame."""
    sessions = [play(seed) for seed in range(QUICK_SESSIONS if quick else SESSIONS)]
    tell_failures(sessions)
    return rows_of(sessions)


def rows_of(sessions: Sequence[Played]) -> Rows:
    """The figures of these sessions."""
    rows = [*_need_rows(sessions), *_never_rows(sessions), *_landing_rows(sessions), *_call_rows(sessions)]
    rows += _odd_rows(sessions)
    for light in LIGHTS:
        of_light = [session for session in sessions if session.cast.plan.light == light]
        rows += [_named(light, row) for row in (*_need_rows(of_light), *_never_rows(of_light)[:2])]
    return tuple(rows)


def _named(light: str, row: Row) -> Row:
    return replace(row, figure=f"{light}: {row.figure}")


def _need_rows(sessions: Sequence[Played]) -> list[Row]:
    met = [each for session in sessions if session.cast.claimed_right for each in judged.needs(session)]
    figure = f"{len(sessions)} sessions: right after one move, of {len(met)} needs"
    return [Row(figure, 100 * sum(met) / max(1, len(met)), "%", at_least=AT_LEAST_PERCENT)]


def _never_rows(sessions: Sequence[Played]) -> list[Row]:
    return [Row(figure, _total(count, sessions), "", at_most=0) for figure, count in NEVER]


def _landing_rows(sessions: Sequence[Played]) -> list[Row]:
    rows = []
    for exact in (True, False):
        errors = [
            abs(landing.error_stops)
            for session in sessions
            if judged.is_exact(session) is exact
            for landing in judged.landings(session)
        ] or [0.0]
        name = f"{'exact' if exact else 'scattering'} camera: %s error of {len(errors)} predictions"
        limits = (MEDIAN_ERROR_STOPS, WORST_ERROR_STOPS) if exact else (None, None)
        rows.append(Row(name % "median", median(errors), "stop", min(errors), max(errors), limits[0]))
        rows.append(Row(name % "worst", max(errors), "stop", at_most=limits[1]))
    return rows


def _call_rows(sessions: Sequence[Played]) -> list[Row]:
    rows = []
    for exact in (True, False):
        calls = [
            each
            for session in sessions
            if judged.is_exact(session) is exact and session.cast.claimed_right
            for each in judged.stretches(session)
        ] or [0]
        name = f"{'exact' if exact else 'scattering'} camera: calls in the same light, one setting having room"
        rows.append(Row(f"{name}, most", max(calls), "", at_most=1 if exact else None))
        rows.append(Row(f"{name}, more than one", 100 * sum(each > 1 for each in calls) / len(calls), "%"))
    return rows


def _odd_rows(sessions: Sequence[Played]) -> list[Row]:
    odd = [shot for session in sessions for shot in session.shots if shot.odd]
    named = sum(shot.record.call.kind == "check" for shot in odd)
    pairs = sum(1 for session in sessions for _ in judged.steady_pairs(session))
    wrong = [session for session in sessions if not session.cast.claimed_right]
    warned = sum(
        any(finding.kind == "light" for shot in session.shots for finding in shot.record.findings) for session in wrong
    )
    return [
        Row(f"odd frames told, of {len(odd)}", 100 * named / max(1, len(odd)), "%"),
        Row("moves called on odd frames under light claimed wrongly", _total(judged.wrong_moves, wrong), ""),
        Row("moves called on odd frames that a change asked for hides", _total(judged.hidden_moves, sessions), ""),
        Row(
            "frames with the light turned beyond its range, turns having been hidden",
            _total(judged.lost_powers, sessions),
            "",
        ),
        Row(f"sound frames asked for again, of {pairs}", _total(judged.false_alarms, sessions), ""),
        Row(f"sessions warned that their light is claimed wrongly, of {len(wrong)}", warned, ""),
    ]


def _total(count: Callable[[Played], int], sessions: Sequence[Played]) -> int:
    return sum(map(count, sessions))


def tell_failures(sessions: Sequence[Played]) -> None:
    """Say the seeds that do what must not be, and the first of each as a story."""
    for figure, count in (*NEVER, ("needs that one move did not meet", unmet)):
        failed = [session for session in sessions if count(session)]
        if failed:
            say(f"{figure}: seeds {', '.join(str(session.seed) for session in failed[:20])}")
            for session in failed[:STORIES]:
                say(story(session))


def unmet(session: Played) -> int:
    """Needs that one move did not meet."""
    return list(judged.needs(session)).count(False) if session.cast.claimed_right else 0


def story(session: Played) -> str:
    """A session frame by frame."""
    cast = session.cast
    heading = (
        f"  seed {session.seed}: {cast.plan.source}, {cast.plan.light} claimed, {cast.light.kind} there, "
        f"dial {cast.plan.step.value}, spread {cast.spread_stops:.2f}, right within {judged.right_within(session):.2f}"
    )
    return "\n".join([heading, *(_line(session, number, shot) for number, shot in enumerate(session.shots))])


def _line(session: Played, number: int, shot: Shot) -> str:
    plan, call = session.cast.plan, shot.record.call
    settings = " ".join(label(setting, shot.settings.get(setting) or 1.0, plan.step) for setting in CAMERA_SETTINGS)
    move = f"{call.setting.value} {call.move_stops:+.2f}" if call.setting else ""
    light = "" if shot.same_light else "  new light"
    ignored = "" if shot.obeyed else "  (ignored)"
    return (
        f"  {number:3d}  {settings:22s} {judged.off(session, shot):+6.2f} read {shot.record.reading.offset_stops:+6.2f}"
        f"  {call.kind} {move}{ignored}{light}  {shot.odd or ''}"
    )
