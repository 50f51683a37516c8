"""One odd frame moves nothing, and no call is taken back the moment it was followed.

A frame is compared with the last ones that were not odd, taken by the same camera in the same setup. A setup ends with
a pause (see `likeness`). Light is compared, not level, so that settings moved by a followed call hide nothing.

    what is seen                                          flash, mixed                continuous
    -----------------------------------------------------------------------------------------------------------
    black all over                                        check, every time           check, every time
    first frame of a setup                                call; check once if 5 or    call
                                                          more stops dark (flash)
    4 or more stops of light gone                         check, every time           check once
    1 or more gone, no or only the called setting moved   check once                  check once
    1 or more gone, a setting moved by hand               check once                  call: it was meant
    1 or more came, no or only the called setting moved   check once                  check once
    0.3 to 1 gone or came, 1.5 x the last frames' range   check once                  call: clouds do that
    0.5 to 1 gone or came, with one frame to go by        check once                  call
    one even tone, before it was not; card not metered    check once                  check once
    up to 0.3 gone or came, the frame before was right    hold once                   hold once within 0.1 stop
                                                                                      of the tolerance
    anything the last call asked of the light             call                        call

"Check once": a second frame that agrees within 0.3 stop is no longer odd but how things are, and is called. What cannot
be known: an odd frame that looks like the answer to a call for more or less light; a misfire as the first frame that is
less than 5 stops too dark; two misfires in a row that leave more than a sixteenth of the light; a light turned down 4
stops or more, unasked and without a pause, which looks like a flash that fails (after a pause it is called).
"""

from collections.abc import Sequence
from itertools import pairwise

from tetherwatch.advise.likeness import ALIKE_STOPS, light_change, moves, paused
from tetherwatch.advise.oddities import Case, named
from tetherwatch.advise.records import Call, Plan, Shot
from tetherwatch.advise.words import judged, sentence
from tetherwatch.exposure.stops import Setting

LOOK_BACK = 12
"""Frames that are looked at: work does not grow with the session."""

REPEAT_STOPS = 0.2
"""How far two frames of unchanged light may differ: twice the 0.1 stop to which flashes repeat (makers' claims), which
is also three standard deviations of two frames whose shutter and iris repeat to 0.05 stop each (common practice)."""

SETTLING_FRAMES = 3
"""Frames after a move in which its opposite needs more than a frame's own scatter."""

_DRIFT_STOPS = 0.1
"""How far beyond the tolerance a first frame of continuous light is still put down to scatter, half of what two frames
may differ by; light that went this far twice in a row the same way drifts, and is followed at once."""

_MOVED_STOPS = 1e-6

Judged = tuple[tuple[Shot, ...], Shot | None]
"""The last frames that were not odd, and the frame before if it was odd."""

_USUAL_FRAMES = 4


def odd_frame(
    plan: Plan, history: Sequence[Shot], found_odd: Sequence[bool], shot: Shot, asked: Call | None = None
) -> Call | None:
    """A `check` call that names what is odd about a frame; None if nothing is.

    `history` holds earlier frames, oldest first, `found_odd` which of them were odd. `asked` is the call of the last
    frame that was not: light that it asked for, or asked to be taken away, is not odd.
    """
    places = _places(history, shot)
    before = [history[place] for place in places]
    usual, odd = _judged(plan, before, [found_odd[place] for place in places])
    found = named(_case(plan, usual, odd, before[-1] if before else None, shot, asked))
    return None if found is None else Call("check", found.reason, odd=found.kind)


def settled(plan: Plan, history: Sequence[Shot], shot: Shot, call: Call) -> Call:
    """The call, or `hold` in its place where the frame is off by no more than frames of the same light differ.

    `history` holds the earlier frames that were not odd, oldest first.
    That is so right after a move the other way, and for a first frame a little off where the last one was right.
    """
    if call.kind not in ("brighter", "darker"):
        return call
    before = [history[place] for place in _places(history, shot)]
    if _takes_back(plan, before, shot, call) or _scatter(plan, before, shot):
        return Call("hold", sentence(f"{judged(shot.reading)}, no more than frames of the same light differ"))
    return call


def _places(history: Sequence[Shot], shot: Shot) -> list[int]:
    """The last frames of the camera that took `shot`: bodies differ, and each has its own settings."""
    serial = shot.metadata.serial
    last = range(max(0, len(history) - LOOK_BACK), len(history))
    return [place for place in last if history[place].metadata.serial == serial]


def _judged(plan: Plan, shots: Sequence[Shot], found_odd: Sequence[bool]) -> Judged:
    """The last frames of the setup that were not odd, and the last one of all if it was."""
    usual: tuple[Shot, ...] = ()
    odd: Shot | None = None
    before: Shot | None = None
    for shot, is_odd in zip(shots, found_odd, strict=True):
        usual = () if before is None or paused(before, shot) else usual
        usual, odd, before = (usual, shot, shot) if is_odd else (_with(plan, usual, shot), None, shot)
    return usual, odd


