"""JSON events: the documented objects, key for key, as lines that any program can read."""

import json
from dataclasses import fields, replace
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

import pytest
from advise_records import cases, reading, tones
from hypothesis import example, given
from hypothesis import strategies as st
from session_records import FOLDER, PLAN, SETTINGS, THUMBNAIL, metered

from tetherwatch.advise.call import make_call
from tetherwatch.advise.landing import Landing
from tetherwatch.advise.records import NOTHING_KNOWN, Finding, Plan, Shot
from tetherwatch.advise.whatif import Try, tried
from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Metadata
from tetherwatch.meter.records import Reading
from tetherwatch.session.events import (
    call_object,
    file_name,
    folder_event,
    frame_event,
    json_line,
    landed_event,
    news_event,
    plan_event,
    problem_event,
    reading_object,
    settings_object,
    tried_event,
    warned_event,
)
from tetherwatch.session.records import FrameRecord, Landed, Warned
from tetherwatch.session.session import Session
from tetherwatch.watch.records import Capture, Health, Problem

# The contract with other programs: each object's keys and what they may hold. Keys may be added, never renamed.
TEXT, NUMBER, NOTHING = str, (int, float), type(None)
SETTINGS_KEYS = {
    "shutter_s": (*NUMBER, NOTHING),
    "aperture": (*NUMBER, NOTHING),
    "iso": (*NUMBER, NOTHING),
    "shutter": (TEXT, NOTHING),
    "aperture_label": (TEXT, NOTHING),
}
READING_KEYS = {
    "source": ("raw", "jpeg", "preview"),
    "provisional": bool,
    "area": ("face", "card", "box", "frame"),
    "offset_stops": NUMBER,
    "uncertainty_stops": NUMBER,
    "clipped_percent": dict,
    "crushed_percent": NUMBER,
    "headroom_stops": NUMBER,
    "light_value": (*NUMBER, NOTHING),
    "body": (TEXT, NOTHING),
    "faces": list,
    "face": (dict, NOTHING),
    "lighting_ratio_stops": (*NUMBER, NOTHING),
    "lighting_ratio_uncertainty_stops": (*NUMBER, NOTHING),
    "key_side": ("left", "right", None),
}
PREDICTED_KEYS = {
    "offset_stops": NUMBER,
    "uncertainty_stops": NUMBER,
    "clipped_percent": NUMBER,
    "clipped_percent_by_channel": dict,
    "grey_snr": (*NUMBER, NOTHING),
}
CALL_KEYS = {
    "kind": ("brighter", "darker", "hold", "check", "blocked"),
    "setting": ("shutter", "aperture", "iso", "light", "compensation", None),
    "from": (TEXT, NOTHING),
    "to": (TEXT, NOTHING),
    "move_stops": NUMBER,
    "left_stops": NUMBER,
    "reason": TEXT,
    "odd": (TEXT, NOTHING),
    "predicted": (dict, NOTHING),
    "firm": bool,
}
FRAME_KEYS = {
    "event": ("frame",),
    "number": int,
    "file": TEXT,
    "pair": (TEXT, NOTHING),
    "captured_at": (TEXT, NOTHING),
    "camera": (TEXT, NOTHING),
    "serial": (TEXT, NOTHING),
    "settings": dict,
    "reading": dict,
    "setup": (int, NOTHING),
    "match": (dict, NOTHING),
    "call": dict,
    "eyes": (dict, NOTHING),
    "notes": list,
}
EYES_KEYS = {
    "state": ("sharp", "soft", "unknown"),
    "kept_percent": (*NUMBER, NOTHING),
    "uncertainty_percent": (*NUMBER, NOTHING),
    "confidence": NUMBER,
    "cause": ("motion", "focus", "unknown"),
    "direction_deg": (*NUMBER, NOTHING),
    "reason": TEXT,
}
PROBLEM_KEYS = {"event": ("problem",), "file": TEXT, "problem": TEXT, "advice": TEXT}
FOLDER_KEYS = {"event": ("folder",), "folder": TEXT, "state": ("away", "back"), "mode": ("events", "polling")}
PLAN_KEYS = {"event": ("warning",), "file": NOTHING, "kind": ("plan",), "reason": TEXT}
WARNING_KEYS = {"event": ("warning",), "file": TEXT, "kind": TEXT, "reason": TEXT}
LANDED_KEYS = {
    "event": ("landed",),
    "file": TEXT,
    "setting": ("shutter", "aperture", "iso", "light", "compensation"),
    "predicted_offset_stops": NUMBER,
    "offset_stops": NUMBER,
    "error_stops": NUMBER,
}
TRIED_KEYS = {
    "event": ("tried",),
    "file": TEXT,
    "try": dict,
    "predicted": dict,
    "uncertainty_stops": NUMBER,
    "between_stops": (list, NOTHING),
    "inside_tolerance": (bool, NOTHING),
    "outside_plan": list,
    "hazards": list,
    "notes": list,
}

