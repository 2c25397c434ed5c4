"""The house style of plots: what an analysis calls to draw, so that every figure looks like the report.

Nothing here touches matplotlib's global settings, and matplotlib is imported only when something is
drawn. Values are drawn as given: convert to the bench's units first, and name the unit on the axis.
A series is a number from 0; it sets colour, dashes and marker together, so that none rests on colour.
"""

import io
import itertools
import re
import warnings
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, TypeAlias

from benchwater.render.fonts import FACES, FAMILY
from benchwater.render.small_plots import HALF_MM as HALF_MM

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.path import Path

Values: TypeAlias = Any
"""A list, an array or a column of a data frame, of numbers or (across) of dates."""

FULL_MM = 170.0
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
STACK = (0, 1, 3, 2, 5, 4)
"""The order in which parts of a whole take the palette: neighbours are told apart in grey."""
INK = "#1c2b30"
QUIET = "#5b6b70"
RULE = "#dbe2e3"
_TEXT_SIZE = 7.6
_LONGEST_NAME, _LONGEST_KEY = 34, 52
_FAMILIES = [FAMILY, "DejaVu Sans"]
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_COMMENT = re.compile("<!--.*?-->\n?", re.DOTALL)
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class Flow(NamedTuple):
    """One stream of a flow diagram: its name with its amount in words, the amount, and whether it is odd."""

    name: str
    amount: float
    odd: bool = False


def new_figure(width_mm: float = FULL_MM, height_mm: float = 70) -> tuple["Figure", "Axes"]:
    """A figure with one plot in the house style.

    The page is `FULL_MM` wide between its margins; two figures of `HALF_MM` in a row stand side by side.
    """
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


def stacked(
    ax: "Axes",
    x: Values,
    parts: Sequence[Values],
    names: Sequence[str],
    *,
    step: bool = False,
    rest: str = "",
) -> None:
    """Shares of a whole on top of each other, the first at the bottom, each named at its right end.

    `step` holds each value until the next `x`; `rest` names what is left up to 1. Neighbours differ in
    lightness, so that grey print tells them
    apart, and a white line parts them.
    """
    import numpy as np

    below = np.zeros(len(x))
    ends = []
    for place, (part, name) in enumerate(zip(parts, names, strict=True)):
        top = below + np.asarray(part, dtype=np.float64)
        colour = PALETTE[STACK[place % len(STACK)]]
        ax.fill_between(
            x,
            below,
            top,
            step="post" if step else None,
            facecolor=colour,
            edgecolor="white",
            linewidth=0.7,
        )
        ends.append((float(below[-1] + top[-1]) / 2, name))
        below = top
    if rest:
        ends.append((float(below[-1] + 1) / 2, rest))
        ax.set_ylim(0, 1)
    name_ends(ax, x[-1], ends)


def name_ends(ax: "Axes", x: Any, ends: Sequence[tuple[float, str]], *, room: float = 0.075) -> None:
    """Names to the right of a plot at these heights, pushed apart where they would lie on each other.

    `room` is the least distance, as a share of the height. Call it when the vertical limits are set.
    """
    bottom, top = ax.get_ylim()
    gap = room * (top - bottom)
    places: list[list[Any]] = [[height, name] for height, name in sorted(ends, key=lambda end: end[0])]
    for before, after in itertools.pairwise(places):
        after[0] = max(after[0], before[0] + gap)
    overshoot = places[-1][0] - max(top, ends[-1][0]) if places else 0.0
    if overshoot > 0:
        places[-1][0] -= overshoot
        for after, before in itertools.pairwise(reversed(places)):
            before[0] = min(before[0], after[0] - gap)
    for height, name in places:
        beside(ax, name, x, height)


def beside(
    ax: "Axes",
    text: str,
    x: Any,
    y: float,
    *,
    points: tuple[float, float] = (4.0, 0.0),
    side: Literal["left", "center", "right"] = "left",
) -> None:
    """A name set off from a place by so many points: what a legend would say, where it is drawn."""
    ax.annotate(
        "\n".join(_short(line) for line in text.split("\n")),
        (x, y),
        xytext=points,
        textcoords="offset points",
        ha=side,
        va="center",
        color=INK,
        annotation_clip=False,
        **_note_style(),
    )


