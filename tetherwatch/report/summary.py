"""What a session comes to: figures, and the sentences that tell them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain
from statistics import median

from tetherwatch.advise.landing import Score
from tetherwatch.advise.words import sentence, stops_text
from tetherwatch.report.records import FrameEntry, SessionRecord
from tetherwatch.text import display_name


@dataclass(frozen=True, slots=True)
class Summary:
    """Counts of frames unless the name says otherwise.

    `span_s`: seconds from the first frame to the last, None where that is not known. `median_offset_stops` is that of
    frames that were not odd. `moves`: calls that asked for a move; `score`: those that a later frame could answer.
    `broken_off`: runs of the program that ended unexpectedly. `other_odd`: odd frames whose flash is not to blame.
    """

    frames: int
    span_s: float | None
    cameras: tuple[str, ...]
    setups: int
    inside: int
    median_offset_stops: float | None
    estimated: int
    moves: int
    blocked: int
    score: Score
    misfired: int
    other_odd: int
    clipped: int
    soft: int
    problems: int
    broken_off: int

    @property
    def inside_percent(self) -> float | None:
        """Share of frames within the tolerance; None without frames."""
        return 100.0 * self.inside / self.frames if self.frames else None


def summarise(record: SessionRecord, in_use: bool) -> Summary:
    """The figures of a session; `in_use`: it is being recorded at this moment."""
    frames = record.frames
    sound = [frame.measured.offset_stops for frame in frames if not frame.odd]
    open_runs = sum(run.ended_at is None for run in record.runs)
    return Summary(
        frames=len(frames),
        span_s=span_s(frames),
        cameras=tuple(dict.fromkeys(frame.metadata.camera or "an unknown camera" for frame in frames)),
        setups=len(record.setups),
        inside=_count(frame.inside for frame in frames),
        median_offset_stops=median(sound) if sound else None,
        estimated=_count(frame.measured.source != "raw" for frame in frames),
        moves=_count(frame.call.kind in ("brighter", "darker") for frame in frames),
        blocked=_count(frame.call.kind == "blocked" for frame in frames),
        score=Score(tuple(frame.landing for frame in frames if frame.landing is not None)),
        misfired=_count(frame.misfired for frame in frames),
        other_odd=_count(frame.odd and not frame.misfired for frame in frames),
        clipped=_count(frame.clipped for frame in frames),
        soft=_count(bool(frame.soft) for frame in frames),
        problems=len(record.problems),
        broken_off=max(0, open_runs - in_use),
    )


def span_s(frames: Sequence[FrameEntry]) -> float | None:
    """Seconds from the first frame to the last, by the cameras' clocks if all frames have a time, else by arrival."""
    moments = [frame.metadata.captured_at for frame in frames]
    by_camera = [moment.replace(tzinfo=None) for moment in moments if moment is not None]
    if len(by_camera) == len(frames) > 0:
        return (max(by_camera) - min(by_camera)).total_seconds()
    arrivals = [frame.arrived_at for frame in frames if frame.arrived_at is not None]
    return max(arrivals) - min(arrivals) if arrivals and len(arrivals) == len(frames) else None


def words(summary: Summary) -> tuple[str, ...]:
    """The session in sentences."""
    if not summary.frames:
        return ("No frame was read in this session.", *_wrong(summary))
    return tuple(chain([_shot(summary), _exposed(summary)], _called(summary), _wrong(summary)))


def count_words(count: int, one: str, more: str | None = None) -> str:
    """A count with its noun: "1 frame", "1,200 frames"."""
    return f"{count:,} {one if count == 1 else more or one + 's'}"


def span_words(seconds: float) -> str:
    """A length of time in hours and minutes, or in seconds."""
    whole = round(seconds)
    if whole < 120:
        return f"{whole} s"
    hours, minutes = divmod(round(whole / 60), 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min"


def _shot(summary: Summary) -> str:
    with_ = " and ".join(display_name(camera) for camera in summary.cameras)
    span = f" within {span_words(summary.span_s)}" if summary.span_s is not None else ""
    setups = f" in {count_words(summary.setups, 'setup')}" if summary.setups else ""
    return sentence(f"{count_words(summary.frames, 'frame')}{setups}{span}, with {with_}")


def _exposed(summary: Summary) -> str:
    share = f"{summary.inside:,} of them ({summary.inside_percent:.0f} %) are within the tolerance"
    middle = summary.median_offset_stops
    usual = None if middle is None else f"the middle frame is {_off(middle)}"
    some = "all" if summary.estimated == summary.frames else f"{summary.estimated:,}"
    return sentence(share, usual, f"{some} of the readings are estimates" if summary.estimated else None)


def _called(summary: Summary) -> Iterable[str]:
    if summary.moves:
        yield sentence(f"{count_words(summary.moves, 'call')} asked for a move", *_landed(summary.score))
    else:
        yield "No call asked for a move."
    if summary.blocked:
        yield sentence(f"at {count_words(summary.blocked, 'frame')} the plan had no room left for the move it needed")


def _landed(score: Score) -> Iterable[str]:
    typical, worst = score.median_error_stops, score.worst_error_stops
    if typical is None or worst is None:
        yield "no frame after one can tell how it came out"
        return
    yield f"{score.count:,} can be checked against the frame after: the middle one is {typical:.2f} off its prediction"
    yield f"the worst {stops_text(worst)}"


def _wrong(summary: Summary) -> Iterable[str]:
    told = [
        (summary.misfired, f"{count_words(summary.misfired, 'misfire')}"),
        (summary.other_odd, f"{count_words(summary.other_odd, 'other odd frame')}"),
        (summary.clipped, f"{count_words(summary.clipped, 'frame')} clipped beyond the plan's limit"),
        (summary.soft, f"{count_words(summary.soft, 'frame')} not sharp where it matters"),
        (summary.problems, f"{count_words(summary.problems, 'problem')} with captures or the folder"),
        (summary.broken_off, f"{count_words(summary.broken_off, 'run')} of the program that ended unexpectedly"),
    ]
    wrong = [words for count, words in told if count]
    yield sentence(f"what went wrong: {', '.join(wrong)}") if wrong else "Nothing went wrong."


def _off(stops: float) -> str:
    if abs(stops) < 0.005:
        return "right on the aim"
    return f"{stops_text(abs(stops))} too {'dark' if stops < 0 else 'bright'}"


def _count(which: Iterable[bool]) -> int:
    return sum(which)