LANDING = Landing(Setting.ISO, 1.0, -0.02, 0.031, 0.051, 1.05)
TRIED = tried(
    PLAN,
    Shot(Metadata(settings=SETTINGS), reading(-1.0), 0.0),
    (Try(Setting.ISO, value=800.0), Try(Setting.LIGHT, stops=-0.5)),
    NOTHING_KNOWN,
)


def check(found: dict[str, Any], contract: dict[str, Any]) -> None:
    """The object has exactly the contract's keys, and what they hold is of the stated types or words."""
    assert set(found) == set(contract)
    for key, allowed in contract.items():
        options = allowed if isinstance(allowed, tuple) else (allowed,)
        types = tuple(option for option in options if isinstance(option, type))
        assert (types and isinstance(found[key], types)) or found[key] in options, f"{key}: {found[key]!r}"
        assert bool in types or not isinstance(found[key], bool), key


def check_frame(found: dict[str, Any]) -> None:
    """A frame event and all the objects in it."""
    check(found, FRAME_KEYS)
    check(found["settings"], SETTINGS_KEYS)
    check(found["reading"], READING_KEYS)
    check(found["call"], CALL_KEYS)
    if found["eyes"] is not None:
        check(found["eyes"], EYES_KEYS)
    if found["call"]["predicted"] is not None:
        check(found["call"]["predicted"], PREDICTED_KEYS)
        assert set(found["call"]["predicted"]["clipped_percent_by_channel"]) <= {"r", "g", "b", "y"}
    assert all(isinstance(percent, NUMBER) for percent in found["reading"]["clipped_percent"].values())
    assert set(found["reading"]["clipped_percent"]) <= {"r", "g", "b", "y"}


def record(name: str = "1.DNG", offset: float = -1.0, **changes: Any) -> FrameRecord:
    """A frame as a session records it."""
    made, *_ = Session(FOLDER, PLAN).take(metered(name, offset, **changes))
    assert isinstance(made, FrameRecord)
    return made


def read_back(event: dict[str, Any]) -> Any:
    """The event as another program gets it: one line of printable ASCII."""
    line = json_line(event)
    assert all(" " <= character <= "~" for character in line)
    return json.loads(line, parse_constant=pytest.fail)


def test_a_frame_event_in_full() -> None:
    """Every name and number of a plain frame, as documented."""
    metadata = Metadata(settings=SETTINGS, camera="Halden K2", serial="77", captured_at=datetime(2031, 5, 4, 10, 2, 3))
    frame = record(pair="1.JPG", metadata=metadata, measured=reading(-1.02, [tones({10: 2}, below=998)]))
    assert read_back(frame_event(replace(frame, notes=("a note",)), Step.THIRD, FOLDER)) == {
        "event": "frame",
        "number": 1,
        "file": "1.DNG",
        "pair": "1.JPG",
        "captured_at": "2031-05-04T10:02:03",
        "camera": "Halden K2",
        "serial": "77",
        "settings": {
            "shutter_s": 0.00390625,
            "aperture": 2.8284,
            "iso": 400.0,
            "shutter": "1/250",
            "aperture_label": "f/2.8",
        },
        "reading": {
            "source": "raw",
            "provisional": False,
            "area": "card",
            "offset_stops": -1.02,
            "uncertainty_stops": 0.03,
            "clipped_percent": {"r": 0.0, "g": 0.1, "b": 0.0},
            "crushed_percent": 1.2,
            "headroom_stops": 1.4,
            "light_value": 7.0,
            "body": None,
            "faces": [],
            "face": None,
            "lighting_ratio_stops": None,
            "lighting_ratio_uncertainty_stops": None,
            "key_side": None,
        },
        "setup": 1,
        "match": None,
        "call": {
            "kind": "brighter",
            "setting": "iso",
            "from": "400",
            "to": "800",
            "move_stops": 1.0,
            "left_stops": 0.0,
            "reason": "The card is 1.02 stops too dark.",
            "odd": None,
            "predicted": {
                "offset_stops": -0.02,
                "uncertainty_stops": 0.0,
                "clipped_percent": 0.2,
                "clipped_percent_by_channel": {"g": 0.2},
                "grey_snr": None,
            },
            "firm": True,
        },
        "eyes": None,
        "notes": ["a note"],
    }