def flow(ax: "Axes", into: Sequence[Flow], out: Sequence[Flow], middle: str) -> None:
    """A flow diagram: what came in on the left, through the middle, to what became of it on the right.

    Each `Flow` is as high as its amount; those of 0 or less are left out. What is `odd` stands out.
    """
    from matplotlib.patches import PathPatch, Rectangle

    sides = [[each for each in side if each.amount > 0] for side in (into, out)]
    totals = [sum(each.amount for each in side) for side in sides]
    whole = max(*totals, 1e-12)
    wide, gap = 0.035, 0.06 * whole
    ax.set_axis_off()
    ax.add_patch(Rectangle((0.5 - wide / 2, 0), wide, whole, facecolor=PALETTE[0], linewidth=0))
    ax.text(0.5, whole + 0.35 * gap, middle, ha="center", va="bottom", color=INK, **_note_style())
    tallest = whole
    for flows, total, left in zip(sides, totals, (True, False), strict=True):
        height = total + gap * max(0, len(flows) - 1)
        tallest = max(tallest, height)
        outer, inner = (whole + height) / 2, whole - (whole - total) / 2
        for each in flows:
            colour = PALETTE[1] if each.odd else PALETTE[2]
            ends = (
                ((wide, outer), (0.5 - wide / 2, inner))
                if left
                else ((0.5 + wide / 2, inner), (1 - wide, outer))
            )
            ax.add_patch(PathPatch(_ribbon(*ends, each.amount), facecolor=colour, alpha=0.3, linewidth=0))
            place = 0.0 if left else 1 - wide
            ax.add_patch(
                Rectangle((place, outer - each.amount), wide, each.amount, facecolor=colour, linewidth=0)
            )
            x, points = (0.0, -4.0) if left else (1.0, 4.0)
            side: Literal["left", "right"] = "right" if left else "left"
            beside(ax, each.name, x, outer - each.amount / 2, points=(points, 0.0), side=side)
            outer -= each.amount + gap
            inner -= each.amount
    ax.set_xlim(0, 1)
    ax.set_ylim((whole - tallest) / 2 - gap / 2, (whole + tallest) / 2 + 1.6 * gap)


def _ribbon(start: tuple[float, float], end: tuple[float, float], thick: float) -> "Path":
    """A band from the left to the right place, both given by their upper edge."""
    from matplotlib.path import Path

    (left, high), (right, other) = start, end
    half = (left + right) / 2
    corners = [
        *((left, high), (half, high), (half, other), (right, other)),
        (right, other - thick),
        *((half, other - thick), (half, high - thick), (left, high - thick)),
        (left, high),
    ]
    curve = Path.CURVE4
    codes = [Path.MOVETO, *(curve,) * 3, Path.LINETO, *(curve,) * 3, Path.CLOSEPOLY]
    return Path(corners, codes)


def named_rows(ax: "Axes", names: Sequence[str]) -> None:
    """Names instead of numbers up the side, the first (row 0) on top."""
    ax.set_yticks(range(len(names)), labels=[_short(name) for name in names])
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
    """Names of the labelled series above the plot, in one row where they fit."""
    drawn, labels = ax.get_legend_handles_labels()
    handles: Any = drawn
    names = [_short(label, _LONGEST_KEY) for label in labels]
    figure: Any = ax.get_figure(root=True)
    points = float(figure.get_figwidth()) * 72
    if names:
        ax.legend(
            handles=handles,
            labels=names,
            loc="lower left",
            bbox_to_anchor=(0, 1.0),
            ncols=_legend_columns(names, points),
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
        warnings.filterwarnings("ignore", message="constrained_layout not applied", category=UserWarning)
        _settle_text(figure)
        figure.draw_without_rendering()
        _settle_text(figure)
        drawn = io.StringIO()
        nothing = dict.fromkeys(("Creator", "Date", "Format", "Type"))
        figure.savefig(drawn, format="svg", metadata=nothing, dpi=72)
    svg = drawn.getvalue()
    return _NOT_XML.sub("", _COMMENT.sub("", svg[svg.index("<svg") :]))


def _legend_columns(names: Sequence[str], points: float) -> int:
    """As many columns, four at most, as fit beside each other by a fair estimate of their widths."""
    widest = max(len(name) for name in names) * 0.56 * _TEXT_SIZE + 4.6 * _TEXT_SIZE
    return max(1, min(len(names), 4, int((points - 50) // widest)))


def _short(name: str, limit: int = _LONGEST_NAME) -> str:
    """A name that leaves room for the plot it is on."""
    return name if len(name) <= limit else name[: limit - 1].rstrip() + "…"


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
