"""The dashboard's news as plain lines, for where there is no terminal."""

from tetherwatch.advise.landing import Landing
from tetherwatch.advise.records import Finding
from tetherwatch.advise.whatif import Tried
from tetherwatch.advise.words import name as setting_name
from tetherwatch.exposure.dial import Step
from tetherwatch.exposure.settings import Settings
from tetherwatch.exposure.stops import CAMERA_SETTINGS, Setting
from tetherwatch.screen.health import watch_words
from tetherwatch.screen.words import (
    CHANNEL_LETTERS,
    UNKNOWN,
    move_words,
    signed,
    source_words,
    tried_offset_words,
    value_words,
)
from tetherwatch.session.records import Entered, FrameRecord, Landed, SessionEvent, Warned
from tetherwatch.text import display_name
from tetherwatch.watch.records import Health, Problem

_NEWS = ("session", "body", "face")
"""Kinds of findings that warn of nothing."""

_INSIDE = {True: "inside the tolerance", False: "outside the tolerance", None: "inside the tolerance or not"}


def news_line(news: SessionEvent) -> str:
    """Any piece of a session's news."""
    if isinstance(news, FrameRecord):
        return frame_line(news)
    if isinstance(news, Landed):
        return landed_line(news.landing)
    if isinstance(news, Warned):
        return finding_line(news.finding)
    if isinstance(news, Entered):
        return entered_line(news)
    return problem_line(news) if isinstance(news, Problem) else health_line(news)


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


def entered_line(news: Entered) -> str:
    """The light is another since this frame, or again an earlier one."""
    setup = news.setup
    light = "" if setup.light_value is None else f", light value {setup.light_value.value:.1f}"
    perhaps = ", perhaps" if setup.state == "provisional" else ""
    return f"    {'back in' if news.returned else 'new light:'} {display_name(setup.label)}{light}{perhaps}"


def problem_line(problem: Problem) -> str:
    """One problem: file, what is wrong, what to do."""
    name = display_name(problem.path.name)
    return f"! {name}: {display_name(problem.problem)}; {display_name(problem.advice)}"


def landed_line(landing: Landing) -> str:
    """What came of a call: what was promised, what came, and how far apart they are."""
    name, promised, came = setting_name(landing.setting), landing.predicted_offset_stops, landing.offset_stops
    return (
        f"    {name} landed at {signed(came, 2)} stops, predicted {signed(promised, 2)}: "
        f"{abs(landing.error_stops):.2f} apart"
    )


def finding_line(finding: Finding) -> str:
    """One warning, or what is known of the session and its body."""
    if finding.kind in _NEWS:
        return f"= {display_name(finding.reason, limit=400)}"
    return f"    warning: {display_name(finding.reason, limit=400)}"


def tried_lines(tried: Tried, step: Step) -> list[str]:
    """The outcome of a what-if: what it would read, then what it would bring with it."""
    moves = ", ".join(_tried_words(tried, setting, step) for setting in tried.moves)
    clipped = " ".join(
        f"{CHANNEL_LETTERS[channel]} {share:.2f}" for channel, share in tried.predicted.clipped_by_channel.items()
    )
    words = [f"try {moves}: {tried_offset_words(tried)}, {_INSIDE[tried.inside]}", f"clipped {clipped} %", *tried.notes]
    if tried.outside:
        words.append(f"outside the plan: {', '.join(map(setting_name, tried.outside))}")
    return [
        f"    {'; '.join(words)}",
        *(f"    then: {display_name(finding.reason, limit=400)}" for finding in tried.hazards),
    ]


def _tried_words(tried: Tried, setting: Setting, step: Step) -> str:
    moved = f"{signed(tried.moves[setting], 2)} stops"
    if setting not in CAMERA_SETTINGS:
        return f"{setting_name(setting)} {moved}"
    return f"{setting_name(setting)} {value_words(setting, tried.settings.get(setting), step)} ({moved})"


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
