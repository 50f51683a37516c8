"""What the table of a session holds, column by column: CSV and JSON are both made of these."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tetherwatch.exposure.dial import label
from tetherwatch.exposure.stops import Setting
from tetherwatch.frame.records import Channel
from tetherwatch.report.records import FrameEntry, SessionRecord
from tetherwatch.session.events import file_name
from tetherwatch.setups.records import Setup

Value = str | float | int | bool | None


@dataclass(frozen=True, slots=True)
class Row:
    """One frame with what it is shown in."""

    frame: FrameEntry
    folder: Path
    setup: Setup | None


@dataclass(frozen=True, slots=True)
class Column:
    """A stable name, what it means, and the value of a row; None where it is not known or there is none."""

    name: str
    meaning: str
    value: Callable[[Row], Value]


def rows(record: SessionRecord) -> list[Row]:
    """The rows of a session's table, in the order of arrival."""
    return [Row(frame, record.folder, record.setup(frame.setup)) for frame in record.frames]


def _clipped(channel: Channel) -> Callable[[Row], Value]:
    return lambda row: _rounded(row.frame.measured.clipped_percent.get(channel))


def _label(setting: Setting) -> Callable[[Row], Value]:
    def value(row: Row) -> Value:
        number = row.frame.metadata.settings.get(setting)
        return None if number is None else label(setting, number, row.frame.plan.step)

    return value


def _predicted(row: Row) -> Value:
    predicted = row.frame.call.predicted
    return None if predicted is None else _rounded(predicted.offset_stops)


def _call_setting(row: Row) -> Value:
    setting = row.frame.call.setting
    return None if setting is None else setting.value


def _landing_error(row: Row) -> Value:
    landing = row.frame.landing
    return None if landing is None else _rounded(landing.error_stops)


def _captured_at(row: Row) -> Value:
    moment = row.frame.metadata.captured_at
    return None if moment is None else moment.isoformat()


def _light_value(row: Row) -> Value:
    return _rounded(row.frame.measured.light_value)


def _aim(row: Row) -> Value:
    measured = row.frame.measured
    return _rounded(measured.level_stops - measured.offset_stops)


def _pair(row: Row) -> Value:
    return None if row.frame.pair is None else file_name(row.frame.pair, row.folder)


def _warnings(row: Row) -> Value:
    return " | ".join(finding.reason for finding in row.frame.findings) or None


def _notes(row: Row) -> Value:
    return " | ".join((*row.frame.notes, *row.frame.measured.notes)) or None


COLUMNS: tuple[Column, ...] = (
    Column("number", "of the frame, from 1 in the order in which it was read", lambda row: row.frame.number),
    Column("file", "inside the watched folder, / between parts", lambda row: file_name(row.frame.path, row.folder)),
    Column("pair", "the other file of a raw and JPEG pair", _pair),
    Column("captured_at", "by the camera's clock, ISO 8601", _captured_at),
    Column("camera", "as the capture names it", lambda row: row.frame.metadata.camera),
    Column("serial", "of the camera", lambda row: row.frame.metadata.serial),
    Column("lens", "as the capture names it", lambda row: row.frame.metadata.lens),
    Column("shutter_s", "exact, in seconds", lambda row: row.frame.metadata.settings.shutter_s),
    Column("shutter", "as engraved on the dial", _label(Setting.SHUTTER)),
    Column("aperture", "exact f-number", lambda row: _rounded(row.frame.metadata.settings.aperture)),
    Column("aperture_label", "as engraved on the dial", _label(Setting.APERTURE)),
    Column("iso", "exact", lambda row: _rounded(row.frame.metadata.settings.iso, 2)),
    Column("iso_label", "as engraved on the dial", _label(Setting.ISO)),
    Column("setup", "number of the lighting setup", lambda row: row.frame.setup),
    Column("setup_name", "as you named it", lambda row: None if row.setup is None else row.setup.name),
    Column("source", "raw: measured; jpeg, preview: estimated", lambda row: row.frame.measured.source),
    Column("area", "what was metered: face, card, box, frame", lambda row: row.frame.measured.area),
    Column(
        "add_stops",
        "exposure to add in the developer to bring the metered area to the aim (negative: take away)",
        lambda row: _rounded(-row.frame.measured.offset_stops),
    ),
    Column(
        "offset_stops",
        "metered area minus aim; negative is too dark",
        lambda row: _rounded(row.frame.measured.offset_stops),
    ),
    Column("uncertainty_stops", "one standard uncertainty", lambda row: _rounded(row.frame.measured.uncertainty_stops)),
    Column("within_tolerance", "of the plan then in force", lambda row: row.frame.inside),
    Column("tolerance_stops", "of that plan", lambda row: row.frame.plan.aim.tolerance_stops),
    Column("aim_stops", "against mid-grey: the plan's, the pinned frame's, or a card's", _aim),
    Column("light_value", "the scene's light at ISO 100, in stops", _light_value),
    Column("headroom_stops", "from the highlights to saturation", lambda r: _rounded(r.frame.measured.headroom_stops)),
    Column("clipped_percent_r", "red of the whole picture at saturation", _clipped("r")),
    Column("clipped_percent_g", "green", _clipped("g")),
    Column("clipped_percent_b", "blue", _clipped("b")),
    Column("clipped_percent_y", "the one channel of a monochrome camera", _clipped("y")),
    Column(
        "area_clipped_percent",
        "the metered area's worst channel",
        lambda row: _rounded(row.frame.measured.area_clipped_percent),
    ),
    Column("crushed_percent", "pixels lost in black", lambda row: _rounded(row.frame.measured.crushed_percent)),
    Column("clipped", "more of the metered area than the plan allows", lambda row: row.frame.clipped),
    Column("odd", "what is odd about the frame: gone, weak, card and so on", lambda row: row.frame.call.odd),
    Column("misfired", "its flash failed it", lambda row: row.frame.misfired),
    Column("soft", "found to be not sharp", lambda row: bool(row.frame.soft)),
    Column("call", "brighter, darker, hold, check, blocked", lambda row: row.frame.call.kind),
    Column("call_setting", "what to move", _call_setting),
    Column("call_from", "where it stood", lambda row: row.frame.call.from_label),
    Column("call_to", "where to move it", lambda row: row.frame.call.to_label),
    Column("call_move_stops", "positive is brighter", lambda row: _rounded(row.frame.call.move_stops)),
    Column("predicted_offset_stops", "of the next frame, if the call is followed", _predicted),
    Column("reason", "of the call", lambda row: row.frame.call.reason),
    Column("landing_error_stops", "measured minus predicted, where this frame followed a call", _landing_error),
    Column("plan", "its shipped name or file", lambda row: row.frame.plan.source),
    Column("warnings", "what was told beside the call", _warnings),
    Column("notes", "about the reading", _notes),
)


def _rounded(value: float | None, digits: int = 4) -> float | None:
    """Rounded for reading; -0.0 becomes 0.0."""
    return None if value is None else round(value, digits) + 0.0
