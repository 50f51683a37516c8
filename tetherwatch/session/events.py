"""Records as JSON objects, one a line: the stable names that other programs read. Absent values are null."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tetherwatch.advise.records import Call, Finding, Predicted
from tetherwatch.advise.whatif import Tried
from tetherwatch.exposure.dial import Step, label
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.face.records import EyeState
from tetherwatch.meter.records import Face, Reading
from tetherwatch.session.records import Entered, FrameRecord, Landed, SessionEvent, Warned
from tetherwatch.setups.records import Drift, Match, Setup
from tetherwatch.watch.records import Health, Problem

Event = dict[str, Any]


def json_line(event: Mapping[str, Any]) -> str:
    """One line of ASCII JSON: control and format characters in names become escapes."""
    return json.dumps(event, ensure_ascii=True, allow_nan=False)


def file_name(path: Path, folder: Path | None) -> str:
    """The file as other programs should name it: inside the watched folder where there is one, `/` between parts."""
    if folder is not None and path.is_relative_to(folder):
        return path.relative_to(folder).as_posix()
    return str(path)


def news_event(news: SessionEvent, step: Step, folder: Path | None = None) -> Event:
    """Any piece of a session's news."""
    if isinstance(news, FrameRecord):
        return frame_event(news, step, folder)
    if isinstance(news, Landed):
        return landed_event(news, folder)
    if isinstance(news, Warned):
        return warned_event(news, folder)
    if isinstance(news, Entered):
        return entered_event(news, step, folder)
    return problem_event(news, folder) if isinstance(news, Problem) else folder_event(news)


def frame_event(record: FrameRecord, step: Step, folder: Path | None = None) -> Event:
    """A capture that was metered, with its call."""
    metadata = record.metadata
    return {
        "event": "frame",
        "number": None if record.reading.provisional else record.number,
        "file": file_name(record.capture.path, folder),
        "pair": None if record.capture.pair is None else file_name(record.capture.pair, folder),
        "captured_at": None if metadata.captured_at is None else metadata.captured_at.isoformat(),
        "camera": metadata.camera,
        "serial": metadata.serial,
        "settings": settings_object(metadata.settings, step),
        "reading": reading_object(record.reading),
        "setup": record.setup,
        "match": None if record.match is None else match_object(record.match),
        "call": {**call_object(record.call), "firm": record.firm},
        "eyes": None if record.eyes is None else eyes_object(record.eyes),
        "notes": [*record.notes, *record.reading.notes],
    }


def problem_event(problem: Problem, folder: Path | None = None) -> Event:
    """A capture or the folder that needs the user."""
    return {
        "event": "problem",
        "file": file_name(problem.path, folder),
        "problem": problem.problem,
        "advice": problem.advice,
    }


def folder_event(health: Health) -> Event:
    """The watched folder went away or came back."""
    state = "back" if health.here else "away"
    return {"event": "folder", "folder": str(health.folder), "state": state, "mode": health.mode}


def plan_event(note: str) -> Event:
    """Something about the plan in force that the user should know."""
    return warned_event(Warned(None, Finding("plan", note)))


def warned_event(news: Warned, folder: Path | None = None) -> Event:
    """Something to tell beside the call; it is sent once while it holds."""
    file = None if news.path is None else file_name(news.path, folder)
    return {"event": "warning", "file": file, **finding_object(news.finding)}


def entered_event(news: Entered, step: Step, folder: Path | None = None) -> Event:
    """The light is another since a frame, or again an earlier one."""
    return {
        "event": "setup",
        "file": file_name(news.path, folder),
        "returned": news.returned,
        **setup_object(news.setup, step),
    }


def setup_object(setup: Setup, step: Step) -> Event:
    """A setup as it stands."""
    light, drift = setup.light_value, setup.drift
    return {
        "setup": setup.number,
        "name": setup.name,
        "state": setup.state,
        "first_frame": setup.first_frame,
        "frames": setup.frame_count,
        "light_value": None if light is None else _rounded(light.value),
        "light_value_uncertainty": None if light is None else _rounded(light.uncertainty),
        "settings": settings_object(setup.settings, step),
        "drift": None if drift is None else drift_object(drift),
    }


def drift_object(drift: Drift) -> Event:
    """A slow change of light: stops per 10 minutes with their 95 % interval."""
    return {
        "stops_per_10_min": _rounded(drift.slope),
        "interval": [_rounded(end) for end in drift.interval],
        "leaves_tolerance_in_s": _rounded(drift.leaves_in_s, 0),
    }


def match_object(match: Match) -> Event:
    """How a frame compares with the pinned one, in stops."""
    return {
        "pinned_frame": match.frame,
        "offset_stops": _rounded(match.offset_stops),
        "channel_stops": {channel: _rounded(stops) for channel, stops in match.channel_stops.items()},
        "highlights_stops": _rounded(match.highlights),
        "shadows_stops": _rounded(match.shadows),
        "measured": match.measured,
    }


