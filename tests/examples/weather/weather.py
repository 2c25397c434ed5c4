"""The weather at the bench: a log of air temperature, a table by month and a plot by day."""

from collections.abc import Iterable

from benchwater import plots, words
from benchwater.plugin import (
    Analysis,
    Column,
    Figure,
    LogKind,
    Season,
    Section,
    Span,
    Table,
    hookimpl,
)

CONTRACT_VERSION_NEEDED = 1

WEATHER = LogKind(
    name="weather",
    title="Weather log",
    columns=(
        Column(name="date", meaning="day of the reading", kind="date", needed=True),
        Column(name="air_temp", meaning="air temperature at noon", kind="temperature", needed=True),
    ),
)


@hookimpl
def log_kinds() -> Iterable[LogKind]:
    """The weather log."""
    return [WEATHER]


COLUMNS = words.make_columns(("month", "Month"), ("days", "Days"), ("mean", "Mean", "degC"))


def monthly(season: Season, span: Span) -> Table:
    """Mean air temperature by month."""
    days = season.rows("weather", span)
    by_month = days.groupby(days["date"].dt.strftime("%Y-%m"))["air_temp_c"].agg(["count", "mean"])
    rows = [(str(month), int(count), float(mean)) for month, count, mean in by_month.itertuples(name=None)]
    return words.make_table("monthly", "Air temperature", "month days mean", rows, COLUMNS)


def daily(season: Season, span: Span) -> Figure:
    """Air temperature by day."""
    days, show = season.rows("weather", span), season.bench.show
    figure, axes = plots.new_figure(height_mm=50)
    us = season.bench.system == "us"
    plots.points(axes, days["date"], days["air_temp_c"] * 1.8 + 32 if us else days["air_temp_c"])
    plots.date_axis(axes)
    axes.set_ylabel(f"air temperature, °{'F' if us else 'C'}")
    low, high = show(days["air_temp_c"].min(), "degC"), show(days["air_temp_c"].max(), "degC")
    alt = f"Air temperature on {len(days)} days, from {low} to {high}."
    return Figure(id="daily", title="Air temperature by day", alt=alt, svg=plots.to_svg(figure))


def analyse(season: Season, span: Span) -> Section:
    """The weather as a section of the report."""
    return Section(
        status="ok",
        tables=(monthly(season, span),),
        figures=(daily(season, span),),
        methods=("Means of the weather log, as written.",),
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """One analysis, after the shipped ones."""
    return [
        Analysis(
            id="weather",
            title="Weather",
            question="How warm was it at the bench?",
            order=960,
            analyse=analyse,
            needs=("weather",),
        )
    ]
