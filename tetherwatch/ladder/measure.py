"""The one entry: captures of a ladder become its figures and its ceiling."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from tetherwatch.frame.faults import CaptureError, Fault
from tetherwatch.frame.load import open_frame
from tetherwatch.frame.metadata import read_metadata
from tetherwatch.frame.names import is_raw_name
from tetherwatch.frame.records import Frame, Metadata
from tetherwatch.ladder.ceiling import find_ceiling, grades
from tetherwatch.ladder.checks import Seen, check_all, check_rung
from tetherwatch.ladder.figures import raw_rungs
from tetherwatch.ladder.grouping import Group, Refusal, Shot, check_count, group_shots
from tetherwatch.ladder.look import Look, Places, look_at
from tetherwatch.ladder.processed import processed_rungs
from tetherwatch.ladder.records import Ceiling, Finding, Ladder, Options

Progress = Callable[[int, int], None]
"""Called with the number of rungs done and of all rungs."""


def measure_ladder(paths: Sequence[Path], options: Options, progress: Progress | None = None) -> Ladder:
    """Measure the captures of a ladder, in any order; where there are raws, finished pictures are passed over.

    Each file is opened read-only and unpacked once; at most the two frames of one rung are in memory. What cannot be
    measured is said in the result, never raised. Raises UsageError only for an ISO to accept that lies outside the
    rungs.
    """
    shots = _shots(paths)
    found: list[Finding] = []
    seen: list[Seen] = []
    try:
        groups = group_shots(shots, found)
        seen = _see(groups, options, found, progress or (lambda done, of: None))
        return _measured(seen, options, found)
    except Refusal as refusal:
        return _refused(shots, seen, options, found, refusal.finding)


def _shots(paths: Sequence[Path]) -> list[Shot]:
    """The raws if there are any, else all, with their metadata, in the order taken."""
    raws = [path for path in paths if is_raw_name(path.name)]
    shots = [(path, read_metadata(path)) for path in raws or paths]
    return sorted(shots, key=_taken)


def _taken(shot: Shot) -> tuple[bool, str, str]:
    moment = shot[1].captured_at
    return moment is None, moment.isoformat() if moment else "", shot[0].name


def _see(groups: Sequence[Group], options: Options, found: list[Finding], progress: Progress) -> list[Seen]:
    """Every rung that can be read, seen and checked."""
    looks: list[tuple[Group, Look]] = []
    for index, group in enumerate(groups):
        places = looks[0][1].places if looks else None
        looks += _look(group, options, places, found)
        progress(index + 1, len(groups))
    check_count(len(looks))
    found += check_all([look for _, look in looks])
    lowest = looks[0]
    return [Seen(group, look, check_rung(group, look, *lowest)) for group, look in looks]


def _look(group: Group, options: Options, places: Places | None, found: list[Finding]) -> Iterator[tuple[Group, Look]]:
    """One rung with the frames of it that can be read; nothing if there are none."""
    with ExitStack() as stack:
        frames, files = [], []
        for path in group.files:
            frame = _opened(path, stack, found)
            if frame is not None:
                frames.append(frame)
                files.append(path)
        if frames:
            yield replace(group, files=tuple(files)), look_at(frames, options.grey_share, places)


def _opened(path: Path, stack: ExitStack, found: list[Finding]) -> Frame | None:
    try:
        frame = stack.enter_context(open_frame(path))
    except CaptureError as error:
        found.append(_unreadable(path, error.fault))
        return None
    if frame.source == "preview":
        found.append(_unreadable(path, frame.fault or Fault.CUT_SHORT))
        return None
    return frame


def _unreadable(path: Path, fault: Fault) -> Finding:
    return Finding("unreadable", f"{path.name} was left out: {fault.problem}", file=path, refuses=True)


def _measured(seen: Sequence[Seen], options: Options, found: list[Finding]) -> Ladder:
    kept = [one for one in seen if not one.checked.refused]
    found += [finding for one in seen if one.checked.refused for finding in one.checked.findings]
    check_count(len(kept))
    rungs = (raw_rungs if kept[0].look.source == "raw" else processed_rungs)(kept, options)
    ceiling = find_ceiling(rungs, options)
    ladder = replace(_empty(kept[0].group.metadata, kept, options), rungs=rungs, warnings=tuple(found))
    if isinstance(ceiling, Ceiling):
        return replace(ladder, ceiling=ceiling)
    return replace(ladder, refused=(ceiling,))


def _refused(
    shots: Sequence[Shot], seen: Sequence[Seen], options: Options, found: Sequence[Finding], finding: Finding
) -> Ladder:
    metadata = shots[0][1] if shots else Metadata()
    return replace(_empty(metadata, seen, options), warnings=tuple(found), refused=(finding,))


def _empty(metadata: Metadata, seen: Sequence[Seen], options: Options) -> Ladder:
    """A ladder with all that is known but its figures."""
    look = seen[0].look if seen else None
    return Ladder(
        rungs=(),
        ceiling=None,
        camera=metadata.camera,
        serial=metadata.serial,
        source=look.source if look else "raw",
        width=look.width if look else 0,
        height=look.height if look else 0,
        orientation=metadata.orientation,
        captured_at=metadata.captured_at,
        options=options,
        grades=grades(options),
        boxes=look.places.crops if look else {},
    )
