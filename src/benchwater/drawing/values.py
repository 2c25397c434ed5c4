"""Values as analyses hand them over, as plain numbers: lists, arrays, columns, of numbers or of days."""

import math
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

_SECONDS = 86_400.0


def numbers(values: Iterable[Any]) -> list[float]:
    """Each as a number, a missing one as nan; a day as its ordinal, a moment as a part of a day on top."""
    return [number(value) for value in values]


def number(value: Any) -> float:
    """One of them."""
    if value is None or value != value:
        return math.nan
    if isinstance(value, date) or is_day(value):
        moment = value if isinstance(value, date) else value.astype("datetime64[us]").item()
        whole = float(moment.toordinal())
        if isinstance(moment, datetime):
            since = moment.hour * 3600 + moment.minute * 60 + moment.second + moment.microsecond / 1e6
            return whole + since / _SECONDS
        return whole
    return float(value)


def are_days(values: Iterable[Any]) -> bool:
    """Whether any of them is a day or a moment."""
    return any(isinstance(value, date) or is_day(value) for value in values)


def is_day(value: Any) -> bool:
    """Whether it is a moment of numpy's."""
    return getattr(getattr(value, "dtype", None), "kind", "") == "M"
