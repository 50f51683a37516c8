"""The call: from plan, settings, reading and what else is known to the one setting to move."""

from dataclasses import replace

from tetherwatch.advise import words
from tetherwatch.advise.effects import effect
from tetherwatch.advise.levers import EPSILON, Move, first_move, has_room, present_value, room
from tetherwatch.advise.records import NOTHING_KNOWN, Call, CallKind, Knowledge, Plan, Predicted
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS
from tetherwatch.meter.records import Reading


def make_call(plan: Plan, settings: Settings, reading: Reading, knowledge: Knowledge = NOTHING_KNOWN) -> Call:
    """The call for one capture. `settings` in exact dial values; unknown ones are said, not guessed.

    In this order: a setting outside the plan is named (`check`); inside the tolerance nothing moves (`hold`); the first
    lever of the plan's order that can come closer moves, as near as its dial and range allow; `hold` where only the
    dial is too coarse; `blocked` where no lever has room. A camera that sets its exposure by itself is asked for
    exposure compensation instead.
    """
    stray = None if knowledge.automatic else _outside_plan(plan, settings, reading)
    if stray is not None:
        return stray
    needed = -reading.offset_stops
    if _near(plan, needed):
        clipped = words.clipping(plan, reading.area_clipped_percent)
        return Call("hold", words.sentence(words.right(plan, reading), clipped))
    move = first_move(plan, settings, needed, knowledge)
    if move is not None:
        return _moving_call(plan, settings, reading, knowledge, move)
    if has_room(plan, settings, needed, knowledge):
        return Call("hold", words.sentence(f"{words.judged(reading)}, and the dial's steps come no closer"))
    givers = words.givers(plan, settings, needed)
    reason = words.sentence(f"{words.judged(reading)}, and no setting of the plan has room left: {givers}")
    return Call("blocked", reason, left_stops=needed)


def predict(reading: Reading, move_stops: float) -> Predicted:
    """What the next frame should read after a change of level: its offset and clipping."""
    return Predicted(
        offset_stops=reading.offset_stops + move_stops,
        clipped_percent=reading.area_clipped_percent_after(move_stops),
        clipped_by_channel={tones.channel: tones.clipped_percent_after(move_stops) for tones in reading.tones},
    )


def _near(plan: Plan, needed: float) -> bool:
    return abs(needed) <= plan.aim.tolerance_stops + EPSILON


def _outside_plan(plan: Plan, settings: Settings, reading: Reading) -> Call | None:
    for setting in CAMERA_SETTINGS:
        value, allowed = settings.get(setting), plan.allowed(setting)
        if value is None:
            continue
        left = room(allowed, value)
        if left.outside:
            beyond = left.brighter < 0
            limit, stops = (allowed.brightest, left.brighter) if beyond else (allowed.darkest, -left.darker)
            reason = words.stray(plan, setting, value, limit)
            move = Move(setting, limit, stops, stops)
            return _move_call("check", (reason,), plan, reading, NOTHING_KNOWN, value, move)
    return None


def _moving_call(plan: Plan, settings: Settings, reading: Reading, knowledge: Knowledge, move: Move) -> Call:
    needed = -reading.offset_stops
    left = needed - move.reckoned
    after, known_after = move.applied(settings, knowledge)
    then = None if _near(plan, left) else first_move(plan, after, left, known_after)
    if then is None and (_near(plan, left) or has_room(plan, after, left, known_after)):
        left = 0.0  # the next call would be `hold`
    here = present_value(settings, knowledge, move.setting)
    clauses = (
        words.judged(reading),
        words.automatic(knowledge),
        words.unsaid(plan, move.setting, needed) if here is None else None,
        words.partly(plan, move.setting, effect(plan, move.setting, move.stops, knowledge), move.stops, knowledge),
        words.by_distance(plan, move),
        words.remaining(plan, after, left, then.setting if then else None) if left else None,
    )
    kind: CallKind = "brighter" if move.stops > 0 else "darker"
    return replace(_move_call(kind, clauses, plan, reading, knowledge, here, move), left_stops=left)


def _move_call(
    kind: CallKind,
    clauses: tuple[str | None, ...],
    plan: Plan,
    reading: Reading,
    knowledge: Knowledge,
    here: float | None,
    move: Move,
) -> Call:
    """A call with its move; clipping beyond the plan's limit is never brought about without a word."""
    gives = effect(plan, move.setting, move.stops, knowledge)
    predicted = replace(predict(reading, gives.value), uncertainty_stops=gives.uncertainty)
    return Call(
        kind,
        words.sentence(*clauses, words.conflict(plan, reading, gives.value)),
        setting=move.setting,
        from_label=None if here is None or move.value is None else words.setting_label(move.setting, here, plan.step),
        to_label=None if move.value is None else words.setting_label(move.setting, move.value, plan.step),
        move_stops=move.stops,
        predicted=predicted,
    )
