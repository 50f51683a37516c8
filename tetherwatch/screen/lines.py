"""The dashboard's news as plain lines, for where there is no terminal."""

from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.screen.health import watch_words
from tetherwatch.screen.words import UNKNOWN, move_words, setting_name, signed, source_words, value_words
from tetherwatch.session.records import FrameRecord
from tetherwatch.text import display_name
from tetherwatch.watch.records import Health, Problem


def frame_line(record: FrameRecord) -> str:
    """One frame: number, file, settings, reading with its source, call, reason."""
    reading, call = record.reading, record.call
    measured = f"{signed(reading.offset_stops, 2)} stops ±{reading.uncertainty_stops:.2f} ({source_words(reading)})"
    parts = [
        f"#{record.number} {display_name(record.capture.path.name)}",
        settings_words(record.metadata.settings),
        measured,
        _call_words(record),
        display_name(call.reason, limit=400),
    ]
    return "  ".join(parts)


def problem_line(problem: Problem) -> str:
    """One problem: file, what is wrong, what to do."""
    name = display_name(problem.path.name)
    return f"! {name}: {display_name(problem.problem)}; {display_name(problem.advice)}"


def health_line(health: Health) -> str:
    """The state of the watch."""
    return f"= {display_name(health.folder)}: {watch_words(health)}"


def settings_words(settings: Settings, step: Step = Step.THIRD) -> str:
    """The three settings as the trade writes them; an unknown one is named: "1/250 f/2.8 ISO unknown"."""
    return " ".join(_setting_words(setting, settings.get(setting), step) for setting in CAMERA_SETTINGS)


def _setting_words(setting: Setting, value: float | None, step: Step) -> str:
    words = value_words(setting, value, step)
    return f"{setting_name(setting)} {words}" if setting is Setting.ISO or words == UNKNOWN else words


def _call_words(record: FrameRecord) -> str:
    call = record.call
    words = [call.kind.upper(), move_words(call, "->")]
    if call.setting is not None:
        words.append(f"({signed(call.move_stops)})")
    if float(signed(call.left_stops)):
        words.append(f"{signed(call.left_stops)} left")
    return " ".join(word for word in words if word)
