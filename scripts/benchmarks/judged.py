"""What simulated sessions show: each function looks at one played session and returns what the figures are made of."""

import math
from collections.abc import Iterator
from itertools import pairwise

from benchmarks.shoot import EPSILON, MOVES, Played, Shot, positions
from tetherwatch.advise.landing import Landing
from tetherwatch.advise.power import LIGHT_STEP
from tetherwatch.advise.records import Allowed, Plan
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting, brightness

FLUTTER_FRAMES = 3
READABLE_PERCENT = 0.5
"""Clipped part of the metered area beyond which a reading only bounds the light."""

CLEAR_PERCENT = 0.01
"""The same for figures of hundredths of a stop."""


def needs(session: Played) -> Iterator[bool]:
    """For each frame that needs a move, one setting having room for all of it: whether the next frame is right.

    Right is inside the plan's tolerance, or half a step of a coarser dial, widened by two standard deviations of what
    two frames of the same light differ by (`apart`). A frame needs a move when it is outside of that. Only frames whose
    area is not clipped count, whose light stays until the next frame, and whose call is obeyed or moves nothing; where
    the frame is asked for again (`check`), nothing was to be moved yet.
    """
    bound = right_within(session)
    for shot, after in steady_pairs(session):
        needed = -off(session, shot)
        known = readable(shot, READABLE_PERCENT) and shot.record.call.kind != "check"
        if not known or not shot.obeyed or abs(needed) <= bound:
            continue
        if has_room_for_all(session.cast.plan, shot, needed, session.cast.plan.step.stops / 2):
            yield abs(off(session, after)) <= bound


def off(session: Played, shot: Shot) -> float:
    """Stops from the plan's aim in truth, this frame's own spread included."""
    return shot.exposed.area - session.cast.plan.aim.from_grey_stops


def is_exact(session: Played) -> bool:
    """Whether the camera repeats without any scatter."""
    return session.cast.spread_stops == 0


def apart(session: Played) -> float:
    """Standard deviation of what two frames of the same light differ by, one of them as read."""
    return math.hypot(math.sqrt(2) * session.cast.spread_stops, session.cast.reading_stops)


def right_within(session: Played) -> float:
    """Stops from the aim at which a picture counts as right."""
    plan = session.cast.plan
    return max(plan.aim.tolerance_stops, plan.step.stops / 2) + 2 * apart(session) + EPSILON


def steady_pairs(session: Played) -> Iterator[tuple[Shot, Shot]]:
    """Frames one after the other under the same light, neither of them odd."""
    for shot, after in pairwise(session.shots):
        if after.same_light and not shot.odd and not after.odd:
            yield shot, after


def readable(shot: Shot, percent: float) -> bool:
    """Whether no more than this of the metered area is clipped."""
    return shot.record.reading.area_clipped_percent <= percent


def has_room_for_all(plan: Plan, shot: Shot, needed: float, within_stops: float) -> bool:
    """Whether the first lever of the order that comes closer comes this close, and acts on all of the light."""
    for setting in plan.levers(needed):
        best = min(abs(needed - stops) for stops in _stops(plan, shot, setting, needed))
        if best < abs(needed) - EPSILON:
            whole = plan.light != "mixed" or setting in (Setting.APERTURE, Setting.ISO)
            return whole and best <= within_stops + EPSILON
    return False


def _stops(plan: Plan, shot: Shot, setting: Setting, needed: float) -> list[float]:
    """The moves a lever can make; of a light those that come closest."""
    if setting is Setting.LIGHT:
        nearest = round(needed / LIGHT_STEP) * LIGHT_STEP
        return [math.copysign(min(abs(nearest), _light_reach(plan, shot.power, needed)), needed)]
    here = brightness(setting, _value(shot.settings, setting))
    return [0.0, *(brightness(setting, there) - here for there in positions(plan.allowed(setting), plan.step))]


def _light_reach(plan: Plan, power: float, needed: float) -> float:
    if plan.power is None:
        return math.inf
    end = plan.power.brightest if needed > 0 else plan.power.darkest
    return abs(brightness(Setting.LIGHT, end) - power)


def wrong_moves(session: Played) -> int:
    """Moves called on odd frames themselves."""
    return sum(shot.odd is not None and not shot.hidden and shot.record.call.kind in MOVES for shot in session.shots)


