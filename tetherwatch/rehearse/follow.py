"""The obedient photographer: does what the printed calls say, and nothing else.

Calls are the `call` objects of the JSON lines that `watch --headless` prints.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import PureWindowsPath
from typing import Any

from tetherwatch.errors import UsageError
from tetherwatch.exposure.dial import Step, parse_value, snap
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting

Call = Mapping[str, Any]
NextCall = Callable[[str], Call | None]
"""Gives the call for a capture by its file name, waiting for it if need be; None if there is none."""

_LARGEST_MOVE_STOPS = 30.0


def apply_call(settings: Settings, light_stops: float, call: Call, step: Step = Step.THIRD) -> tuple[Settings, float]:
    """Settings and light after obeying one call; only `brighter` and `darker` move anything.

    A camera setting goes to the call's `to`; light changes by its `move_stops`. Raises UsageError if the call lacks
    what it needs.
    """
    if call.get("kind") not in ("brighter", "darker"):
        return settings, light_stops
    try:
        setting = Setting(call["setting"])
        if setting is Setting.LIGHT:
            return settings, light_stops + _move(call["move_stops"])
        return settings.with_value(setting, snap(setting, parse_value(setting, call["to"]), step)), light_stops
    except (KeyError, TypeError, ValueError) as problem:
        raise UsageError(
            f"this call cannot be followed: {problem}",
            "give --follow the lines that 'tetherwatch watch --headless' prints",
        ) from problem


def _move(stops: object) -> float:
    if isinstance(stops, (int, float)) and abs(stops) <= _LARGEST_MOVE_STOPS:
        return float(stops)
    raise ValueError(f"{stops!r} is not a move in stops")


def calls_from(lines: Iterable[str]) -> NextCall:
    """A `NextCall` that reads JSON lines until one gives the last word on the capture asked for.

    Lines read on the way are done with: captures must be asked for in the order in which they were read. A problem with
    the capture, or the end of the lines, means that there is no call. Lines that are not events are passed over.
    """
    events = _events(lines)

    def next_call(file: str) -> Call | None:
        event = next((event for event in events if _settles(event, file)), {})
        call = event.get("call")
        return call if isinstance(call, dict) else None

    return next_call


def _events(lines: Iterable[str]) -> Iterator[dict[str, Any]]:
    for line in lines:
        try:
            event = json.loads(line)
        except ValueError:
            continue
        if isinstance(event, dict):
            yield event


def _settles(event: dict[str, Any], file: str) -> bool:
    """Whether this is the last word on `file`: an exact reading of it or its twin of another format, or a problem."""
    if event.get("event") not in ("frame", "problem") or _stem(event.get("file")) != _stem(file):
        return False
    reading = event.get("reading")
    return not (isinstance(reading, dict) and reading.get("provisional"))


def _stem(file: object) -> str:
    return PureWindowsPath(str(file)).stem  # knows both kinds of slash
