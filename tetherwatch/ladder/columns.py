"""The columns of a ladder's table, the same in the terminal and on the sheet."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from tetherwatch.exposure.dial import label
from tetherwatch.exposure.stops import Setting
from tetherwatch.ladder.records import Ceiling, Figure, Rung

UNKNOWN = "–"
_DIGITS = 3
_SPREAD_DIGITS = 2
_PERCENT = 100.0
_SAME = 1.001
"""Values of one dial position differ by rounding only."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One figure in words; `spread` is its standard uncertainty, empty if it has none."""

    text: str
    spread: str = ""


@dataclass(frozen=True, slots=True)
class Column:
    """One figure of each rung: heading, unit, what it means in a sentence. `brief`: it belongs in a narrow table."""

    heading: str
    unit: str
    meaning: str
    cell: Callable[[Rung], Cell]
    brief: bool = True


def iso_label(iso: float) -> str:
    """An ISO as engraved on the dial."""
    return label(Setting.ISO, iso)


def is_above(rung: Rung, ceiling: Ceiling | None) -> bool:
    """Whether a rung lies above the ceiling; never without one."""
    return ceiling is not None and rung.iso > ceiling.iso * _SAME


def number(value: float | None, digits: int = _DIGITS) -> str:
    """So many significant digits, never an exponent."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits - 1}e}")
    return f"{rounded:.{max(0, digits - 1 - math.floor(math.log10(abs(rounded))))}f}"


def frame_words(count: int) -> str:
    """ "1 frame", "2 frames"."""
    return f"{count} frame{'' if count == 1 else 's'}"


def _figure(read: Callable[[Rung], Figure | None], factor: float = 1.0) -> Callable[[Rung], Cell]:
    def cell(rung: Rung) -> Cell:
        figure = read(rung)
        if figure is None:
            return Cell(UNKNOWN)
        spread = number(figure.uncertainty * factor, _SPREAD_DIGITS)
        return Cell(number(figure.value * factor), f"±{spread}" if figure.uncertainty else "")

    return cell


def _light(rung: Rung) -> Cell:
    """Against what the settings lead to: a filter counts, and so does what is left."""
    return Cell(f"{round(rung.compensated_stops + rung.mismatch_stops, 2) + 0.0:+.2f}")


COLUMNS = (
    Column("frames", "", "how many frames the figures come from", lambda rung: Cell(str(rung.frames))),
    Column("gain", "DN/e", "codes for each electron (K)", _figure(lambda rung: rung.gain_dn_per_e)),
    Column("read", "e", "noise in the dark, in electrons", _figure(lambda rung: rung.read_noise_e)),
    Column("full", "e", "electrons at which green clips", _figure(lambda rung: rung.saturation_e), brief=False),
    Column("range", "stops", "from clipping down to where signal equals noise",
           _figure(lambda rung: rung.dynamic_range_stops)),
    Column("grey", "S/N", "signal to noise of one pixel at mid-grey", _figure(lambda rung: rung.snr_grey)),
    Column("grey", "seen", "the same at the output size: what the grade is held against",
           _figure(lambda rung: rung.snr_grey_viewing)),
    Column("-3 stops", "S/N", "signal to noise of one pixel 3 stops below mid-grey",
           _figure(lambda rung: rung.snr_shadow), brief=False),
    Column("-3 stops", "seen", "the same at the output size", _figure(lambda rung: rung.snr_shadow_viewing)),
    Column("colour", "S/N", "luminance to noise with colour noise weighted in, one pixel at mid-grey",
           _figure(lambda rung: rung.snr_grey_colour), brief=False),
    Column("rows", "DN", "noise that all pixels of a row share", _figure(lambda rung: rung.row_noise_dn), brief=False),
    Column("columns", "DN", "noise that all pixels of a column share",
           _figure(lambda rung: rung.column_noise_dn), brief=False),
    Column("detail", "%", "fine detail kept, against the lowest rung",
           _figure(lambda rung: rung.detail_kept, _PERCENT)),
    Column("light", "stops", "light measured, against what the settings lead to", _light),
)  # fmt: skip
