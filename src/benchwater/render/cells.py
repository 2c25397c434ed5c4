"""Cells as plain values: what pandas and numpy leave behind becomes Python's own, or None."""

import math
from datetime import date, datetime, time
from typing import cast

from benchwater.plugin.section import Cell

_MISSING = frozenset(("NaTType", "NAType"))


def plain(value: object) -> Cell:
    """The value as text, number, truth or date. Whatever is missing or not finite is None."""
    if value is None or type(value).__name__ in _MISSING:
        return None
    if isinstance(value, bool | str):
        return str(value) if isinstance(value, str) else value
    if isinstance(value, datetime):
        moment = value.replace(tzinfo=None)
        return moment.date() if moment.time() == time() else _python_datetime(moment)
    if isinstance(value, date | int):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if hasattr(value, "item"):
        return plain(cast("object", value.item()))
    return str(value)


def iso(day: date) -> str:
    """A date as `2026-05-03`, or with its time to the minute where it has one (seconds where needed)."""
    if not isinstance(day, datetime):
        return day.isoformat()
    return day.isoformat(sep="T", timespec="auto" if day.second or day.microsecond else "minutes")


def _python_datetime(moment: datetime) -> datetime:
    return datetime.combine(moment.date(), moment.time())
