"""The plots of a ladder's sheet: signal to noise, dynamic range and detail over ISO, with what is asked drawn in."""

import math
from collections.abc import Callable, Sequence

from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from tetherwatch.ladder.columns import iso_label, number
from tetherwatch.ladder.records import Figure, Ladder, Rung
from tetherwatch.page.plot import INK, LINE, MUTED, SERIES, WARN, axes, plot

Read = Callable[[Rung], Figure | None]

GRADES = {10.0: "first acceptable", 40.0: "first excellent"}
"""Signal to noise of ISO 12232's two grades."""

_MARKS = ("o", "s")
_SNR_TICKS = (1, 2, 5, 10, 20, 40, 80, 160, 320)
_BAND = 0.35
_PERCENT = 100.0


def plots(ladder: Ladder) -> tuple[Markup, ...]:
    """Every plot for which something was measured."""
    wanted: tuple[tuple[Read, Callable[[Ladder], Markup]], ...] = (
        (lambda rung: rung.snr_grey_viewing, snr_plot),
        (lambda rung: rung.dynamic_range_stops, range_plot),
        (lambda rung: rung.detail_kept, detail_plot),
        (lambda rung: rung.read_noise_e, read_plot),
    )
    return tuple(draw(ladder) for read, draw in wanted if any(read(rung) is not None for rung in ladder.rungs))


def snr_plot(ladder: Ladder) -> Markup:
    """Signal to noise at the output size, at mid-grey and 3 stops below."""
    figure, plot_axes = axes("ISO", "signal to noise at the output size")
    plot_axes.set_yscale("log")
    _series(plot_axes, ladder, lambda rung: rung.snr_grey_viewing, 0, "mid-grey")
    _series(plot_axes, ladder, lambda rung: rung.snr_shadow_viewing, 1, "3 stops below")
    for grade, words in GRADES.items():
        if grade not in ladder.grades:
            plot_axes.axhline(grade, color=MUTED, linewidth=0.8, linestyle=":")
            _at_right(plot_axes, grade, f"{grade:g} {words}", MUTED)
    for grade, colour, words in zip(ladder.grades, SERIES, ("grey", "3 stops below"), strict=False):
        plot_axes.axhline(grade, color=colour, linewidth=1.2, linestyle="--")
        _at_right(plot_axes, grade, f"{grade:.3g} asked of {words}", INK)
    plot_axes.yaxis.set_major_locator(FixedLocator(_SNR_TICKS))
    plot_axes.yaxis.set_minor_locator(NullLocator())
    plot_axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    _finish(plot_axes, ladder)
    return plot(figure, "Signal to noise by ISO", _read_out(ladder, lambda rung: rung.snr_grey_viewing, "mid-grey"))


def range_plot(ladder: Ladder) -> Markup:
    """Dynamic range of one pixel."""
    return _from_zero(ladder, lambda rung: rung.dynamic_range_stops, 0, "dynamic range", "stops")


def read_plot(ladder: Ladder) -> Markup:
    """Noise in the dark: where it stops falling, a higher ISO gains nothing but brightness."""
    return _from_zero(ladder, lambda rung: rung.read_noise_e, 3, "read noise", "electrons")


def detail_plot(ladder: Ladder) -> Markup:
    """Fine detail kept, against the lowest rung."""
    figure, plot_axes = axes("ISO", "fine detail kept, %")
    _series(plot_axes, ladder, lambda rung: rung.detail_kept, 2, factor=_PERCENT)
    least = ladder.options.detail_least * _PERCENT
    plot_axes.axhline(least, color=SERIES[2], linewidth=1.2, linestyle="--")
    _at_right(plot_axes, least, f"{least:.0f} % asked", INK)
    plot_axes.set_ylim(0, 112)
    _finish(plot_axes, ladder)
    return plot(figure, "Fine detail by ISO", _read_out(ladder, lambda rung: rung.detail_kept, "kept"))


def _from_zero(ladder: Ladder, read: Read, which: int, name: str, unit: str) -> Markup:
    """One series on a scale that begins at zero."""
    figure, plot_axes = axes("ISO", f"{name}, {unit}")
    _series(plot_axes, ladder, read, which)
    plot_axes.set_ylim(bottom=0)
    _finish(plot_axes, ladder)
    return plot(figure, f"{name.capitalize()} by ISO", _read_out(ladder, read, unit))


def _series(
    plot_axes: Axes,
    ladder: Ladder,
    read: Read,
    which: int,
    words: str = "",
    factor: float = 1.0,
) -> None:
    """A line, named at its start, with a mark and an error bar (two standard uncertainties) for each known figure."""
    known = [(rung.iso, figure) for rung in ladder.rungs if (figure := read(rung)) is not None]
    plot_axes.errorbar(
        [_stops(iso) for iso, _ in known],
        [figure.value * factor for _, figure in known],
        yerr=[2 * figure.uncertainty * factor for _, figure in known],
        color=SERIES[which],
        marker=_MARKS[which % len(_MARKS)],
        markersize=5,
        linewidth=1.6,
        capsize=2,
    )
    if known and words:
        place = (_stops(known[0][0]), known[0][1].value * factor)
        plot_axes.annotate(words, place, (7, 4), textcoords="offset points", fontsize=9, color=SERIES[which])


def _at_right(plot_axes: Axes, height: float, words: str, colour: str) -> None:
    plot_axes.annotate(
        words, (1, height), (-2, 3), xycoords=("axes fraction", "data"), textcoords="offset points",
        ha="right", fontsize=8, color=colour, in_layout=False,
    )  # fmt: skip


def _finish(plot_axes: Axes, ladder: Ladder) -> None:
    """The rungs as ticks, the ceiling as a line with its interval."""
    places = [_stops(rung.iso) for rung in ladder.rungs]
    plot_axes.set_xlim(min(places) - _BAND, max(places) + _BAND)
    every = 1 if len(places) <= 6 else 2
    plot_axes.set_xticks(places[::every], [iso_label(rung.iso) for rung in ladder.rungs[::every]])
    if ladder.ceiling is not None:
        low, high = map(_stops, ladder.ceiling.interval)
        plot_axes.axvspan(low, high, color=LINE, alpha=0.6, linewidth=0, zorder=0)
        plot_axes.axvline(_stops(ladder.ceiling.iso), color=WARN, linewidth=1.6)
        plot_axes.annotate(
            f"ceiling {iso_label(ladder.ceiling.iso)}", (_stops(ladder.ceiling.iso), 1), (-3, -3),
            xycoords=("data", "axes fraction"), textcoords="offset points", rotation=90, ha="right", va="top",
            fontsize=8, color=WARN, in_layout=False,
        )  # fmt: skip


def _read_out(ladder: Ladder, read: Read, words: str) -> str:
    """The plot for those who hear it."""
    known: Sequence[str] = [
        f"ISO {iso_label(rung.iso)}: {number(figure.value)}"
        for rung in ladder.rungs
        if (figure := read(rung)) is not None
    ]
    return f"{words}, " + ", ".join(known) + "."


def _stops(iso: float) -> float:
    return math.log2(iso)