def _with(plan: Plan, usual: tuple[Shot, ...], shot: Shot) -> tuple[Shot, ...]:
    """The last frames under one light, with one more: those under another are no measure of how it repeats."""
    change = light_change(plan, usual[-1], shot) if usual else None
    same = change is not None and abs(change) <= ALIKE_STOPS
    return (*usual, shot)[-_USUAL_FRAMES:] if same else (shot,)


def _case(
    plan: Plan, usual: tuple[Shot, ...], odd: Shot | None, before: Shot | None, shot: Shot, asked: Call | None
) -> Case:
    """The frame beside what it is judged by."""
    if before is None or paused(before, shot):
        return Case(plan, shot, (), None, None, by_hand=False)
    change = light_change(plan, usual[-1], shot) if usual else None
    if change is not None:
        taken_away, added = _asked_for(asked)
        change = min(change + taken_away, 0.0) if change < 0 else max(change - added, 0.0)
    return Case(plan, shot, usual, odd, change, by_hand=not (_unmoved(before, shot) or _called(plan, before, shot)))


def _unmoved(before: Shot, after: Shot) -> bool:
    moved = moves(before, after)
    return moved is not None and all(abs(stops) < _MOVED_STOPS for stops in moved.values())


def _called(plan: Plan, before: Shot, after: Shot) -> bool:
    """Whether the settings moved the way the earlier frame called for."""
    moved = moves(before, after)
    off = before.reading.offset_stops
    return moved is not None and abs(off) > plan.aim.tolerance_stops and sum(moved.values()) * off < 0


def _asked_for(asked: Call | None) -> tuple[float, float]:
    """Stops of light a call asked to take away and to add, at most. What a camera setting left to do is for later."""
    if asked is None or asked.setting not in (None, Setting.LIGHT):
        return 0.0, 0.0
    stops = asked.move_stops + asked.left_stops
    return max(0.0, -stops), max(0.0, stops)


def _takes_back(plan: Plan, before: Sequence[Shot], shot: Shot, call: Call) -> bool:
    """Whether the call undoes a recent move that was called, because of scatter alone."""
    most = max(plan.aim.tolerance_stops, plan.step.stops / 2) + REPEAT_STOPS
    if abs(shot.reading.offset_stops) > most:
        return False
    recent = _since_pause([*before[-SETTLING_FRAMES:], shot])
    return any(_undoes(plan, pair, shot, call) for pair in pairwise(recent))


def _since_pause(shots: Sequence[Shot]) -> Sequence[Shot]:
    """The frames of the last one's setup."""
    starts = [at for at in range(1, len(shots)) if paused(shots[at - 1], shots[at])]
    return shots[starts[-1] :] if starts else shots


def _undoes(plan: Plan, pair: tuple[Shot, Shot], shot: Shot, call: Call) -> bool:
    before, after = pair
    if before.reading.offset_stops * call.move_stops <= 0:
        return False
    if _called(plan, before, after):
        since = light_change(plan, before, shot)
    elif _light_called(plan, before, after):
        since = light_change(plan, after, shot)
    else:
        return False
    return since is not None and abs(since) <= REPEAT_STOPS


def _light_called(plan: Plan, before: Shot, after: Shot) -> bool:
    """Whether the light alone moved the way the earlier frame may have called for."""
    change, off = light_change(plan, before, after), before.reading.offset_stops
    free = Setting.LIGHT in plan.levers(-off) and abs(off) > plan.aim.tolerance_stops
    return free and _unmoved(before, after) and change is not None and change * off < 0


def _scatter(plan: Plan, before: Sequence[Shot], shot: Shot) -> bool:
    """Whether light that was right a frame ago is off by its scatter: little under lamps and daylight, which drift."""
    usual, _ = _judged(plan, before, [False] * len(before))
    if not usual or paused(before[-1], shot):
        return False
    if plan.light == "continuous" and (
        _drifts(plan, before, shot) or abs(shot.reading.offset_stops) > plan.aim.tolerance_stops + _DRIFT_STOPS
    ):
        return False
    change = light_change(plan, usual[-1], shot)
    right = abs(usual[-1].reading.offset_stops) <= plan.aim.tolerance_stops
    return right and _unmoved(usual[-1], shot) and change is not None and abs(change) <= ALIKE_STOPS


def _drifts(plan: Plan, before: Sequence[Shot], shot: Shot) -> bool:
    """Whether the light has gone the same way from frame to frame."""
    steps = [light_change(plan, *pair) or 0.0 for pair in pairwise([*before[-2:], shot])]
    return len(steps) == 2 and steps[0] * steps[1] > 0 and min(map(abs, steps)) >= _DRIFT_STOPS
