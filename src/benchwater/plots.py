"""Plots in the house style, for analyses.

Values are drawn as given: convert to the bench's units first, and name the unit on the axis. Dates and
datetimes may stand for numbers. A series is a number from 0; it sets colour, dashes and marker together, so
that colour alone never identifies a series.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Literal, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from benchwater.drawing.axes import Axes as Axes
from benchwater.drawing.marks import Area, Bars, Block, Curve, Dots, Ribbon, Rule, Stems, Stretch
from benchwater.drawing.picture import INK as INK
from benchwater.drawing.picture import NOTE_SIZE, PAPER
from benchwater.drawing.picture import QUIET as QUIET
from benchwater.drawing.picture import Picture as Picture
from benchwater.drawing.text import EndLabels, Label
from benchwater.units import figures
from benchwater.words import shorten, visible

Values: TypeAlias = Any
"""A list, an array or a column of a data frame, of numbers or of dates."""

FULL_MM, HALF_MM = 170.0, 84.0
"""The width of a whole page, and of a figure that leaves room for another beside it."""
PALETTE = ("#0f4c5c", "#e0481f", "#3a97c9", "#5d2981", "#62a035", "#cc3a8a")
DASHES = ("", "7.5 2.4", "1.8 1.8", "10.5 2.4 2.1 2.4", "4.5 1.5 1.5 1.5 1.5 1.5", "13.5 3.6")
MARKERS = ("o", "s", "^", "D", "v", "P")
STACK = (0, 1, 3, 2, 5, 4)
"""The order in which stacked parts take the palette: neighbours differ in grey print too."""
_WASH = "#eaf1f0"
_LONGEST_NAME, _LONGEST_KEY = 34, 52
_BAR = 0.62


class Flow(NamedTuple):
    """One flow of a flow diagram: its name and amount in words, the amount, and whether it stands out."""

    name: str
    amount: float
    odd: bool = False


def new_figure(width_mm: float = FULL_MM, height_mm: float = 70) -> tuple[Picture, Axes]:
    """Return a new figure and its plot.

    The page is `FULL_MM` wide between its margins; two figures of `HALF_MM` in a row stand side by side.
    The plot has `set_xlabel`, `set_xlim`, `set_xticks`, the same for y, `set` and `grid`, as in plotting
    libraries.
    """
    per_mm = 72 / 25.4
    picture = Picture(width=width_mm * per_mm, height=height_mm * per_mm)
    return picture, picture.axes


def line(ax: Axes, x: Values, y: Values, *, series: int = 0, label: str = "") -> None:
    """Draw a curve."""
    ax.add(_curve(ax.across(x), ax.up(y), series, label))


def steps(
    ax: Axes,
    x: Values,
    y: Values,
    *,
    low: Values | None = None,
    high: Values | None = None,
    series: int = 0,
    label: str = "",
) -> None:
    """Draw a step curve that holds each value until the next `x`, such as survival, and its band."""
    places = ax.across(x)
    if low is not None and high is not None:
        ax.add(_area(_step_x(places), _step_y(ax.up(low)), _step_y(ax.up(high)), series))
    ax.add(_curve(_step_x(places), _step_y(ax.up(y)), series, label))


def thinned_steps(moments: NDArray[np.datetime64], values: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return indices of the points a step curve needs, of `moments` (n,) in order and the value from each on.

    These are the first, lowest, highest and last value of each moment: a line through them looks the same.
    """
    last = np.append(moments[1:] != moments[:-1], True)[: len(moments)]
    first = np.append(True, last[:-1])[: len(moments)]
    by_size = np.lexsort((values, moments))
    return np.unique(np.concatenate([np.flatnonzero(first | last), by_size[first], by_size[last]]))


def band(ax: Axes, x: Values, low: Values, high: Values, *, series: int = 0) -> None:
    """Draw the interval of a curve as a light band."""
    ax.add(_area(ax.across(x), ax.up(low), ax.up(high), series))


