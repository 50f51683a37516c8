"""The call: from plan, settings and reading to the one setting to move."""

from tetherwatch.advise.levers import EPSILON, LIGHT_STEP, Move, best_move, has_room, room, rounded_move
from tetherwatch.advise.records import Call, Plan, Predicted
from tetherwatch.advise.words import left_over, name, spelled, stops_text
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
    if abs(needed) <= plan.aim.tolerance_stops + EPSILON:
        return Call("hold", _hold_reason(plan, reading))
    move = _first_move(plan, settings, needed)
    if move is not None:
        return _moving_call(plan, settings, reading, move)
    return _no_move(plan, settings, reading)


def predict(reading: Reading, move_stops: float) -> Predicted:
    """What the next frame should read after a move: offset, and the worst channel's clipped percent in the area."""
    clipped = max(tones.clipped_percent_after(move_stops) for tones in reading.area_tones)
    return Predicted(offset_stops=reading.offset_stops + move_stops, clipped_percent=clipped)


def _outside_plan(plan: Plan, settings: Settings, reading: Reading) -> Call | None:
    for setting in CAMERA_SETTINGS:
        value = settings.get(setting)
        allowed = plan.allowed(setting)
        if value is None or not room(allowed, value).outside:
            continue
        left = room(allowed, value)
        back = allowed.brightest if left.brighter < 0 else allowed.darkest
        move = left.brighter if left.brighter < 0 else -left.darker
        here, there = label(setting, value, plan.step), label(setting, back, plan.step)
        verb = "holds" if allowed.locked else "goes no further than"
        return Call(
            "check",
            f"{name(setting)} is at {here}, the plan {verb} {there}: set it back, or unlock it",
            setting=setting,
            from_label=here,
            to_label=there,
            move_stops=move,
            predicted=predict(reading, move),
        )
    return None


def _first_move(plan: Plan, settings: Settings, needed: float) -> Move | None:
    for setting in plan.levers(needed):
        move = _lever_move(plan, settings, setting, needed)
        if move is not None:
            return move
    return None


def _lever_move(plan: Plan, settings: Settings, setting: Setting, needed: float) -> Move | None:
    if setting is Setting.LIGHT:
        return rounded_move(setting, LIGHT_STEP, needed)
    value = settings.get(setting)
    if value is None:
        return rounded_move(setting, plan.step.stops, needed)
    return best_move(plan.allowed(setting), value, plan.step, needed)


def _moving_call(plan: Plan, settings: Settings, reading: Reading, move: Move) -> Call:
    needed = -reading.offset_stops
    predicted = predict(reading, move.stops)
    left = needed - move.stops
    left = left if abs(left) > plan.aim.tolerance_stops + EPSILON else 0.0
    here = None if move.setting is Setting.LIGHT else settings.get(move.setting)
    reasons = [f"{spelled(reading)} {stops_text(abs(reading.offset_stops))} too {'dark' if needed > 0 else 'bright'}"]
    if here is None and move.setting is not Setting.LIGHT:
        reasons.append(f"the capture does not say its {name(move.setting)}, so its room is not checked")
    if left:
        reasons.append(left_over(plan, settings, move.setting, left))
    if needed > 0 and predicted.clipped_percent > plan.aim.clip_limit_percent:
        reasons.append(
            f"{predicted.clipped_percent:.1f} % of the metered area will clip (limit {plan.aim.clip_limit_percent:g} %)"
        )
    return Call(
        "brighter" if move.stops > 0 else "darker",
        "; ".join(reasons),
        setting=move.setting,
        from_label=None if here is None else label(move.setting, here, plan.step),
        to_label=None if here is None or move.value is None else label(move.setting, move.value, plan.step),
        move_stops=move.stops,
        left_stops=left,
        predicted=predicted,
    )


def _no_move(plan: Plan, settings: Settings, reading: Reading) -> Call:
    needed = -reading.offset_stops
    if any(has_room(plan, settings, setting, needed) for setting in plan.levers(needed)):
        away = stops_text(abs(needed))
        return Call("hold", f"{away} {'dark' if needed > 0 else 'bright'}: the dial's steps come no closer")
    return Call("blocked", left_over(plan, settings, None, needed), left_stops=needed)


def _hold_reason(plan: Plan, reading: Reading) -> str:
    right = f"right within {stops_text(plan.aim.tolerance_stops)}"
    if reading.area_clipped_percent > plan.aim.clip_limit_percent:
        limit = f"(limit {plan.aim.clip_limit_percent:g} %)"
        return f"{right}, but {reading.area_clipped_percent:.1f} % of the metered area is clipped {limit}"
    return right