@given(cases())
def test_every_frame_keeps_the_contract(case: tuple[Plan, Settings, Reading]) -> None:
    """Whatever was read and called, the keys and types are the documented ones, and no number is lost to NaN."""
    plan, now, measured = case
    call = make_call(plan, now, measured)
    frame = FrameRecord(1, Capture(Path("1.DNG"), 1, 1, 0.0), Metadata(settings=now), measured, THUMBNAIL, call)
    check_frame(read_back(frame_event(frame, plan.step)))


def test_what_is_unknown_is_null() -> None:
    """A capture that says nothing of itself has every key, empty."""
    found = read_back(frame_event(record(metadata=Metadata(), light_value=None), Step.THIRD))
    check_frame(found)
    assert set(found["settings"].values()) == {None}
    assert [found[key] for key in ("pair", "captured_at", "camera", "serial", "match")] == [None] * 5
    assert found["reading"]["light_value"] is None
    assert (found["call"]["from"], found["call"]["to"]) == (None, None)


def test_a_monochrome_frame_has_one_channel() -> None:
    """The channels are those of the sensor."""
    measured = replace(reading(0.0), clipped_percent={"y": 0.25})
    assert reading_object(measured)["clipped_percent"] == {"y": 0.25}


def test_notes_of_frame_and_reading_come_together() -> None:
    """First what the reading of the file had to say, then what metering had."""
    measured = replace(reading(0.0), notes=("metered note",))
    frame = replace(record(measured=measured), notes=("file note",))
    assert frame_event(frame, Step.THIRD)["notes"] == ["file note", "metered note"]


def test_a_time_with_a_zone_keeps_it() -> None:
    """The zone is there only where the camera recorded one."""
    when = datetime(2031, 5, 4, 10, 2, 3, tzinfo=timezone.utc)
    frame = record(metadata=Metadata(captured_at=when))
    assert datetime.fromisoformat(frame_event(frame, Step.THIRD)["captured_at"]) == when


@pytest.mark.parametrize(
    ("event", "contract"),
    [
        (problem_event(Problem(FOLDER / "a" / "1.DNG", "the file is empty", "copy it again"), FOLDER), PROBLEM_KEYS),
        (folder_event(Health(FOLDER, True, "events", 3, 1.0)), FOLDER_KEYS),
        (folder_event(Health(FOLDER, False, "polling", 0, None)), FOLDER_KEYS),
        (plan_event("no noise ceiling given"), PLAN_KEYS),
        (warned_event(Warned(FOLDER / "1.DNG", Finding("flicker", "lamps may swing")), FOLDER), WARNING_KEYS),
        (landed_event(Landed(FOLDER / "1.DNG", LANDING), FOLDER), LANDED_KEYS),
        (tried_event(FOLDER / "1.DNG", TRIED, Step.THIRD, FOLDER), TRIED_KEYS),
    ],
    ids=["problem", "back", "away", "plan", "warning", "landed", "tried"],
)
def test_the_other_events_keep_the_contract(event: dict[str, Any], contract: dict[str, Any]) -> None:
    """Problem, folder, warning, landed and tried have the documented keys."""
    check(read_back(event), contract)


def test_a_landing_and_a_warning_in_full() -> None:
    """Every name and number, as documented."""
    assert read_back(landed_event(Landed(FOLDER / "2.DNG", LANDING), FOLDER)) == {
        "event": "landed",
        "file": "2.DNG",
        "setting": "iso",
        "predicted_offset_stops": -0.02,
        "offset_stops": 0.031,
        "error_stops": 0.051,
    }
    warned = Warned(FOLDER / "2.DNG", Finding("flicker", "lamps may swing"))
    expected = {"event": "warning", "file": "2.DNG", "kind": "flicker", "reason": "lamps may swing"}
    assert read_back(warned_event(warned, FOLDER)) == expected


def test_a_what_if_in_full() -> None:
    """What was tried, with the dial's labels, and what it leads to."""
    found = replace(TRIED, hazards=(Finding("flicker", "lamps may swing"),), outside=(Setting.ISO,))
    assert read_back(tried_event(FOLDER / "2.DNG", found, Step.THIRD, FOLDER)) == {
        "event": "tried",
        "file": "2.DNG",
        "try": {"iso": {"to": "800", "move_stops": 1.0}, "light": {"to": None, "move_stops": -0.5}},
        "predicted": {
            "offset_stops": -0.5,
            "uncertainty_stops": 0.0,
            "clipped_percent": 0.0,
            "clipped_percent_by_channel": {"g": 0.0},
            "grey_snr": None,
        },
        "uncertainty_stops": 0.03,
        "between_stops": None,
        "inside_tolerance": False,
        "outside_plan": ["iso"],
        "hazards": [{"kind": "flicker", "reason": "lamps may swing"}],
        "notes": [],
    }