def interval_points(
    ax: Axes,
    x: Values,
    value: Values,
    low: Values,
    high: Values,
    *,
    series: int = 0,
    label: str = "",
    horizontal: bool = False,
) -> None:
    """Draw points with their intervals; `horizontal` draws values to the right, one row for each `x`."""
    colour = _colour(series)
    if horizontal:
        rows, values, lows, highs = ax.up(x), ax.across(value), ax.across(low), ax.across(high)
        ax.add(Stems(xs=[*lows, *highs], ys=[*rows, *rows], colour=colour))
        ax.add(_dots(values, rows, series, label, filled=True))
        _lines_up(ax)
    else:
        places, values, lows, highs = ax.across(x), ax.up(value), ax.up(low), ax.up(high)
        ax.add(Stems(xs=[*places, *places], ys=[*lows, *highs], colour=colour))
        ax.add(_dots(places, values, series, label, filled=True))


def points(ax: Axes, x: Values, y: Values, *, series: int = 0, label: str = "") -> None:
    """Draw observations as open markers."""
    ax.add(_dots(ax.across(x), ax.up(y), series, label, filled=False))


def bars(
    ax: Axes,
    names: Sequence[str],
    values: Values,
    *,
    series: int = 0,
    label: str = "",
    pale: bool = False,
    most: float | None = None,
) -> None:
    """Draw one horizontal bar for each name, the first on top; `pale` ones differ from others in grey print.

    A bar longer than `most` is cut there: it shows a break, and its number behind it.
    """
    lengths, rows = ax.across(values), [float(row) for row in range(len(names))]
    broken = [row for row, long in zip(rows, lengths, strict=True) if most is not None and long > most]
    for row in broken:
        beside(ax, figures(lengths[int(row)]), most, row)
    if most is not None:
        lengths = [min(most, long) for long in lengths]
        left, right = [0.92 * most] * len(broken), [0.95 * most] * len(broken)
        ends = [row + _BAR for row in broken] + [row - _BAR for row in broken]
        ax.add(Stems(xs=[*left, *right], ys=ends, colour=PAPER))
    reach = [*(row - _BAR / 2 for row in rows), *(row + _BAR / 2 for row in rows)]
    ax.add(
        Bars(
            xs=[0.0, *lengths],
            ys=reach,
            rows=rows,
            lengths=lengths,
            high=_BAR,
            colour=_colour(series),
            label=label,
            base=0.0,
            pale=pale,
        )
    )
    named_rows(ax, names)
    _lines_up(ax)


def stacked(
    ax: Axes,
    x: Values,
    parts: Sequence[Values],
    names: Sequence[str],
    *,
    step: bool = False,
    rest: str = "",
) -> None:
    """Draw stacked shares, the first at the bottom, each named at its right end.

    `step` holds each value until the next `x`; `rest` names what is left up to 1. Neighbours differ in
    lightness, for grey print, and a white line separates them.
    """
    places = ax.across(x)
    below = [0.0] * len(places)
    ends = []
    for place, (part, name) in enumerate(zip(parts, names, strict=True)):
        top = [low + more for low, more in zip(below, ax.up(part), strict=True)]
        across, lower, upper = (
            (_step_x(places), _step_y(below), _step_y(top)) if step else (places, below, top)
        )
        colour = PALETTE[STACK[place % len(STACK)]]
        ax.add(Area(xs=across, ys=[*lower, *upper], colour=colour, edge=PAPER))
        ends.append(((below[-1] + top[-1]) / 2, name))
        below = top
    if rest:
        ends.append(((below[-1] + 1) / 2, rest))
        ax.set_ylim(0, 1)
    name_ends(ax, places[-1], ends)


