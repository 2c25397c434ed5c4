"""The tables of the seasons and of the changes, and a small picture for each question."""

import math
from collections.abc import Iterator, Sequence

from benchwater import plots
from benchwater.plugin import Bench, Cell, Figure, Table
from benchwater.statistics.interval import Interval
from benchwater.words import listed, make_columns, make_table

from .compute import ALL, BAD, COST, ENDED, FISH, ChangeEffect, Measure, SeasonComparison
from .ratios import ratio_and_limits

MOST_DRAWN = 4
_COLUMNS = make_columns(
    ("factor", "Factor"),
    ("measure", "What"),
    ("group", "Of"),
    ("season", "Season"),
    ("against", "Against"),
    ("now", "This season"),
    ("then", "Then"),
    ("ratio", "Ratio", None, 2),
    ("low", "From", None, 2),
    ("high", "To", None, 2),
    ("p_adjusted", "p, adjusted", "p"),
    ("change", "Change"),
    ("on", "On"),
    ("before", "Before"),
    ("after", "After"),
)
_PICTURES = {
    BAD: ("Castings that went bad", "of 100 castings"),
    ENDED: ("Baits that ended, by cause", "baits in 10 h"),
    FISH: ("Fish, by build", "fish an hour"),
    COST: ("What a bait cost to make", "{currency}"),
}
_SCALE = {BAD: 100.0, ENDED: 10.0}


def tables(seasons: Sequence[SeasonComparison], changes: Sequence[ChangeEffect]) -> tuple[Table, ...]:
    """The seasons side by side, the comparisons with earlier ones, and those of each change."""
    made = []
    if seasons:
        made.append(_side_by_side(seasons))
        rows = [
            (
                "season",
                each.now.name,
                each.now.group,
                each.season,
                each.against,
                _estimate(each.now),
                _estimate(each.then),
                *ratio_and_limits(each.found),
                each.p_adjusted,
            )
            for each in seasons
        ]
        names = "factor measure group season against now then ratio low high p_adjusted"
        title = "This season beside earlier ones"
        made.append(make_table("seasons", title, names, rows, _COLUMNS, paper_rows=0))
    if changes:
        effects = [
            (
                each.what,
                each.on,
                f"{each.measure.name}, {each.measure.group}",
                each.before,
                each.after,
                *ratio_and_limits(each.found),
            )
            for each in changes
        ]
        names = "change on measure before after ratio low high"
        made.append(make_table("changes", "Before and after a change", names, effects, _COLUMNS))
    return tuple(made)


def _estimate(measure: Measure) -> float | None:
    return None if measure.found is None else measure.found.estimate


def _by_season(seasons: Sequence[SeasonComparison]) -> dict[tuple[str, str], dict[str, Measure]]:
    """Each measure and group that two seasons or more know, by season, the earliest first."""
    found: dict[tuple[str, str], dict[str, Measure]] = {}
    for each in reversed(seasons):
        found.setdefault((each.now.name, each.now.group), {})[each.against] = each.then
    for each in seasons:
        found[each.now.name, each.now.group][each.season] = each.now
    order = dict.fromkeys((each.now.name, each.now.group) for each in seasons)
    return {
        key: found[key] for key in order if sum(each.found is not None for each in found[key].values()) > 1
    }


def _side_by_side(seasons: Sequence[SeasonComparison]) -> Table:
    """One row for each question, one column for each season, and how this season compares with the last."""
    last = max(each.against for each in seasons)
    against = {(each.now.name, each.now.group): each.found for each in seasons if each.against == last}
    years = [*sorted({each.against for each in seasons}), seasons[0].season]
    rows: list[tuple[Cell, ...]] = []
    for key, of in _by_season(seasons).items():
        unit = next(iter(of.values())).unit
        numbers = [_estimate(of[year]) if year in of else None for year in years]
        rows.append((*key, unit, *numbers, *ratio_and_limits(against.get(key))))
    named = make_columns(
        *(("measure", "What"), ("group", "Of"), ("unit", "Unit"), *((year, year) for year in years)),
        *(("ratio", f"Times {last}", None, 2), ("low", "From", None, 2), ("high", "To", None, 2)),
        hidden="unit",
        unit_from=dict.fromkeys(years, "unit"),
    )
    return make_table("season_by_season", "Season by season", " ".join(named), rows, named)


def figures(seasons: Sequence[SeasonComparison], bench: Bench) -> Iterator[Figure]:
    """A small picture for each question: a point a season with its limits, a mark a cause or build."""
    by_season = _by_season(seasons)
    for name, (title, label) in _PICTURES.items():
        of_name = {group: of for (each, group), of in by_season.items() if each == name}
        parts = {group: of for group, of in of_name.items() if group != ALL} or of_name
        most = sorted(parts, key=lambda group: -sum(each.n for each in parts[group].values()))[:MOST_DRAWN]
        years = sorted({year for group in most for year, each in parts[group].items() if each.found})
        if len(years) > 1:
            drawn = {group: parts[group] for group in most}
            yield _picture(name, title, label.format(currency=bench.currency), years, drawn)


def _picture(
    name: str, title: str, label: str, years: Sequence[str], drawn: dict[str, dict[str, Measure]]
) -> Figure:
    scale = _SCALE.get(name, 1.0)
    figure, axes = plots.new_figure(plots.HALF_MM, 52)
    told = []
    for series, (group, of) in enumerate(drawn.items()):
        known: dict[int, Interval] = {}
        for place, year in enumerate(years):
            if year in of and (found := of[year].found) is not None and math.isfinite(found.high):
                known[place] = found
        places = [place + 0.14 * (series - (len(drawn) - 1) / 2) for place in known]
        values, lows, highs = (
            [scale * each for each in limit]
            for limit in zip(*((each.estimate, each.low, each.high) for each in known.values()), strict=True)
        )
        named = group if len(drawn) > 1 or group != ALL else ""
        plots.interval_points(axes, places, values, lows, highs, series=series, label=named)
        numbers = [f"{value:.2g} in {years[place]}" for value, place in zip(values, known, strict=True)]
        told.append(f"{named or title} {', '.join(numbers)}")
    axes.set_xticks(range(len(years)), years)
    axes.set(xlim=(-0.5, len(years) - 0.5), ylim=(0, None), ylabel=label)
    if any(group != ALL for group in drawn):
        plots.legend(axes)
    alt = f"{title}, {label}, season by season up to the same day: {listed(told)}."
    return Figure(id=name.replace(" ", "_"), title=title, alt=alt, svg=plots.to_svg(figure))
