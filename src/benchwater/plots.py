"""The house style of plots: what an analysis calls to draw, so that every figure looks like the report.

Nothing here touches matplotlib's global settings, and matplotlib is imported only when something is
drawn. Values are drawn as given: convert to the bench's units first, and name the unit on the axis.
A series is a number from 0; it sets colour, dashes and marker together, so that none rests on colour.
"""

import io
import re
import warnings
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

from benchwater.render.fonts import FACES, FAMILY

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Values: TypeAlias = Any
"""A list, an array or a column of a data frame, of numbers or (across) of dates."""

PALETTE = ("#0f4c5c", "#e0481f", "#3a97c9", "#5d2981", "#62a035", "#cc3a8a")
DASHES: tuple[Any, ...] = (
    "solid",
    (0, (5, 1.6)),
    (0, (1.2, 1.2)),
    (0, (7, 1.6, 1.4, 1.6)),
    (0, (3, 1, 1, 1, 1, 1)),
    (0, (9, 2.4)),
)
MARKERS = ("o", "s", "^", "D", "v", "P")
INK = "#1c2b30"
QUIET = "#5b6b70"
RULE = "#dbe2e3"

_TEXT_SIZE = 7.6
_FAMILIES = [FAMILY, "DejaVu Sans"]
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_COMMENT = re.compile("<!--.*?-->\n?", re.DOTALL)
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def new_figure(width_mm: float = 170, height_mm: float = 70) -> tuple["Figure", "Axes"]:
    """A figure with one plot in the house style. The page is 170 mm wide between its margins."""
    from cycler import cycler
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4), layout="constrained", facecolor="white")
    axes = figure.add_subplot()
    axes.set_prop_cycle(cycler(color=PALETTE, linestyle=DASHES))
    axes.set_facecolor("white")
    axes.set_axisbelow(True)
    axes.margins(x=0.02)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set(color=QUIET, linewidth=0.6)
    axes.grid(True, axis="y", color=RULE, linewidth=0.6, linestyle="solid")
    axes.tick_params(
        which="both",
        color=QUIET,
        labelcolor=INK,
        labelsize=_TEXT_SIZE,
        length=3,
        width=0.6,
        labelfontfamily=FAMILY,
    )
    for axis in (axes.xaxis, axes.yaxis):
        axis.label.set(size=_TEXT_SIZE, color=INK)
    return figure, axes


def line(ax: "Axes", x: Values, y: Values, *, series: int = 0, label: str = "") -> None:
    """A curve."""
    ax.plot(x, y, color=_colour(series), linestyle=_dashes(series), linewidth=1.5, label=_label(label))


def steps(
    ax: "Axes",
    x: Values,
    y: Values,
    *,
    low: Values | None = None,
    high: Values | None = None,
    series: int = 0,
    label: str = "",
) -> None:
    """A curve that holds each value until the next `x`, such as survival, with its band where given."""
    if low is not None and high is not None:
        _fill(ax, x, low, high, series, step="post")
    ax.plot(
        x,
        y,
        color=_colour(series),
        linestyle=_dashes(series),
        linewidth=1.5,
        drawstyle="steps-post",
        label=_label(label),
    )


def band(ax: "Axes", x: Values, low: Values, high: Values, *, series: int = 0) -> None:
    """The interval about a curve, as a light band."""
    _fill(ax, x, low, high, series, step=None)


def interval_points(
    ax: "Axes",
    x: Values,
    value: Values,
    low: Values,
    high: Values,
    *,
    series: int = 0,
    label: str = "",
    horizontal: bool = False,
) -> None:
    """Points with their intervals; `horizontal` turns values to the right, one row for each `x`."""
    colour = _colour(series)
    if horizontal:
        ax.hlines(x, low, high, color=colour, linewidth=1.3)
        ax.grid(False, axis="y")
        ax.grid(True, axis="x", color=RULE, linewidth=0.6, linestyle="solid")
    else:
        ax.vlines(x, low, high, color=colour, linewidth=1.3)
    across, up = (value, x) if horizontal else (x, value)
    ax.plot(
        across,
        up,
        linestyle="none",
        marker=MARKERS[series % len(MARKERS)],
        markersize=5,
        markerfacecolor=colour,
        markeredgecolor="white",
        markeredgewidth=0.7,
        label=_label(label),
    )


def points(ax: "Axes", x: Values, y: Values, *, series: int = 0, label: str = "") -> None:
    """Plain observations, as open marks."""
    ax.plot(
        x,
        y,
        linestyle="none",
        marker=MARKERS[series % len(MARKERS)],
        markersize=4.2,
        markerfacecolor="white",
        markeredgecolor=_colour(series),
        markeredgewidth=0.9,
        label=_label(label),
    )


def bars(ax: "Axes", names: Sequence[str], values: Values, *, series: int = 0, label: str = "") -> None:
    """One horizontal bar a name, the first on top."""
    places = range(len(names))
    ax.barh(places, values, height=0.62, color=_colour(series), label=_label(label))
    named_rows(ax, names)
    ax.grid(False, axis="y")
    ax.grid(True, axis="x", color=RULE, linewidth=0.6, linestyle="solid")


