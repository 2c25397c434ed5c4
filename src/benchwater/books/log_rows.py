"""Small steps from a log's table to plain values."""

from collections.abc import Iterator
from datetime import date, datetime, time
from math import isfinite, nan
from typing import Any

from benchwater.books.once import once_a_season
from benchwater.plugin.season import Season


def log_rows(season: Season, kind: str, *columns: str) -> Iterator[tuple[Any, ...]]:
    """Some columns of a log, row by row, up to the report's end; nothing where the log holds no row."""
    if season.holds(kind):
        yield from zip(*(_cells(season, kind, column) for column in columns), strict=True)


@once_a_season
def _cells(season: Season, kind: str, column: str) -> list[Any]:
    return season.log(kind)[column].tolist()


def midnight(day: date) -> datetime:
    """The moment a day begins."""
    return datetime.combine(day, time())


def number_or_nan(value: object) -> float:
    """A cell as a number, nan where nothing was recorded."""
    return float(value) if isinstance(value, int | float) else nan


def known(value: float) -> float | None:
    """A number for a section: None where it cannot be known."""
    return value if isfinite(value) else None