def hidden_moves(session: Played) -> int:
    """Moves called on odd frames that a change just asked for may explain as well."""
    return sum(shot.hidden and shot.record.call.kind in MOVES for shot in session.shots)


def false_alarms(session: Played) -> int:
    """Sound frames of an unchanged light that were asked for again."""
    return sum(after.record.call.kind == "check" for _, after in steady_pairs(session) if session.cast.claimed_right)


def flutters(session: Played) -> Iterator[int]:
    """Frames whose call takes back one of the three frames before, the light being the same all along."""
    for place, shot in enumerate(session.shots):
        for earlier in reversed(session.shots[max(0, place - FLUTTER_FRAMES) : place]):
            between = session.shots[session.shots.index(earlier) + 1 : place + 1]
            if all(each.same_light for each in between) and _opposite(earlier, shot):
                yield place
                break


def _opposite(one: Shot, other: Shot) -> bool:
    if one.odd or other.odd:
        return False
    return {one.record.call.kind, other.record.call.kind} == set(MOVES)


def outside_range(session: Played) -> int:
    """Frames taken with a camera setting outside of what the plan allows."""
    return sum(_is_outside(session.cast.plan, shot) for shot in session.shots)


def _is_outside(plan: Plan, shot: Shot) -> bool:
    placed = {setting: brightness(setting, _value(shot.settings, setting)) for setting in CAMERA_SETTINGS}
    return any(_beyond(plan.allowed(setting), stops) for setting, stops in placed.items())


def lost_powers(session: Played) -> int:
    """Frames taken with the light's power outside of what the plan allows: no capture tells where it stands."""
    power = session.cast.plan.power
    return 0 if power is None else sum(_beyond(power, shot.power) for shot in session.shots)


def _beyond(allowed: Allowed, stops: float) -> bool:
    darkest, brightest = (brightness(allowed.setting, end) for end in (allowed.darkest, allowed.brightest))
    return not darkest - EPSILON <= stops <= brightest + EPSILON


def _value(settings: Settings, setting: Setting) -> float:
    value = settings.get(setting)
    assert value is not None
    return value


def wrong_signs(session: Played) -> int:
    """Moves against what was read, or against their own word."""
    return sum(_wrong_sign(shot) for shot in session.shots)


def _wrong_sign(shot: Shot) -> bool:
    call, offset = shot.record.call, shot.record.reading.offset_stops
    if call.kind not in MOVES:
        return False
    return (call.kind == "brighter") != (call.move_stops > 0) or offset * call.move_stops >= 0


def worsened(session: Played) -> int:
    """Obeyed moves that led further from the aim, the light being the same and as claimed, and the camera exact."""
    return sum(
        abs(off(session, after)) > abs(off(session, shot)) + EPSILON
        for shot, after in steady_pairs(session)
        if session.cast.claimed_right and is_exact(session) and shot.obeyed and shot.record.call.kind in MOVES
    )


def landings(session: Played) -> Iterator[Landing]:
    """What came of calls whose lever acts in full, the light being the same and nothing clipped."""
    for shot, after in steady_pairs(session):
        landing = after.record.landing
        clear = readable(shot, CLEAR_PERCENT) and readable(after, CLEAR_PERCENT)
        if landing is None or shot.record.call.kind == "check" or not clear:
            continue
        partly = session.cast.plan.light == "mixed" and landing.setting in (Setting.SHUTTER, Setting.LIGHT)
        if session.cast.claimed_right and not partly:
            yield landing


def stretches(session: Played) -> Iterator[int]:
    """For each stretch of the same light in which one setting had room for all: the calls obeyed from that one on.

    Room for all means here that its dial is fine enough to come inside the tolerance.
    """
    calls = 0
    for shot in session.shots:
        if not shot.same_light:
            if calls:
                yield calls
            calls = 0
        if shot.obeyed and not shot.odd and shot.record.call.kind in MOVES and (calls or _enough(session, shot)):
            calls += 1
    if calls:
        yield calls


def _enough(session: Played, shot: Shot) -> bool:
    plan = session.cast.plan
    whole = has_room_for_all(plan, shot, -off(session, shot), plan.aim.tolerance_stops)
    return whole and readable(shot, READABLE_PERCENT)
