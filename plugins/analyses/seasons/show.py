"""The tables of the seasons and of the changes."""

from collections.abc import Sequence

from benchwater.plugin import Table
from benchwater.words import make_columns, make_table

from .compute import ChangeEffect, SeasonComparison

_COLUMNS = make_columns(
    ("factor", "Factor"),
    ("measure", "What"),
    ("group", "Of"),
    ("season", "Season"),
    ("against", "Against"),
    ("now", "This season"),
    ("then", "Then"),
    ("ratio", "Ratio"),
    ("low", "From"),
    ("high", "To"),
    ("p_adjusted", "p, adjusted", "p"),
    ("change", "Change"),
    ("on", "On"),
    ("before", "Before"),
    ("after", "After"),
)


def tables(seasons: Sequence[SeasonComparison], changes: Sequence[ChangeEffect]) -> tuple[Table, ...]:
    """The comparisons with earlier seasons, and those of each change."""
    made = []
    if seasons:
        rows = [
            (
                "season",
                each.now.name,
                each.now.group,
                each.season,
                each.against,
                each.rates[0].ratio if each.rates else None,
                each.rates[1].ratio if each.rates else None,
                *((each.found.ratio, each.found.low, each.found.high) if each.found else (None,) * 3),
                each.p_adjusted,
            )
            for each in seasons
        ]
        names = "factor measure group season against now then ratio low high p_adjusted"
        made.append(make_table("seasons", "This season beside earlier ones", names, rows, _COLUMNS))
    if changes:
        rows = [
            (
                each.what,
                each.on,
                f"{each.measure.name}, {each.measure.group}",
                each.before,
                each.after,
                *((each.found.ratio, each.found.low, each.found.high) if each.found else (None,) * 3),
            )
            for each in changes
        ]
        names = "change on measure before after ratio low high"
        made.append(make_table("changes", "Before and after a change", names, rows, _COLUMNS))
    return tuple(made)
