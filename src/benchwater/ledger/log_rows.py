"""Small steps from days and amounts to moments and numbers."""

from datetime import date, datetime, time
from math import isfinite


def midnight(day: date) -> datetime:
    """The moment a day begins."""
    return datetime.combine(day, time())


def known(value: float) -> float | None:
    """A number for a section: None where it cannot be known."""
    return value if isfinite(value) else None
