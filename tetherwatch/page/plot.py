"""Plots drawn inside the page: they follow its colours, light or dark, and its type.

Draw with the colours of this module. They are stand-ins: in the finished SVG each becomes the page's own colour of
that role. No global state of matplotlib is used but its text and id settings while a figure is written.
"""

import io
import re
from html import escape
from zlib import crc32

import matplotlib as mpl
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tetherwatch.text import display_name

INK, MUTED, LINE, WARN = "#000000", "#000002", "#000003", "#000004"
SERIES = ("#000011", "#000012", "#000013", "#000014")
"""Colours of lines; use another mark or dash for each as well."""

_ROLES = {INK: "ink", MUTED: "muted", LINE: "line", WARN: "warn"} | {
    colour: f"series-{number}" for number, colour in enumerate(SERIES, 1)
}
_NO_METADATA = dict.fromkeys(("Date", "Creator", "Format", "Type"))
_SIZE_INCHES = (5.4, 3.8)
_POINTS_AN_INCH = 72
_ID = re.compile(r'(\bid="|href="#|url\(#)')


def axes(x_label: str, y_label: str) -> tuple[Figure, Axes]:
    """An empty plot in the page's style, of a size at which text is readable on a phone and beside another plot."""
    figure = Figure(figsize=_SIZE_INCHES, layout="constrained")
    figure.patch.set_alpha(0)
    plot_axes = figure.subplots()
    plot_axes.patch.set_alpha(0)
    plot_axes.set_xlabel(x_label, color=MUTED)
    plot_axes.set_ylabel(y_label, color=MUTED)
    plot_axes.grid(color=LINE, linewidth=0.8)
    plot_axes.set_axisbelow(True)
    plot_axes.tick_params(which="both", color=LINE, labelcolor=INK)
    for side, spine in plot_axes.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(MUTED)
    return figure, plot_axes


def plot(figure: Figure, title: str, description: str) -> Markup:
    """The figure as inline SVG, read out as `title` and `description`. The same figure gives the same text."""
    with mpl.rc_context({"svg.hashsalt": "tetherwatch", "svg.fonttype": "none"}):
        buffer = io.StringIO()
        figure.savefig(buffer, format="svg", metadata=_NO_METADATA)
    drawing = buffer.getvalue()
    body = drawing[drawing.index(">", drawing.index("<svg")) + 1 :]
    key = f"p{crc32(title.encode()):08x}-"
    for colour, role in _ROLES.items():
        body = body.replace(colour, f"var(--{role})")
    body = _ID.sub(rf"\g<1>{key}", body)
    width, height = (round(_POINTS_AN_INCH * float(inches)) for inches in figure.get_size_inches())
    names = "".join(
        f'<{tag} id="{key}{tag}">{escape(display_name(text, 2000))}</{tag}>'
        for tag, text in (("title", title), ("desc", description))
    )
    return Markup(
        f'<svg class="plot" role="img" aria-labelledby="{key}title {key}desc" viewBox="0 0 {width} {height}" '
        f'xmlns:xlink="http://www.w3.org/1999/xlink" preserveAspectRatio="xMidYMid meet">{names}{body}'
    )
