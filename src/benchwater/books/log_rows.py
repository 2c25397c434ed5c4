"""Small steps from a log's table to plain values."""

from collections.abc import Iterator
from datetime import date, datetime, time
from math import isfinite, nan
from typing import Any

from benchwater.plugin.season import Season


def log_rows(season: Season, kind: str, *columns: str) -> Iterator[tuple[Any, ...]]:
    """Some columns of a log, row by row, up to the report's end; nothing where the log holds no row."""
    if season.holds(kind):
        log = season.log(kind)
        yield from zip(*(log[column].tolist() for column in columns), strict=True)


def midnight(day: date) -> datetime:
    """The moment a day begins."""
    return datetime.combine(day, time())


def number_or_nan(value: object) -> float:
    """A cell as a number, nan where nothing was recorded."""
    return float(value) if isinstance(value, int | float) else nan


def known(value: float) -> float | None:
    """A number for a section: None where it cannot be known."""
    return value if isfinite(value) else None
