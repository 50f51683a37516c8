"""The call: from plan, settings and reading to the one setting to move."""

from dataclasses import replace

from tetherwatch.advise import words
from tetherwatch.advise.levers import EPSILON, Move, first_move, has_room, room
from tetherwatch.advise.records import Call, CallKind, Plan, Predicted
from tetherwatch.exposure.dial import label
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.meter.records import Reading


def make_call(plan: Plan, settings: Settings, reading: Reading) -> Call:
    """The call for one capture. `settings` in exact dial values; unknown ones are said, not guessed.

    In this order: a setting outside the plan is named (`check`); inside the tolerance nothing moves (`hold`); the first
    lever of the plan's order that can come closer moves, as near as its dial and range allow; `hold` where only the
    dial is too coarse; `blocked` where no lever has room.
    """
    stray = _outside_plan(plan, settings, reading)
    if stray is not None:
        return stray
    needed = -reading.offset_stops
    if _near(plan, needed):
        clipped = words.clipping(plan, reading.area_clipped_percent, will=False)
        return Call("hold", words.sentence(words.right(plan, reading), clipped))
    move = first_move(plan, settings, needed)
    if move is not None:
        return _moving_call(plan, settings, reading, move)
    if has_room(plan, settings, needed):
        return Call("hold", words.sentence(f"{words.judged(reading)}, and the dial's steps come no closer"))
    givers = ", or ".join(words.givers(plan, settings, needed))
    reason = words.sentence(f"{words.judged(reading)}, and no setting of the plan has room left: {givers}")
    return Call("blocked", reason, left_stops=needed)


def predict(reading: Reading, move_stops: float) -> Predicted:
    """What the next frame should read after a move: offset, and the worst channel's clipped percent in the area."""
    clipped = max(tones.clipped_percent_after(move_stops) for tones in reading.area_tones)
    return Predicted(offset_stops=reading.offset_stops + move_stops, clipped_percent=clipped)


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
            return _move_call("check", (reason,), plan, settings, reading, Move(setting, limit, stops))
    return None


def _moving_call(plan: Plan, settings: Settings, reading: Reading, move: Move) -> Call:
    needed = -reading.offset_stops
    left = needed - move.stops
    after = move.applied(settings)
    then = None if _near(plan, left) else first_move(plan, after, left)
    if then is None and (_near(plan, left) or has_room(plan, after, left)):
        left = 0.0  # the next call would be `hold`
    hidden = move.setting is not Setting.LIGHT and move.value is None
    clauses = (
        words.judged(reading),
        words.unsaid(plan, move.setting, needed) if hidden else None,
        words.remaining(plan, after, left, then.setting if then else None) if left else None,
    )
    kind: CallKind = "brighter" if move.stops > 0 else "darker"
    return replace(_move_call(kind, clauses, plan, settings, reading, move), left_stops=left)


def _move_call(
    kind: CallKind, clauses: tuple[str | None, ...], plan: Plan, settings: Settings, reading: Reading, move: Move
) -> Call:
    """A call with its move; clipping beyond the plan's limit is never brought about without a word."""
    predicted = predict(reading, move.stops)
    clipped = words.clipping(plan, predicted.clipped_percent, will=True) if move.stops > 0 else None
    here = None if move.value is None else settings.get(move.setting)
    return Call(
        kind,
        words.sentence(*clauses, clipped),
        setting=move.setting,
        from_label=None if here is None else label(move.setting, here, plan.step),
        to_label=None if move.value is None else label(move.setting, move.value, plan.step),
        move_stops=move.stops,
        predicted=predicted,
    )
