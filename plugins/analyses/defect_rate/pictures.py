"""The section's plots: bad castings by temperature with the fitted curves, and the p-chart."""

from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchwater import plots
from benchwater.plugin import Figure
from benchwater.words import MONTHS, limits

from .control_charts import ControlChart
from .draft import Draft, as_printed
from .flaw_window import FlawWindow, rate_limits

NAMED_WINDOW, MOST_DAYS = 0.2, 6
PLACES = 240


def temperature_picture(draft: Draft, mold: str, bins: list[Any], found: FlawWindow | None) -> Figure:
    """Bins with their intervals, the fitted curves, the window and the target."""
    bench, goal = draft.bench, draft.bench.plan.target_reject_rate
    figure, axes = plots.new_figure(plots.HALF_MM, 56)
    alt = f"Bad castings of {mold} by mold temperature"
    if found is not None:
        grid = np.linspace(found.coldest, found.hottest, 121)
        for series, name, fit in ((2, "short or cold shut", found.cold), (1, "flash or porosity", found.hot)):
            if fit is not None:
                rate, reach = rate_limits(fit, grid)
                plots.band(axes, as_printed(bench, grid), 100 * reach.lower, 100 * reach.upper, series=series)
                plots.line(axes, as_printed(bench, grid), 100 * rate, series=series)
                _name_curve(axes, as_printed(bench, grid), 100 * np.asarray(rate), name)
        plots.line(axes, as_printed(bench, grid), 100 * found.total(grid), series=0, label="all flaws")
        if found.window is not None and found.window.first_met is not None:
            start, end = found.first_met or found.coldest, found.top or found.hottest
            wide = end - start > NAMED_WINDOW * (found.hottest - found.coldest)
            name = "working window" if wide else ""
            plots.window(axes, as_printed(bench, start), as_printed(bench, end), name)
            alt += f" stay within {draft.share(goal)} from {limits(draft.temp, start, end)}"
    centres = as_printed(bench, [(row[0] + row[1]) / 2 for row in bins])
    value, low, high = (100 * np.array([row[at] for row in bins]) for at in (4, 5, 6))
    plots.interval_points(axes, centres, value, low, high, series=0, label="as logged")
    plots.reference_line(axes, f"target {draft.share(goal)}", y=100 * goal)
    axes.set_ylim(0, 104)
    axes.set_xlabel(f"mold temperature before the fill, °{'F' if bench.system == 'us' else 'C'}")
    axes.set_ylabel("bad castings, %")
    plots.legend(axes)
    title = f"{mold}: bad castings by mold temperature"
    return Figure(
        id=f"by_temperature:{mold}",
        title=title,
        alt=f"{alt}: {_ends(draft, bins)}.",
        svg=plots.to_svg(figure),
    )


def _name_curve(axes: Any, x: Any, rate: Any, name: str) -> None:
    """The name of a curve beside its steep part: right of one that falls, left of one that rises."""
    falls = rate[0] > rate[-1]
    reached = np.flatnonzero(rate <= 62) if falls else np.flatnonzero(rate >= 0.62 * rate.max())
    at = int(reached[0]) if len(reached) else len(rate) // 2
    height, points = float(rate[at]) + 6, (7.0 if falls else -7.0, 0.0)
    plots.beside(axes, name, x[at], height, points=points, side="left" if falls else "right")


def _day(session: str) -> str:
    """`3 Mar` of a session's name."""
    day = date.fromisoformat(session[:10])
    return f"{day.day} {MONTHS[day.month - 1][:3]}"


def _ends(draft: Draft, bins: list[Any]) -> str:
    """The first, the best and the last bin in words."""
    best = min(bins, key=lambda row: (row[4], -row[2]))
    told = list(dict.fromkeys((bins[0], best, bins[-1])))
    return ", ".join(
        f"{draft.share(row[4])} of {row[2]} at {limits(draft.temp, row[0], row[1])}" for row in told
    )


def told_apart(at: NDArray[np.int64], of: int, up: NDArray[np.float64]) -> NDArray[np.int64]:
    """Which points (n,) to draw, number `at` of so many across, a share up: one of those on each other."""
    places = np.column_stack([at * PLACES // of, np.floor(up * PLACES)])
    return np.sort(np.unique(places, axis=0, return_index=True)[1])


def session_chart(draft: Draft, mold: str, table: pd.DataFrame, chart: ControlChart) -> Figure:
    """The p-chart of one mold."""
    order = np.arange(1, len(table) + 1)
    figure, axes = plots.new_figure(plots.HALF_MM, 46)
    plots.band(axes, order, 100 * chart.lower, 100 * chart.upper, series=0)
    plots.reference_line(axes, f"all sessions {draft.share(chart.center)}", y=100 * chart.center)
    for series, these, label in ((0, ~chart.signal, "within limits"), (1, chart.signal, "beyond limits")):
        if series == 0 or these.any():
            at = np.flatnonzero(these)
            at = at[told_apart(at, len(order), chart.value[at])]
            plots.points(axes, order[at], 100 * chart.value[at], series=series, label=label)
    axes.set_ylim(0, 104)
    step = -(-len(order) // MOST_DAYS)
    axes.set_xticks(order[::step], [_day(str(name)) for name in table["session"][::step]])
    axes.set_xlabel("session")
    axes.set_ylabel("bad castings, %")
    plots.legend(axes)
    odd = [draft.sitting(str(name), mold) for name in table["session"][chart.signal]]
    alt = f"Bad castings of {mold} in {len(table)} sessions, {draft.share(chart.center)} in all; beyond the "
    alt += f"limits: {', '.join(odd) if odd else 'none'}."
    title = f"{mold}: bad castings by session"
    return Figure(id=f"sessions:{mold}", title=title, alt=alt, svg=plots.to_svg(figure))
