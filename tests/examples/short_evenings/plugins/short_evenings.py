"""Which evenings of pouring were too short to be worth the warm-up.

Example: four warm-up castings and then 18 good ones are worth it; four and then 3 are a short evening.
"""

from collections.abc import Iterable

import pandas as pd

from benchwater import plots
from benchwater.plugin import (
    Action,
    Analysis,
    Figure,
    Finding,
    Option,
    Season,
    Section,
    Span,
    Table,
    TableColumn,
    hookimpl,
)
from benchwater.statistics.proportions import wilson_interval

CONTRACT_VERSION_NEEDED = 1
FEWEST_EVENINGS = 4


def evenings(season: Season, span: Span) -> pd.DataFrame:
    """Warm-up castings and good castings of each day of pouring."""
    poured = season.rows("pour", span)
    poured["day"] = poured["date"].dt.date
    poured["blanks"] = poured["count"].where(poured["outcome"] == "blank", 0)
    poured["good"] = poured["count"].where(poured["outcome"] == "good", 0)
    return poured.groupby("day", as_index=False)[["blanks", "good"]].sum()


def analyse(season: Season, span: Span) -> Section:
    """The share of short evenings, a table of all evenings, and advice."""
    days = evenings(season, span)
    if days.empty:
        return Section.empty("Nothing was poured in these days.")
    least = season.options("short_evenings")["least"]
    short, count = int((days["good"] < least).sum()), len(days)
    share = wilson_interval(short, count)
    finding = Finding(
        id="short",
        text=f"{short} of {count} evenings made fewer than {least} good castings.",
        value=share.estimate,
        low=share.low,
        high=share.high,
        unit="1",
        n=count,
    )
    table = Table(
        id="evenings",
        title="Evenings of pouring",
        columns=(
            TableColumn(name="day", label="Day"),
            TableColumn(name="blanks", label="Warm-up castings", unit="pieces"),
            TableColumn(name="good", label="Good castings", unit="pieces"),
        ),
        rows=tuple(days.astype(object).itertuples(index=False, name=None)),
    )
    enough = count >= FEWEST_EVENINGS
    return Section(
        status="ok" if enough else "thin",
        why="" if enough else f"{count} evenings are too few to judge by: {FEWEST_EVENINGS} are needed.",
        findings=(finding,),
        tables=(table,),
        figures=(draw(days, least),),
        actions=advice(days, least) if enough else (),
        methods=("Counts of the pour log, as written. Interval of the share: Wilson score (Wilson 1927).",),
    )


def draw(days: pd.DataFrame, least: int) -> Figure:
    """A bar for each evening."""
    figure, axes = plots.new_figure(height_mm=20 + 6 * len(days))
    plots.bars(axes, [f"{day:%Y-%m-%d}" for day in days["day"]], days["good"])
    plots.reference_line(axes, f"{least}", x=least)
    axes.set_xlabel("good castings")
    lowest, highest = days["good"].min(), days["good"].max()
    return Figure(
        id="evenings",
        title="Good castings by evening",
        alt=f"Good castings of {len(days)} evenings, from {lowest} to {highest}.",
        svg=plots.to_svg(figure),
    )


def advice(days: pd.DataFrame, least: int) -> tuple[Action, ...]:
    """Advice to pour on fewer evenings, if any was short."""
    short = days[days["good"] < least]
    if short.empty:
        return ()
    return (
        Action(
            id="fewer-evenings",
            text="Pour on fewer evenings, and make more on each",
            because=f"{len(short)} of {len(days)} evenings took {short['blanks'].sum()} warm-up castings "
            f"for {short['good'].sum()} good ones",
        ),
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """One analysis, after the shipped ones."""
    return [
        Analysis(
            id="short_evenings",
            title="Short evenings",
            question="Which evenings of pouring were too short to be worth the heat?",
            order=950,
            analyse=analyse,
            needs=("pour",),
            options=(
                Option(
                    name="least",
                    meaning="good castings an evening needs not to be short",
                    kind="whole",
                    default=10,
                    least=1,
                ),
            ),
        )
    ]