def name_ends(ax: Axes, x: Any, ends: Sequence[tuple[float, str]], *, room: float = 0.0) -> None:
    """Write names to the right of a plot at these heights, moved apart where they would overlap.

    `room` is the least distance as a share of the height, if larger than the text needs.
    """
    heights = ax.up(height for height, _ in ends)
    named = [(height, _short(name)) for height, (_, name) in zip(heights, ends, strict=True)]
    ax.labels.append(EndLabels(x=ax.across([x])[0], ends=named, room=room, size=NOTE_SIZE, colour=INK))


def beside(
    ax: Axes,
    text: str,
    x: Any,
    y: float,
    *,
    points: tuple[float, float] = (4.0, 0.0),
    side: Literal["left", "center", "right"] = "left",
    either: bool = False,
) -> None:
    """Write a name at a place, offset by `points`: a legend entry beside what it names.

    `either` writes it on the other side where it covers less there.
    """
    short = "\n".join(_short(each) for each in text.split("\n"))
    place = ax.across([x])[0], ax.up([y])[0]
    name = _note(short, *place, points=points, side=side)
    if either:
        other: Literal["left", "right"] = "right" if side == "left" else "left"
        ax.movable_labels.append([name, replace(name, points=(-points[0], points[1]), side=other)])
    else:
        ax.labels.append(name)


def rows_below(ax: Axes, rows: Sequence[tuple[str, Sequence[str]]]) -> None:
    """Write rows of numbers below the plot, one under each tick, such as the number at risk.

    Each row has a name, to the left, and as many cells as the horizontal axis has ticks.
    """
    ax.below += [(_short(name), [visible(str(cell)) for cell in cells]) for name, cells in rows]


def flow(ax: Axes, into: Sequence[Flow], out: Sequence[Flow], middle: str) -> None:
    """Draw a flow diagram: from what came in on the left, through the middle, to where it went on the right.

    Each `Flow` is as high as its amount; amounts of 0 or less are left out. An `odd` flow stands out.
    """
    sides = [[each for each in side if each.amount > 0] for side in (into, out)]
    totals = [sum(each.amount for each in side) for side in sides]
    whole = max(*totals, 1e-12)
    wide, gap = 0.035, 0.06 * whole
    ax.set_axis_off()
    ax.add(Block(xs=(0.5 - wide / 2, 0.5 + wide / 2), ys=(0.0, whole), colour=PALETTE[0]))
    ax.labels.append(_note(middle, 0.5, whole, points=(0.0, 2.0), side="center", level="bottom"))
    tallest = whole
    for flows, total, left in zip(sides, totals, (True, False), strict=True):
        height = total + gap * max(0, len(flows) - 1)
        tallest = max(tallest, height)
        outer, inner = (whole + height) / 2, whole - (whole - total) / 2
        for each in flows:
            colour = PALETTE[1] if each.odd else PALETTE[2]
            start, end = (wide, outer), (0.5 - wide / 2, inner)
            if not left:
                start, end = (0.5 + wide / 2, inner), (1 - wide, outer)
            ax.add(Ribbon(start=start, end=end, thick=each.amount, colour=colour, opacity=0.3))
            edge = 0.0 if left else 1 - wide
            ax.add(Block(xs=(edge, edge + wide), ys=(outer - each.amount, outer), colour=colour))
            x, off = (0.0, -4.0) if left else (1.0, 4.0)
            middle_of_edge = outer - each.amount / 2
            beside(ax, each.name, x, middle_of_edge, points=(off, 0.0), side="right" if left else "left")
            outer -= each.amount + gap
            inner -= each.amount
    ax.set_xlim(0, 1)
    ax.set_ylim((whole - tallest) / 2, (whole + tallest) / 2)


def named_rows(ax: Axes, names: Sequence[str]) -> None:
    """Write names instead of numbers on the vertical axis, the first (row 0) on top."""
    ax.set_yticks(range(len(names)), [_short(name) for name in names])
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.y.ticked = False


