"""Looking back: which frame is shown, the way to others, and all that is known of one."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from rich.text import Text

from tetherwatch.advise.records import Plan
from tetherwatch.advise.softeyes import KIND as SOFT_EYES
from tetherwatch.exposure.dial import Step
from tetherwatch.screen.block import Block, block, fold
from tetherwatch.screen.lines import settings_words
from tetherwatch.screen.outlook import landing_words
from tetherwatch.screen.palette import Palette
from tetherwatch.screen.words import decimal, eye_words, percent, signed, source_words
from tetherwatch.session.records import FrameRecord, SessionView
from tetherwatch.text import display_name

_LABEL = 11


def shown_at(view: SessionView, number: int | None) -> tuple[SessionView, int | None]:
    """The view as of an earlier frame, and how many newer ones there are; the view itself and None as of now.

    A frame that is no longer kept is not gone back to.
    """
    place = _place_of(view.frames, number)
    if place is None:
        return view, None
    return replace(view, frames=view.frames[: place + 1]), len(view.frames) - place - 1


def moved(view: SessionView, number: int | None, forward: bool, only_troubled: bool) -> int | None:
    """The number of the frame next to the one shown; None is the newest, whatever that is.

    With `only_troubled` others are passed over. Where there is none further back, the one shown stays.
    """
    here = _place_of(view.frames, number)
    here = len(view.frames) - 1 if here is None else here
    places = range(here + 1, len(view.frames)) if forward else range(here - 1, -1, -1)
    wanted = (place for place in places if not only_troubled or is_troubled(view.frames[place], view.plan))
    place = next(wanted, None)
    if place is None:
        return None if forward else number
    return None if place == len(view.frames) - 1 else view.frames[place].number


def is_troubled(frame: FrameRecord, plan: Plan) -> bool:
    """Whether a frame wants a look: odd, clipped in its metered area, with soft eyes, or not read as it should be."""
    return (
        frame.call.kind == "check"
        or frame.reading.area_clipped_percent > plan.aim.clip_limit_percent
        or any(finding.kind == SOFT_EYES for finding in frame.findings)
        or bool(frame.notes)
    )


def _place_of(frames: Sequence[FrameRecord], number: int | None) -> int | None:
    return next((place for place, frame in enumerate(frames) if frame.number == number), None)


def detail_sheet(frame: FrameRecord, view: SessionView, palette: Palette, width: int, height: int) -> Block:
    """Everything known of a frame, line by line."""
    title = Text.assemble((f" Frame #{frame.number}", "bold"), ("   any key goes back", palette.quiet))
    lines = [title, Text()] if height > 20 else [title]
    for label, words in _details(frame, view):
        first, *rest = fold(display_name(words, limit=400), width - _LABEL - 3) or ("",)
        lines.append(Text.assemble((f" {label:<{_LABEL}} ", palette.quiet), first))
        lines += [Text(f"{'':{_LABEL + 2}}{line}") for line in rest]
    return block(lines, width, height)


def _details(frame: FrameRecord, view: SessionView) -> Iterator[tuple[str, str]]:
    reading, metadata = frame.reading, frame.metadata
    pair = "" if frame.capture.pair is None else f", with {frame.capture.pair.name}"
    yield "file", f"{frame.capture.path}{pair}"
    yield "taken", "unknown" if metadata.captured_at is None else metadata.captured_at.isoformat(" ", "seconds")
    yield "camera", " · ".join(each for each in (metadata.camera, metadata.serial, metadata.lens) if each) or "unknown"
    yield "settings", _settings(frame, view.plan.step)
    offset = f"{signed(reading.offset_stops, 2)} stops from the aim, give or take {reading.uncertainty_stops:.2f}"
    yield "reading", f"{source_words(reading)}, {reading.area}: {offset}"
    yield "light", "unknown" if reading.light_value is None else f"{decimal(reading.light_value)} at ISO 100"
    clipped = ", ".join(f"{channel.upper()} {percent(part)}" for channel, part in reading.clipped_percent.items())
    yield "clipped", f"{clipped}; in the metered area {percent(reading.area_clipped_percent)}"
    yield "crushed", f"{percent(reading.crushed_percent)}; headroom {decimal(reading.headroom_stops)} stops"
    setup = next((setup for setup in view.setups if setup.number == frame.setup), None)
    if setup is not None:
        yield "setup", setup.label
    if frame.eyes is not None:
        yield "eyes", eye_words(frame.eyes)
    yield "call", f"{frame.call.kind}: {frame.call.reason}"
    if frame.landing is not None:
        yield "landing", landing_words(frame.landing)
    yield from (("told", finding.reason) for finding in frame.findings)
    yield from (("note", note) for note in (*frame.notes, *reading.notes))


def _settings(frame: FrameRecord, step: Step) -> str:
    fired = {True: ", flash fired", False: ", no flash", None: ""}[frame.metadata.flash_fired]
    return f"{settings_words(frame.metadata.settings, step)}{fired}"
