"""Shows the numbers: tables, bad castings by temperature with the fitted curves, and p-charts."""

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchwater import plots
from benchwater.plugin import Cell, Figure, Table
from benchwater.words import MONTHS, limits, make_columns, make_table

from .compute import ENOUGH_CASTINGS, ENOUGH_SESSIONS, BadCastings, MoldResult
from .findings import Show
from .rates import TemperatureBin, on_bench_scale
from .working_window import FlawWindow

COLUMNS = make_columns(
    *(("mold", "Mold"), ("cavity", "Cavity"), ("flaw", "Flaws"), ("session", "Session"), ("fill", "Fill")),
    *(("low_c", "From", "degC"), ("high_c", "To", "degC"), ("temp_c", "Mold", "degC")),
    *(("measured_c", "Measured", "degC"), ("estimated_c", "Estimated", "degC")),
    *(("castings", "Castings"), ("rejects", "Bad castings"), ("rate", "Bad", "1")),
    *((name, name.title(), "1") for name in ("low", "high", "center", "lower", "upper")),
    *(("signal", "Worse than chance"), ("p_adjusted", "p at equal temperature", "p")),
    hidden="p_adjusted",
)
MOST_SESSIONS_ON_PAPER, MOST_TEMPERATURE_FIGURES, MOST_SESSION_FIGURES = 10, 2, 2
NAMED_WINDOW, MOST_DAYS = 0.2, 6
PLACES = 100

Rows = Iterable[tuple[Cell, ...]]


def all_tables(result: BadCastings, note: str) -> tuple[Table, ...]:
    """Returns the tables that have rows; `note` stands under the first."""
    bins = "mold low_c high_c castings rejects rate low high"
    by_cavity = "mold cavity castings rejects rate low high p_adjusted"
    sessions = "session castings rejects rate center lower upper signal"
    judged = f"Judged where a mold has {ENOUGH_SESSIONS} sessions or more."
    estimated = "Without a thermometer: by estimated mold temperature"
    molds = result.molds
    read_bins = _bin_rows((mold.name, mold.by_temperature.bins) for mold in molds)
    unread_bins = _bin_rows((mold.name, mold.heat.unread.bins) for mold in molds if mold.heat.unread)
    curve, heat = "mold temp_c flaw rate low high", "session fill measured_c estimated_c"
    heat_title = "Mold temperature, measured and estimated"
    from_first = "Estimated by heat balance from the first fill of the session onward."
    tables = (
        ("by_temperature", "By mold temperature", bins, read_bins, note, 24, None),
        ("by_estimated", estimated, bins, unread_bins, "By heat balance, not by reading.", 12, 0),
        ("curve", "Fitted share of flaws by mold temperature", curve, _curve_rows(molds), "", 0, None),
        ("by_cavity", "By cavity", by_cavity, _cavity_rows(molds), "", 24, None),
        ("sessions", "By session", sessions, _session_rows(molds), judged, 60, MOST_SESSIONS_ON_PAPER),
        ("mold_heat", heat_title, heat, _heat_rows(molds), from_first, 0, None),
    )
    made = (
        make_table(id, title, names, rows, COLUMNS, note=text, print_rows=most, paper_rows=on_paper)
        for id, title, names, rows, text, most, on_paper in tables
    )
    return tuple(table for table in made if table.rows)


def _bin_rows(of_molds: Iterable[tuple[str, Iterable[TemperatureBin]]]) -> Rows:
    for mold, bins in of_molds:
        for each in bins:
            counts, rate = (each.low_c, each.high_c, each.castings, each.rejects), each.rate
            yield mold, *counts, rate.estimate, rate.low, rate.high


def _curve_rows(molds: Iterable[MoldResult]) -> Rows:
    for mold in molds:
        found = mold.window
        if found is None:
            continue
        grid, curves = np.linspace(found.coldest, found.hottest, 41), {}
        for flaw, fit in (("cold", found.cold), ("hot", found.hot)):
            if fit is not None:
                curves[flaw] = fit.rate(grid), *fit.limits(grid)
        curves["all"] = found.total(grid), *found.total_limits(grid)
        for flaw, curve in curves.items():
            for cells in np.column_stack([grid, *curve]).tolist():
                yield mold.name, cells[0], flaw, *cells[1:]


def _cavity_rows(molds: Iterable[MoldResult]) -> Rows:
    for mold in molds:
        for each in mold.cavities:
            counts, rate = (each.castings, each.rejects), each.rate
            yield mold.name, each.cavity, *counts, rate.estimate, rate.low, rate.high, each.p


def _session_rows(molds: Iterable[MoldResult]) -> Rows:
    rows: list[tuple[Cell, ...]] = []
    for mold in molds:
        table, chart = mold.sessions.table, mold.sessions.chart
        counts = (table[name].tolist() for name in ("session", "castings", "rejects"))
        center = np.full(len(table), chart.center)
        charted = (chart.value, center, chart.lower, chart.upper, chart.above & mold.sessions.judged)
        rows += zip(*counts, *(cells.tolist() for cells in charted), strict=True)
    return sorted(rows, key=lambda row: str(row[0]))


def _heat_rows(molds: Iterable[MoldResult]) -> Rows:
    for mold in molds:
        if mold.heat.fills is not None:
            names = ["session", "fill", "measured_c", "estimated_c"]
            yield from mold.heat.fills[names].itertuples(index=False, name=None)