def test_a_what_if_under_unknown_light_has_bounds() -> None:
    """Both ends, darkest first; whether it is inside is null where it may be either."""
    found = tried(
        replace(PLAN, light="mixed"),
        Shot(Metadata(settings=SETTINGS), reading(0.0), 0.0),
        (Try(Setting.SHUTTER, stops=1.0),),
        NOTHING_KNOWN,
    )
    event = read_back(tried_event(FOLDER / "2.DNG", found, Step.THIRD, FOLDER))
    check(event, TRIED_KEYS)
    assert (event["between_stops"], event["inside_tolerance"]) == ([0.0, 1.0], None)


def test_any_news_becomes_its_own_event() -> None:
    """The stream does not need to know what kind of news it writes."""
    problem, health = (
        Problem(FOLDER / "1.DNG", "the file is empty", "copy it again"),
        Health(FOLDER, True, "events", 0, 1),
    )
    landing, warning = Landed(FOLDER / "1.DNG", LANDING), Warned(None, Finding("light", "this is flash light"))
    pieces = (record(), landing, warning, problem, health)
    events = [news_event(piece, Step.THIRD, FOLDER)["event"] for piece in pieces]
    assert events == ["frame", "landed", "warning", "problem", "folder"]


def test_the_folder_is_away_or_back() -> None:
    """The state is a word, not a flag."""
    assert folder_event(Health(FOLDER, True, "events", 3, 1.0))["state"] == "back"
    assert folder_event(Health(FOLDER, False, "events", 3, 1.0))["state"] == "away"


@pytest.mark.parametrize(
    ("path", "folder", "name"),
    [
        (FOLDER / "1.DNG", FOLDER, "1.DNG"),
        (FOLDER / "day 2" / "1.DNG", FOLDER, "day 2/1.DNG"),
        (Path("elsewhere") / "1.DNG", FOLDER, str(Path("elsewhere") / "1.DNG")),
        (Path("1.DNG"), None, "1.DNG"),
    ],
)
def test_files_are_named_inside_the_folder(path: Path, folder: Path | None, name: str) -> None:
    """With `/` between parts on every system; a file from elsewhere keeps its own path."""
    assert file_name(path, folder) == name


HOSTILE = 'a\x1b[2J\x1b]0;x\x07\nline\r\t\x9b31m\u202e猫🐈\udc80\ud83d"\\é.dng'


@given(st.text(st.characters(exclude_characters="/\\\0:"), min_size=1).filter(lambda name: name.strip(". ")))
@example(HOSTILE.replace("\\", ""))
def test_hostile_names_come_through_unharmed(name: str) -> None:
    """Escape codes, newlines and bytes that are no text leave one ASCII line, and come back as they were."""
    frame = record(name, pair=name + "x", metadata=Metadata(camera=name, serial=HOSTILE))
    found = read_back(frame_event(frame, Step.THIRD, FOLDER))
    assert (found["file"], found["pair"]) == ((FOLDER / name).name, (FOLDER / (name + "x")).name)
    assert (found["camera"], found["serial"]) == (name, HOSTILE)
    assert read_back(problem_event(Problem(Path(name), HOSTILE, HOSTILE)))["problem"] == HOSTILE


def test_nan_is_refused_rather_than_written() -> None:
    """A line that is no JSON would break every reader."""
    with pytest.raises(ValueError, match="JSON compliant"):
        json_line({"offset_stops": float("nan")})


@pytest.mark.parametrize(
    ("values", "found"),
    [
        (Settings(2.0**-8, 2.0**1.5, 400.0), (0.00390625, 2.8284, 400.0, "1/250", "f/2.8")),
        (Settings(32.0, 2.0**3.5, 100 * 2 ** (1 / 3)), (32.0, 11.3137, 125.99, "30 s", "f/11")),
        (Settings(1 / 16000, 0.95, None), (1 / 16000, 0.95, None, "1/16000", "f/0.95")),
    ],
)
def test_settings_are_exact_and_labelled(values: Settings, found: tuple[object, ...]) -> None:
    """Numbers are the exact dial values, labels those engraved on the dial."""
    assert tuple(settings_object(values, Step.THIRD).values()) == found


def test_no_number_is_minus_zero() -> None:
    """A rounded nothing has no sign."""
    line = json_line(reading_object(reading(-0.00001)))
    assert "-0.0" not in line


def test_the_contract_covers_the_call_record() -> None:
    """A field added to a call must be added to its object, or left out on purpose here."""
    call = make_call(PLAN, SETTINGS, reading(-1.0))
    renamed = {"from_label": "from", "to_label": "to"}
    assert {renamed.get(field.name, field.name) for field in fields(call)} == set(call_object(call))