def named_rows(ax: "Axes", names: Sequence[str]) -> None:
    """Names instead of numbers up the side, the first (row 0) on top."""
    ax.set_yticks(range(len(names)), labels=list(names))
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.tick_params(axis="y", length=0)


def reference_line(ax: "Axes", text: str, *, x: Any = None, y: Any = None) -> None:
    """A target or limit, named where it is drawn."""
    from matplotlib.transforms import offset_copy

    style: dict[str, Any] = {"color": INK, "linewidth": 0.9, "linestyle": (0, (4, 3))}
    if y is not None:
        ax.axhline(y, **style)
        above = offset_copy(ax.get_yaxis_transform(), ax.get_figure(root=True), y=2, units="points")
        ax.text(1, y, text, transform=above, ha="right", va="bottom", color=INK, **_note_style())
    if x is not None:
        ax.axvline(x, **style)
        _note_at_top(ax, x, text, INK)


def window(ax: "Axes", start: Any, end: Any, text: str = "") -> None:
    """A stretch of the horizontal axis set off from the rest, such as a working window."""
    ax.axvspan(start, end, facecolor="#eaf1f0", edgecolor="none", zorder=0)
    if text:
        _note_at_top(ax, start, text, QUIET)


def legend(ax: "Axes") -> None:
    """Names of the labelled series, in one row above the plot."""
    count = len(ax.get_legend_handles_labels()[1])
    if count:
        ax.legend(
            loc="lower left",
            bbox_to_anchor=(0, 1.0),
            ncols=min(count, 4),
            frameon=False,
            fontsize=_TEXT_SIZE,
            labelcolor=INK,
            handlelength=2.8,
            columnspacing=1.6,
            borderaxespad=0.2,
        )


def date_axis(ax: "Axes") -> None:
    """Days along the bottom as `3 May`, whatever the locale."""
    from matplotlib.dates import AutoDateLocator, num2date

    def day(value: float, _position: float | None = None) -> str:
        when = num2date(value)  # type: ignore[no-untyped-call]
        return f"{when.day} {_MONTHS[when.month - 1]}"

    ax.xaxis.set_major_locator(AutoDateLocator(minticks=3, maxticks=9))  # type: ignore[no-untyped-call]
    ax.xaxis.set_major_formatter(day)


def to_svg(figure: "Figure") -> str:
    """The figure as SVG: the same bytes every time, letters as outlines, nothing in it but the drawing.

    Text is drawn as written: a dollar sign starts no formula.
    """
    import matplotlib

    _offer_typeface()
    fixed: Any = {"svg.hashsalt": "benchwater", "svg.fonttype": "path", "svg.id": None, "path.simplify": True}
    with matplotlib.rc_context(fixed), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        _settle_text(figure)
        figure.draw_without_rendering()
        _settle_text(figure)
        drawn = io.StringIO()
        nothing = dict.fromkeys(("Creator", "Date", "Format", "Type"))
        figure.savefig(drawn, format="svg", metadata=nothing, dpi=72)
    svg = drawn.getvalue()
    return _NOT_XML.sub("", _COMMENT.sub("", svg[svg.index("<svg") :]))


def _colour(series: int) -> str:
    return PALETTE[series % len(PALETTE)]


def _dashes(series: int) -> Any:
    return DASHES[series % len(DASHES)]


def _label(text: str) -> str:
    return text or "_nolegend_"


def _fill(ax: "Axes", x: Any, low: Any, high: Any, series: int, step: Any) -> None:
    ax.fill_between(x, low, high, step=step, color=_colour(series), alpha=0.15, linewidth=0)


def _note_at_top(ax: "Axes", x: Any, text: str, colour: str) -> None:
    from matplotlib.transforms import offset_copy

    inside = offset_copy(ax.get_xaxis_transform(), ax.get_figure(root=True), x=3, y=-2, units="points")
    ax.text(x, 1, text, transform=inside, ha="left", va="top", color=colour, **_note_style())


def _note_style() -> dict[str, Any]:
    """Small type with a white edge, legible where it crosses a curve."""
    from matplotlib.patheffects import withStroke

    return {"fontsize": _TEXT_SIZE - 0.6, "path_effects": [withStroke(linewidth=2.2, foreground="white")]}


def _settle_text(figure: "Figure") -> None:
    from matplotlib.text import Text

    for text in figure.findobj(Text):
        if isinstance(text, Text):
            text.set_parse_math(False)
            text.set_fontfamily(_FAMILIES)


def _offer_typeface() -> None:
    """Tell matplotlib of our font files under a name no installed font has."""
    from matplotlib.font_manager import FontEntry, fontManager

    known = {entry.fname for entry in fontManager.ttflist}
    for face in FACES:
        if str(face.path) not in known:
            fontManager.ttflist.append(
                FontEntry(
                    fname=str(face.path),
                    name=FAMILY,
                    style=face.style,
                    variant="normal",
                    weight=face.weight,
                    stretch="normal",
                    size="scalable",
                )
            )
