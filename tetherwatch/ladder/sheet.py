"""The ladder's sheet: one self-contained page with crops at full resolution, plots, the table and what was found."""

from dataclasses import dataclass

import numpy as np

from tetherwatch.exposure.dial import label
from tetherwatch.exposure.stops import Setting
from tetherwatch.ladder.columns import COLUMNS, Cell, is_above, iso_label, number
from tetherwatch.ladder.plots import plots
from tetherwatch.ladder.records import Crop, Ladder, Part, Rung
from tetherwatch.ladder.words import (
    found_words,
    frames_words,
    head_words,
    interval_words,
    output_words,
    rules,
    sentence,
)
from tetherwatch.meter.thumbnail import turned
from tetherwatch.meter.tone import PICTURE_GREY, linear_to_srgb
from tetherwatch.page.picture import Picture, embedded
from tetherwatch.page.render import render

PARTS: dict[Part, str] = {"dark": "Dark part", "bright": "Bright part", "detail": "Fine detail"}


@dataclass(frozen=True, slots=True)
class _Row:
    """A rung as the sheet shows it."""

    iso: str
    settings: str
    above: bool
    cells: tuple[Cell, ...]
    crops: dict[Part, Picture]


def sheet(ladder: Ladder) -> str:
    """The page of a ladder that has rungs."""
    rows = [_row(ladder, rung) for rung in ladder.rungs]
    return render(
        "ladder.html",
        ladder=ladder,
        head=head_words(ladder),
        frames=frames_words(ladder),
        output=output_words(ladder.options.output),
        rules=rules(ladder),
        columns=COLUMNS,
        rows=rows,
        parts={part: words for part, words in PARTS.items() if any(part in row.crops for row in rows)},
        plots=plots(ladder),
        findings=[(finding.kind, found_words(finding)) for finding in ladder.all_findings],
        ceiling=None if ladder.ceiling is None else iso_label(ladder.ceiling.iso),
        interval_words=interval_words,
        number=number,
        sentence=sentence,
    )


def _row(ladder: Ladder, rung: Rung) -> _Row:
    return _Row(
        iso=iso_label(rung.iso),
        settings=_settings(rung),
        above=is_above(rung, ladder.ceiling),
        cells=tuple(column.cell(rung) for column in COLUMNS),
        crops={crop.part: _picture(ladder, rung, crop) for crop in rung.crops},
    )


def _settings(rung: Rung) -> str:
    known = ((setting, rung.settings.get(setting)) for setting in (Setting.SHUTTER, Setting.APERTURE))
    return " ".join(label(setting, value) for setting, value in known if value is not None)


def _picture(ladder: Ladder, rung: Rung, crop: Crop) -> Picture:
    """The crop in the tone that all rungs share: mid-grey at code 118, nothing brightened but what was shot darker."""
    tone = PICTURE_GREY / ladder.options.grey_share * 2.0 ** -_brighter_stops(ladder.rungs[0], rung)
    encoded = linear_to_srgb(turned(crop.light, ladder.orientation).astype(np.float64) * tone)
    alt = f"{PARTS[crop.part]} at ISO {iso_label(rung.iso)}"
    return embedded(np.rint(encoded * 255).astype(np.uint8), alt)


def _brighter_stops(first: Rung, rung: Rung) -> float:
    """How much brighter a rung was exposed than the first: by its settings, and by the light that was measured."""
    ours, first_ones = rung.settings.brightness_stops, first.settings.brightness_stops
    moved = 0.0 if ours is None or first_ones is None else ours - first_ones
    return moved + rung.compensated_stops + rung.mismatch_stops - first.compensated_stops - first.mismatch_stops