def reference_line(ax: Axes, text: str, *, x: Any = None, y: Any = None) -> None:
    """Draw a target or limit, and name it where it covers least."""
    if y is not None:
        height = ax.up([y])[0]
        ax.add(Rule(ys=(height,), colour=INK))
        name = _note(text, 1.0, height, points=(0.0, 2.0), side="right", level="bottom")
        name = replace(name, x_share=True)
        left = replace(name, x=0.0, side="left", points=(3.0, 2.0))
        under = replace(name, points=(0.0, -2.0), level="top")
        under_left = replace(left, points=(3.0, -2.0), level="top")
        ax.movable_labels.append([name, left, under, under_left])
    if x is not None:
        place = ax.across([x])[0]
        ax.add(Rule(xs=(place,), colour=INK))
        _name_at_top(ax, text, place, INK)


def window(ax: Axes, start: Any, end: Any, text: str = "") -> None:
    """Shade a part of the horizontal axis, such as a working window."""
    ends = ax.across([start, end])
    ax.add(Stretch(xs=ends, colour=_WASH))
    if text:
        _name_at_top(ax, text, ends[0], QUIET)


def legend(ax: Axes) -> None:
    """Show a legend of the labelled series above the plot."""
    ax.has_legend = True


def date_axis(ax: Axes) -> None:
    """Write dates on the horizontal axis as `3 May`, in every locale."""
    ax.x.days = True


def to_svg(figure: Picture) -> str:
    """Return the figure as SVG, the same bytes for the same figure.

    Text is in the page's typeface and keeps its width where a reader's program has another.
    """
    return figure.to_svg()


def _curve(x: list[float], y: list[float], series: int, label: str) -> Curve:
    dashes = DASHES[series % len(DASHES)]
    return Curve(xs=x, ys=y, colour=_colour(series), dashes=dashes, label=_short(label, _LONGEST_KEY))


def _area(x: list[float], low: list[float], high: list[float], series: int) -> Area:
    return Area(xs=x, ys=[*low, *high], colour=_colour(series), opacity=0.15)


def _dots(x: list[float], y: list[float], series: int, label: str, *, filled: bool) -> Dots:
    colour = _colour(series)
    return Dots(
        xs=x,
        ys=y,
        marker=MARKERS[series % len(MARKERS)],
        size=5.0 if filled else 4.2,
        fill=colour if filled else PAPER,
        edge=PAPER if filled else colour,
        edge_width=0.7 if filled else 0.9,
        label=_short(label, _LONGEST_KEY),
    )


def _step_x(places: Sequence[float]) -> list[float]:
    """Return the x of a step curve: each but the first twice, as end of one step and start of the next."""
    return [*places[:1], *(place for place in places[1:] for _ in range(2))]


def _step_y(values: Sequence[float]) -> list[float]:
    """Return the y of a step curve: each but the last twice, as start and end of its step."""
    return [*(value for value in values[:-1] for _ in range(2)), *values[-1:]]


def _lines_up(ax: Axes) -> None:
    ax.grid(False, axis="y")
    ax.grid(True, axis="x")


def _name_at_top(ax: Axes, text: str, x: float, colour: str) -> None:
    name = replace(_note(text, x, 1.0, points=(3.0, -2.0), level="top"), y_share=True, colour=colour)
    ax.movable_labels.append([name, replace(name, side="right", points=(-3.0, -2.0))])


def _note(
    text: str,
    x: float,
    y: float,
    *,
    points: tuple[float, float],
    side: Literal["left", "center", "right"] = "left",
    level: Literal["top", "middle", "bottom"] = "middle",
) -> Label:
    shown = "\n".join(map(visible, text.split("\n")))
    return Label(text=shown, x=x, y=y, points=points, side=side, level=level, size=NOTE_SIZE, colour=INK)


def _short(name: str, limit: int = _LONGEST_NAME) -> str:
    """Return a visible name, cut to leave room for the plot."""
    return shorten(visible(name), limit)


def _colour(series: int) -> str:
    return PALETTE[series % len(PALETTE)]