def all_figures(result: BadCastings) -> Iterator[Figure]:
    """Yields up to two figures by temperature, then up to two by session, those with most bad castings."""
    show = Show(result.season)
    drawn = [
        mold
        for mold in result.molds
        if mold.window is not None
        or (mold.by_temperature.castings >= ENOUGH_CASTINGS and len(mold.by_temperature.bins) > 2)
    ]
    for mold in drawn[:MOST_TEMPERATURE_FIGURES]:
        yield _temperature_figure(show, mold)
    judged = [mold for mold in result.molds if mold.sessions.judged]
    judged.sort(key=lambda mold: -int(mold.sessions.table["rejects"].sum()))
    for mold in judged[:MOST_SESSION_FIGURES]:
        yield _session_figure(show, mold)


def _temperature_figure(show: Show, mold: MoldResult) -> Figure:
    """Bins with their intervals, the fitted curves, the window and the target."""
    bench, goal, bins = show.bench, show.bench.plan.target_reject_rate, mold.by_temperature.bins
    figure, axes = plots.new_figure(plots.HALF_MM, 56)
    alt = f"Bad castings of {mold.name} by mold temperature"
    if mold.window is not None:
        alt += _draw_curves(show, axes, mold, mold.window)
    centres = on_bench_scale(bench, [(each.low_c + each.high_c) / 2 for each in bins])
    rates = [(each.rate.estimate, each.rate.low, each.rate.high) for each in bins]
    value, low, high = 100 * np.array(rates).T
    plots.interval_points(axes, centres, value, low, high, series=0, label="as logged")
    plots.reference_line(axes, f"target {show.share(goal)}", y=100 * goal)
    axes.set_ylim(0, 104)
    axes.set_xlabel(f"mold temperature before the fill, °{'F' if bench.system == 'us' else 'C'}")
    axes.set_ylabel("bad castings, %")
    plots.legend(axes)
    best = min(bins, key=lambda each: (each.rate.estimate, -each.castings))
    shares = ", ".join(
        f"{show.share(each.rate.estimate)} of {each.castings} at {limits(show.temp, each.low_c, each.high_c)}"
        for each in dict.fromkeys((bins[0], best, bins[-1]))
    )
    return Figure(
        id=f"by_temperature:{mold.name}",
        title=f"{mold.name}: bad castings by mold temperature",
        alt=f"{alt}: {shares}.",
        svg=plots.to_svg(figure),
    )


def _draw_curves(show: Show, axes: Any, mold: MoldResult, found: FlawWindow) -> str:
    """Draws the fitted curves and the window, as far as it was poured in; returns the window in words."""
    grid = np.linspace(found.coldest, found.hottest, 121)
    scale = on_bench_scale(show.bench, grid)
    for series, name, fit in ((2, "short or cold shut", found.cold), (1, "flash or porosity", found.hot)):
        if fit is not None:
            low, high = fit.limits(grid)
            plots.band(axes, scale, 100 * low, 100 * high, series=series)
            plots.line(axes, scale, 100 * fit.rate(grid), series=series, label=name)
    plots.line(axes, scale, 100 * found.total(grid), series=0, label="all flaws")
    if found.window is None or found.window.first_met is None:
        return ""
    start, end = mold.start_at or found.coldest, mold.stop_at or found.hottest
    wide = end - start > NAMED_WINDOW * (found.hottest - found.coldest)
    name = "working window" if wide else ""
    plots.window(axes, on_bench_scale(show.bench, start), on_bench_scale(show.bench, end), name)
    goal = show.share(show.bench.plan.target_reject_rate)
    return f" stay within {goal} from {limits(show.temp, start, end)}"


def _session_figure(show: Show, mold: MoldResult) -> Figure:
    """The p-chart of one mold."""
    table, chart, name = mold.sessions.table, mold.sessions.chart, mold.name
    order = np.arange(1, len(table) + 1)
    figure, axes = plots.new_figure(plots.HALF_MM, 46)
    plots.band(axes, order, 100 * chart.lower, 100 * chart.upper, series=0)
    plots.reference_line(axes, f"all sessions {show.share(chart.center)}", y=100 * chart.center)
    for series, chosen, label in (
        (0, ~chart.above, "as usual, or better"),
        (1, chart.above, "worse than chance"),
    ):
        if chosen.any():
            at = np.flatnonzero(chosen)
            at = at[distinct_marks(at, len(order), chart.value[at])]
            plots.points(axes, order[at], 100 * chart.value[at], series=series, label=label)
    axes.set_ylim(0, 104)
    step = -(-len(order) // MOST_DAYS)
    axes.set_xticks(order[::step], [_day(str(session)) for session in table["session"][::step]])
    axes.set_xlabel("session")
    axes.set_ylabel("bad castings, %")
    plots.legend(axes)
    odd = [show.session(str(session), name) for session in table["session"][chart.above]]
    alt = f"Bad castings of {name} in {len(table)} sessions, {show.share(chart.center)} in all; worse than "
    alt += f"chance makes them: {', '.join(odd) if odd else 'none'}."
    title = f"{name}: bad castings by session"
    return Figure(id=f"sessions:{name}", title=title, alt=alt, svg=plots.to_svg(figure))


def _day(session: str) -> str:
    """Returns `3 Mar` of a session's name."""
    day = date.fromisoformat(session[:10])
    return f"{day.day} {MONTHS[day.month - 1][:3]}"


def distinct_marks(at: NDArray[np.int64], of: int, share: NDArray[np.float64]) -> NDArray[np.int64]:
    """Returns which of the marks (n,) to draw, one of those that would cover each other.

    Mark `at` stands at that place of `of` across, at a `share` of the height.
    """
    places = np.column_stack([at * PLACES // of, np.floor(share * PLACES)])
    return np.sort(np.unique(places, axis=0, return_index=True)[1])
