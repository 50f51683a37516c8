"""A session's page: one HTML file with everything in it, written as its pictures are read."""

from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from tetherwatch import __version__
from tetherwatch.meter.records import Thumbnail
from tetherwatch.page.picture import Picture, embedded
from tetherwatch.page.render import environment
from tetherwatch.report.charts import clipping_plot, landing_plot, light_plot, offset_plot
from tetherwatch.report.entries import Line, line, problem_line, score_lines, setup_line, why_clipped, why_soft
from tetherwatch.report.files import writing
from tetherwatch.report.records import FrameEntry, SessionRecord
from tetherwatch.report.summary import Summary, words

_AT_ONCE = 64
"""Pieces of the page that are written together."""

_PLACES = {
    "summary": "In words",
    "exposure": "Exposure",
    "light": "Light",
    "setups": "Setups",
    "calls": "Score of the calls",
    "clipping": "Clipping",
    "odd": "Misfires and other odd frames",
    "soft": "Soft frames",
    "problems": "Problems",
    "sheet": "Contact sheet",
    "table": "All frames",
}
"""The sections of the page, by their anchors."""


def write_page(path: Path, record: SessionRecord, summary: Summary, pictures: Iterable[Thumbnail | None]) -> None:
    """Write a session's page; `pictures` are those of its frames, in their order. Raises UsageError.

    Pictures are taken one by one as the page is written: no more than a few are in memory.
    """
    lines = [line(frame, record) for frame in record.frames]
    values = {**_facts(record, summary), **_frames(record, lines), **_plots(record)}
    sheet = zip(lines, map(_picture, lines, pictures), strict=True)
    page = (
        environment()
        .get_template("report.html")
        .stream(version=__version__, places=_places(values), sheet=sheet, **values)
    )
    page.enable_buffering(_AT_ONCE)
    with writing(path, ".html") as file:
        file.writelines(page)


def _facts(record: SessionRecord, summary: Summary) -> dict[str, Any]:
    began = datetime.fromtimestamp(record.began_at).astimezone()
    plans = ", ".join(dict.fromkeys(plan.name for plan in record.plans))
    return {
        "title": record.folder.name or str(record.folder),
        "lead": f"Begun on {began:%Y-%m-%d at %H:%M} (UTC{began:%z}). Plan: {plans or 'none'}.",
        "source": f"Read from the session {record.path.name}.",
        "summary": words(summary),
        "setups": [setup_line(setup, record) for setup in record.setups],
        "calls": score_lines(summary.score),
        "problems": [problem_line(problem, record) for problem in record.problems],
    }


def _frames(record: SessionRecord, lines: list[Line]) -> dict[str, Any]:
    def named(why: Callable[[FrameEntry], str | None]) -> list[tuple[Line, str]]:
        told = ((line, why(frame)) for line, frame in zip(lines, record.frames, strict=True))
        return [(line, words) for line, words in told if words]

    return {
        "table": lines,
        "looks": sum(line.look for line in lines),
        "clipped": named(why_clipped),
        "odd": named(lambda frame: frame.call.reason if frame.odd else None),
        "soft": named(why_soft),
    }


def _plots(record: SessionRecord) -> dict[str, Any]:
    if not record.frames:
        return dict.fromkeys(("exposure", "light", "clipping", "landings"))
    return {
        "exposure": offset_plot(record),
        "light": light_plot(record),
        "clipping": clipping_plot(record),
        "landings": landing_plot(record),
    }


def _places(values: dict[str, Any]) -> list[tuple[str, str]]:
    """The sections that there is something in."""
    there = {**values, "sheet": values["table"]}
    return [(anchor, words) for anchor, words in _PLACES.items() if there[anchor]]


def _picture(line: Line, thumbnail: Thumbnail | None) -> Picture | None:
    if thumbnail is None:
        return None
    rgb = np.frombuffer(thumbnail.rgb, np.uint8).reshape(thumbnail.height, thumbnail.width, 3)
    return embedded(rgb, f"Frame {line.number}, {line.name}", "photo")
