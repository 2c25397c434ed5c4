"""Rows of a log's table by day."""

from datetime import date, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


def between(table: "pd.DataFrame", start: date | None, end: date) -> "pd.DataFrame":
    """The rows of a log's table before `end`, from the start of `start` on, as a table of its own.

    Rows in order of date are not copied before somebody writes to them (pandas' copy-on-write).
    """
    dates, behind = table["date"], _midnight(end)
    if dates.is_monotonic_increasing:
        first = 0 if start is None else dates.searchsorted(_midnight(start))
        rows = table.iloc[first : dates.searchsorted(behind)]
    else:
        rows = table[(dates < behind) & (True if start is None else dates >= _midnight(start))]
    return rows.reset_index(drop=True)


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day)