def landed_event(news: Landed, folder: Path | None = None) -> Event:
    """What came of an earlier call, with the frame that followed it."""
    landing = news.landing
    return {
        "event": "landed",
        "file": file_name(news.path, folder),
        "setting": landing.setting.value,
        "predicted_offset_stops": _rounded(landing.predicted_offset_stops),
        "offset_stops": _rounded(landing.offset_stops),
        "error_stops": _rounded(landing.error_stops),
    }


def tried_event(path: Path, tried: Tried, step: Step, folder: Path | None = None) -> Event:
    """The outcome of a what-if."""
    return {
        "event": "tried",
        "file": file_name(path, folder),
        "try": {setting.value: _tried_move(tried, setting, step) for setting in tried.moves},
        "predicted": predicted_object(tried.predicted),
        "uncertainty_stops": _rounded(tried.uncertainty_stops),
        "between_stops": None if tried.between is None else [_rounded(stops) for stops in tried.between],
        "inside_tolerance": tried.inside,
        "outside_plan": [setting.value for setting in tried.outside],
        "hazards": [finding_object(finding) for finding in tried.hazards],
        "notes": [*tried.notes],
    }


def _tried_move(tried: Tried, setting: Setting, step: Step) -> Event:
    value = tried.settings.get(setting) if setting in CAMERA_SETTINGS else None
    return {"to": _label(setting, value, step), "move_stops": _rounded(tried.moves[setting])}


def finding_object(finding: Finding) -> Event:
    """A warning by its stable name and its sentence."""
    return {"kind": finding.kind, "reason": finding.reason}


def eyes_object(eyes: EyeState) -> Event:
    """The state of the metered face's eyes."""
    return {
        "state": eyes.verdict,
        "kept_percent": _rounded(eyes.kept_percent, 1),
        "uncertainty_percent": _rounded(eyes.uncertainty_percent, 1),
        "confidence": _rounded(eyes.confidence, 2),
        "cause": eyes.cause,
        "direction_deg": _rounded(eyes.direction_deg, 0),
        "reason": eyes.reason,
    }


def predicted_object(predicted: Predicted) -> Event:
    """What the next frame should read."""
    return {
        "offset_stops": _rounded(predicted.offset_stops),
        "uncertainty_stops": _rounded(predicted.uncertainty_stops),
        "clipped_percent": _rounded(predicted.clipped_percent),
        "clipped_percent_by_channel": {
            channel: _rounded(percent) for channel, percent in predicted.clipped_by_channel.items()
        },
        "grey_snr": _rounded(predicted.grey_snr, 1),
    }


def settings_object(settings: Settings, step: Step) -> Event:
    """Exact values and the labels on the dial."""
    return {
        "shutter_s": settings.shutter_s,
        "aperture": _rounded(settings.aperture),
        "iso": _rounded(settings.iso, 2),
        "shutter": _label(Setting.SHUTTER, settings.shutter_s, step),
        "aperture_label": _label(Setting.APERTURE, settings.aperture, step),
    }


def reading_object(reading: Reading) -> Event:
    """What was measured, in stops and percent."""
    return {
        "source": reading.source,
        "provisional": reading.provisional,
        "area": reading.area,
        "offset_stops": _rounded(reading.offset_stops),
        "uncertainty_stops": _rounded(reading.uncertainty_stops),
        "clipped_percent": {channel: _rounded(value) for channel, value in reading.clipped_percent.items()},
        "crushed_percent": _rounded(reading.crushed_percent),
        "headroom_stops": _rounded(reading.headroom_stops),
        "light_value": _rounded(reading.light_value),
        "faces": [_face_object(face) for face in reading.faces],
        "face": None if reading.face is None else _face_object(reading.face),
        "lighting_ratio_stops": None if reading.sides is None else _rounded(reading.sides.ratio_stops),
        "lighting_ratio_uncertainty_stops": None
        if reading.sides is None
        else _rounded(reading.sides.uncertainty_stops),
        "key_side": None if reading.sides is None else reading.sides.key,
        "body": reading.body,
    }


def _face_object(face: Face) -> Event:
    """A face as parts of the upright picture."""
    box = face.box
    return {
        "box": [_rounded(edge) for edge in (box.left, box.top, box.right, box.bottom)],
        "eyes": [[_rounded(eye.x), _rounded(eye.y)] for eye in (face.left_eye, face.right_eye)],
        "score": _rounded(face.score),
    }


def call_object(call: Call) -> Event:
    """The one move."""
    return {
        "kind": call.kind,
        "setting": None if call.setting is None else call.setting.value,
        "from": call.from_label,
        "to": call.to_label,
        "move_stops": _rounded(call.move_stops),
        "left_stops": _rounded(call.left_stops),
        "reason": call.reason,
        "odd": call.odd,
        "predicted": None if call.predicted is None else predicted_object(call.predicted),
    }


def _label(setting: Setting, value: float | None, step: Step) -> str | None:
    return None if value is None else label(setting, value, step)


def _rounded(value: float | None, digits: int = 4) -> float | None:
    """Rounded for reading; -0.0 becomes 0.0."""
    return None if value is None else round(value, digits) + 0.0
