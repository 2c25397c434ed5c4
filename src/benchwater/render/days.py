"""Spans in words, the same in every locale."""

from datetime import date, timedelta

from benchwater.plugin.season import Span
from benchwater.words import MONTHS


def span_title(span: Span) -> str:
    """`May 2026` for a whole month; `Season to date: 1 March to 31 May 2026` for a season."""
    last = span.end - timedelta(days=1)
    if span.name == "season":
        return f"Season to date: {_stretch(span.start, last)}"
    if (
        span.start.day == 1
        and span.end.day == 1
        and (span.start.month, span.start.year) == (last.month, last.year)
    ):
        return f"{MONTHS[last.month - 1]} {last.year}"
    return _stretch(span.start, last)


def month_name(day: date) -> str:
    """`May`."""
    return MONTHS[day.month - 1]


def _stretch(first: date, last: date) -> str:
    year = f" {first.year}" if first.year != last.year else ""
    return f"{first.day} {MONTHS[first.month - 1]}{year} to {last.day} {MONTHS[last.month - 1]} {last.year}"
