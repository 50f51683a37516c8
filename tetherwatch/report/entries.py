"""Each frame, setup and score as the page words it."""

from dataclasses import dataclass

from tetherwatch.advise.landing import Score
from tetherwatch.advise.words import name as setting_name
from tetherwatch.report.records import FrameEntry, ProblemEntry, SessionRecord
from tetherwatch.screen.lines import settings_words
from tetherwatch.screen.words import GLYPHS, UNKNOWN, decimal, move_words, percent_number, signed
from tetherwatch.session.events import file_name
from tetherwatch.setups.records import Drift, Setup


@dataclass(frozen=True, slots=True)
class Line:
    """One frame in words. `look`: a person should look at it."""

    number: int
    name: str
    taken: str
    settings: str
    setup: str
    offset: str
    estimated: str
    light: str
    clipped: str
    sign: str
    call: str
    landed: str
    flags: str
    remarks: str
    look: bool


def line(frame: FrameEntry, record: SessionRecord) -> Line:
    """A frame in words."""
    measured, setup = frame.measured, record.setup(frame.setup)
    moment = frame.metadata.captured_at
    return Line(
        number=frame.number,
        name=file_name(frame.path, record.folder),
        taken=UNKNOWN if moment is None else moment.replace(tzinfo=None).isoformat(" ", "seconds"),
        settings=settings_words(frame.metadata.settings, frame.plan.step),
        setup="" if setup is None else setup.label,
        offset=signed(measured.offset_stops, 2),
        estimated="" if measured.source == "raw" else "~",
        light=UNKNOWN if measured.light_value is None else decimal(measured.light_value, 2),
        clipped=percent_number(measured.worst_clipped_percent),
        sign=GLYPHS[frame.call.kind],
        call=f"{frame.call.kind} {move_words(frame.call, '→')}".strip(),
        landed="" if frame.landing is None else signed(frame.landing.error_stops, 2),
        flags=", ".join(_flags(frame)),
        remarks=" ".join(_remarks(frame)),
        look=frame.wants_a_look,
    )


def _flags(frame: FrameEntry) -> list[str]:
    """What is wrong with a frame, in a word each."""
    flags = [
        ("misfire", frame.misfired),
        ("odd", frame.odd and not frame.misfired),
        ("clipped", frame.clipped),
        ("soft", bool(frame.soft)),
    ]
    return [flag for flag, so in flags if so]


def _remarks(frame: FrameEntry) -> list[str]:
    odd = [frame.call.reason] if frame.odd else []
    told = (*(finding.reason for finding in frame.findings), *frame.notes, *frame.measured.notes)
    return odd + [f"{text[:1].upper()}{text[1:].removesuffix('.')}." for text in dict.fromkeys(told) if text]


@dataclass(frozen=True, slots=True)
class SetupLine:
    """One setup in words."""

    label: str
    frames: int
    first_last: str
    light: str
    settings: str
    inside: str
    drift: str
    pinned: str


def setup_line(setup: Setup, record: SessionRecord) -> SetupLine:
    """A setup in words."""
    frames = [frame for frame in record.frames if frame.setup == setup.number]
    pins = [f"#{pin.frame}" for pin in record.pins if pin.setup == setup.number]
    light, drift = setup.light_value, setup.drift
    return SetupLine(
        label=setup.label,
        frames=setup.frame_count,
        first_last=f"#{setup.first_frame}, #{setup.last_frame}",
        light=UNKNOWN if light is None else f"{decimal(light.value, 2)} ±{light.uncertainty:.2f}",
        settings=settings_words(setup.settings, frames[-1].plan.step) if frames else settings_words(setup.settings),
        inside=f"{sum(frame.inside for frame in frames)} of {len(frames)}",
        drift="" if drift is None else _drift_words(drift),
        pinned=", ".join(pins),
    )


def _drift_words(drift: Drift) -> str:
    low, high = drift.interval
    return f"{signed(drift.slope, 2)} stops in 10 minutes ({signed(low, 2)} to {signed(high, 2)})"


@dataclass(frozen=True, slots=True)
class ScoreLine:
    """How the calls for one setting came out, in words."""

    name: str
    count: int
    middle: str
    worst: str


def score_lines(score: Score) -> list[ScoreLine]:
    """The score of each setting that was called."""
    settings = dict.fromkeys(landing.setting for landing in score.landings)
    return [_score_line(setting_name(setting), score.of(setting)) for setting in settings]


def _score_line(name: str, score: Score) -> ScoreLine:
    return ScoreLine(name, score.count, f"{score.median_error_stops:.2f}", f"{score.worst_error_stops:.2f}")


@dataclass(frozen=True, slots=True)
class ProblemLine:
    """One problem in words."""

    name: str
    problem: str
    advice: str


def problem_line(problem: ProblemEntry, record: SessionRecord) -> ProblemLine:
    """A problem in words."""
    return ProblemLine(file_name(problem.path, record.folder), problem.problem, problem.advice)


def why_clipped(frame: FrameEntry) -> str | None:
    """How much of a frame is clipped, if that is too much."""
    if not frame.clipped:
        return None
    limit = frame.plan.aim.clip_limit_percent
    return f"{percent_number(frame.measured.area_clipped_percent)} % of the metered area (limit {limit:g} %)"


def why_soft(frame: FrameEntry) -> str | None:
    """What says that a frame is not sharp, if anything does."""
    return "; ".join(finding.reason for finding in frame.soft) or None
