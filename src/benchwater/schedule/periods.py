"""The months and seasons that have rows, from the tables of a reading."""

from collections.abc import Iterator, Mapping
from datetime import date
from typing import TYPE_CHECKING

from benchwater.gather.spans import month_spans, season_spans
from benchwater.plugin.bench import Bench
from benchwater.schedule.manifest import Period

if TYPE_CHECKING:
    import pandas as pd


def periods_with_rows(tables: "Mapping[str, pd.DataFrame]", bench: Bench) -> tuple[Period, ...]:
    """Every month and season with a row in any log, in order of their ends; a month before its season."""
    midnights = {each for table in tables.values() for each in table["date"].dropna().dt.normalize().unique()}
    days = [midnight.date() for midnight in sorted(midnights)]
    found = [*_months(days, bench), *_seasons(days, bench)]
    return tuple(sorted(found, key=lambda period: (period.ended_on, period.whole_season, period.label)))


def _months(days: list[date], bench: Bench) -> Iterator[Period]:
    for month in sorted({day.replace(day=1) for day in days}):
        spans = month_spans(month, bench)
        yield Period(
            label=spans.label,
            month=spans.label,
            whole_season=False,
            ended_on=spans.period.end,
            rows_until=spans.season.end,
        )


def _seasons(days: list[date], bench: Bench) -> Iterator[Period]:
    last_rows = {bench.season_of(day): day for day in days}
    for (start, next_start), last_row in last_rows.items():
        month = last_row.replace(day=1)
        if month < start:
            month = date(month.year + month.month // 12, month.month % 12 + 1, 1)
        spans = season_spans(month, bench)
        yield Period(
            label=spans.label,
            month=f"{month:%Y-%m}",
            whole_season=True,
            ended_on=next_start,
            rows_until=spans.season.end,
        )
