"""The days that a report covers. The logs and the request decide; nothing here reads a clock."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from benchwater.plugin.bench import Bench
from benchwater.plugin.season import Span
from benchwater.text import did_you_mean, quoted

if TYPE_CHECKING:
    import pandas as pd

_WORD = re.compile(r"[^\W_]+")
_MONTH = re.compile(r"([0-9]{4})-([0-9]{2})")


class SpanError(ValueError):
    """The request names no possible period; the message says what to write instead."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spans:
    """The period, the season to date, and the report's label, which names its folder."""

    label: str
    period: Span
    season: Span

    @property
    def parts(self) -> tuple[Span, ...]:
        """The spans that each analysis is called with."""
        return (self.season,) if self.period.name == "season" else (self.period, self.season)

    @property
    def latest_month(self) -> date:
        """The first day of the report's last month."""
        return (self.season.end - timedelta(days=1)).replace(day=1)

    @property
    def recent(self) -> Span:
        """The last month and the month before, no earlier than the season."""
        before = (self.latest_month - timedelta(days=1)).replace(day=1)
        start = max(before, self.season.start)
        label = f"{start:%Y-%m} to {self.latest_month:%Y-%m}"
        return Span(name="period", label=label, start=start, end=self.season.end)


def read_month(text: str) -> date:
    """Return the first day of a month written `2026-05`. SpanError for any other text."""
    match = _MONTH.fullmatch(text.strip())
    if match is None or not 1 <= int(match[2]) <= 12 or not 1950 <= int(match[1]) <= 2150:
        raise SpanError(f"`{text}` is not a month (accepted: `2026-05`)")
    return date(int(match[1]), int(match[2]), 1)


def month_spans(month: date, bench: Bench) -> Spans:
    """Return the month, and its season up to the month's end."""
    end = month_after(month)
    start, _ = bench.season_of(end - timedelta(days=1))
    return Spans(
        label=f"{month:%Y-%m}",
        period=Span(name="period", label=f"{month:%Y-%m}", start=month, end=end),
        season=Span(name="season", label=f"season from {start.isoformat()}", start=start, end=end),
    )


def season_spans(last_row: date, bench: Bench) -> Spans:
    """Return the season of the last row, up to the end of that row's month or of the season."""
    start, next_start = bench.season_of(last_row)
    end = min(month_after(last_row), next_start)
    season = Span(name="season", label=f"season from {start.isoformat()}", start=start, end=end)
    return Spans(label=f"season-{start:%Y}", period=season, season=season)


def trip_spans(name: str, bench: Bench) -> Spans:
    """Return the days of a trip of bench.toml, and its season up to them. SpanError if there is none such."""
    if name not in bench.trips:
        there_are = (
            f"there are: {quoted(bench.trips)}" if bench.trips else "bench.toml names none under [trips]"
        )
        raise SpanError(f"there is no trip `{name}`{did_you_mean(name, bench.trips, there_are)}")
    trip = bench.trips[name]
    end = trip.last + timedelta(days=1)
    start, _ = bench.season_of(trip.last)
    label = "-".join(["trip", str(trip.first), *_WORD.findall(name.lower())])
    return Spans(
        label=label,
        period=Span(name="period", label=label, start=trip.first, end=end),
        season=Span(name="season", label=f"season from {start.isoformat()}", start=start, end=end),
    )


def earlier_spans(spans: Spans, bench: Bench) -> tuple[Spans, ...]:
    """Return the spans of such a report of each earlier month of the season, the latest first."""
    earlier = []
    month = (spans.latest_month - timedelta(days=1)).replace(day=1)
    while month_after(month) > spans.season.start:
        of_month = month_spans(month, bench)
        earlier.append(
            of_month if spans.period != spans.season else replace(of_month, period=of_month.season)
        )
        month = (month - timedelta(days=1)).replace(day=1)
    return tuple(earlier)


def last_day(tables: "Mapping[str, pd.DataFrame]") -> date | None:
    """Return the day of the latest row of any log, None without rows."""
    days = [table["date"].max().date() for table in tables.values() if len(table)]
    return max(days, default=None)


def falls_in(tables: "Mapping[str, pd.DataFrame]", span: Span) -> bool:
    """Return whether any row of any log falls in the span."""
    days = (table["date"].dt.date for table in tables.values() if len(table))
    return any(((day >= span.start) & (day < span.end)).any() for day in days)


def month_after(day: date) -> date:
    """Return the first day of the month after the day's."""
    return date(day.year + day.month // 12, day.month % 12 + 1, 1)
