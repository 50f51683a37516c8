"""What is told beside the call: findings about this frame, the last problem, and notes; the most important first."""

from collections.abc import Iterable, Iterator
from itertools import chain

from rich.text import Text

from tetherwatch.advise.records import Finding
from tetherwatch.screen.block import fit, fold, spread
from tetherwatch.screen.palette import Palette
from tetherwatch.session.records import SessionView
from tetherwatch.text import display_name

_IMPORTANCE = (
    "eyes",
    "light",
    "return",
    "program",
    "sync",
    "movement",
    "hand-hold",
    "flicker",
    "lever",
    "ceiling",
    "extended",
    "diffraction",
)
_SIGN = "!"


def told_rows(view: SessionView, width: int) -> int:
    """Rows that findings and the last problem take in full; notes can wait."""
    return sum(len(_folded(finding, width)) for finding in _findings(view)) + bool(view.problems)


def pressing_rows(view: SessionView) -> int:
    """Rows without which a finding would hide the last problem, or a window both."""
    return bool(_findings(view)) + bool(view.problems)


def told_lines(view: SessionView, palette: Palette, width: int, height: int) -> list[Text]:
    """At most `height` lines. Where findings do not fit, the last one shown tells how many more there are."""
    problem = [_problem(view, palette)] if view.problems else []
    rows = height - len(problem) if height > 1 else height
    found = _shown(_findings(view), palette, width, rows)
    return [*found, *problem, *_notes(view, palette, width)][:height]


def by_importance(findings: Iterable[Finding]) -> list[Finding]:
    """Findings with the most important one first; a kind that is not known comes last."""
    ranks = {kind: rank for rank, kind in enumerate(_IMPORTANCE)}
    return sorted(findings, key=lambda finding: ranks.get(finding.kind, len(ranks)))


def finding_text(finding: Finding, palette: Palette, width: int) -> list[Text]:
    """One finding: a sign, its kind, and its reason, broken to `width`."""
    first, *rest = _folded(finding, width)
    cut = len(_head(finding))
    head = Text.assemble((first[:cut], f"bold {palette.attention}"), first[cut:])
    return [head, *map(Text, rest)]


def _findings(view: SessionView) -> list[Finding]:
    return by_importance(chain.from_iterable(frame.findings for frame in view.frames[-1:]))


def _head(finding: Finding) -> str:
    return f" {_SIGN} {display_name(finding.kind)}:"


def _folded(finding: Finding, width: int) -> list[str]:
    head = _head(finding)
    first, *rest = fold(f"{head[1:]} {display_name(finding.reason, limit=400)}", width - 2)
    return [f" {first}", *(f"   {line}" for line in fold(" ".join(rest), width - 3))]


def _shown(findings: list[Finding], palette: Palette, width: int, height: int) -> list[Text]:
    lines: list[Text] = []
    waiting = list(findings)
    while waiting and len(lines) < height:
        lines += _at_most(finding_text(waiting.pop(0), palette, width), height - len(lines), width)
    if waiting and lines:
        lines[-1] = spread(lines[-1], Text(f"+{len(waiting)} more ", palette.quiet), width)
    return lines


def _at_most(lines: list[Text], rows: int, width: int) -> list[Text]:
    """The lines of a sentence, the last that there is a row for running on until it is cut."""
    if len(lines) <= rows:
        return lines
    return [*lines[: rows - 1], fit(Text.assemble(lines[rows - 1], " ", lines[rows].plain.strip()), width)]


def _problem(view: SessionView, palette: Palette) -> Text:
    last = view.problems[-1]
    return Text.assemble(
        (f" ! {display_name(last.path.name, limit=40)}: {display_name(last.problem)}", f"bold {palette.attention}"),
        f"; {display_name(last.advice)}",
    )


def _notes(view: SessionView, palette: Palette, width: int) -> Iterator[Text]:
    frame = view.frames[-1:]
    sentences = [note for record in frame for note in (*record.notes, *record.reading.notes)]
    for sentence in dict.fromkeys((*sentences, *view.plan.notes)):
        for line in fold(f"note: {display_name(sentence)}", width - 2):
            yield Text(f" {line}", palette.quiet)
