"""Where ticks stand and what is written at them: round numbers, and round days."""

import math
from collections.abc import Iterator
from datetime import date

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)
_DAYS_OF_MONTH = (range(1, 32), range(1, 30, 2), (1, 8, 15, 22), (1, 15))
_EVERY_MONTHS = (1, 2, 3, 6, 12)
_EVERY_YEARS = (2, 5, 10, 20, 50, 100, 200, 500, 1000)
_A_YEAR = 366


def round_numbers(low: float, high: float, most: int) -> tuple[list[float], list[str]]:
    """At most `most` + 1 numbers from `low` to `high`, 1, 2, 2.5 or 5 times a power of ten apart, as text."""
    rough = (high - low) / max(most, 1)
    power = math.floor(math.log10(rough))
    factor = next(each for each in _ROUND if each * 10.0**power >= rough * (1 - 1e-9))
    step = factor * 10.0**power
    places = [
        number * step for number in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)
    ]
    decimals = max(0, -power + (factor == 2.5) - (factor == 10.0))
    return places, [_written(place, decimals) for place in places]


def round_days(low: float, high: float, most: int) -> tuple[list[float], list[str]]:
    """At most `most` days from `low` to `high`, as ordinals: of every month alike, or firsts of months.

    Written as `3 May`, whatever the locale; as `May 2026` where more than a year is told of.
    """
    first, last = math.ceil(low), math.floor(high)
    days: list[date] = []
    for steps in _steps(first, last):
        days = list(steps)
        if len(days) <= most:
            break
    in_years = last - first > _A_YEAR
    return [float(day.toordinal()) for day in days], [_day(day, in_years) for day in days]


def _steps(first: int, last: int) -> Iterator[Iterator[date]]:
    """From every day to every thousandth year, all that lie within."""
    if last - first <= _A_YEAR:
        for of_month in _DAYS_OF_MONTH:
            yield (day for day in map(date.fromordinal, range(first, last + 1)) if day.day in of_month)
    start, end = date.fromordinal(max(first, 1)), date.fromordinal(max(last, 1))
    firsts = [
        date(number // 12, number % 12 + 1, 1)
        for number in range(start.year * 12 + start.month - 1, end.year * 12 + end.month)
    ]
    firsts = [day for day in firsts if first <= day.toordinal() <= last]
    for every in _EVERY_MONTHS:
        yield (day for day in firsts if (day.month - 1) % every == 0)
    for every in _EVERY_YEARS:
        yield (day for day in firsts if day.month == 1 and day.year % every == 0)


def _day(day: date, in_years: bool) -> str:
    month = MONTHS[day.month - 1]
    return f"{month} {day.year}" if in_years else f"{day.day} {month}"


def _written(place: float, decimals: int) -> str:
    text = f"{place:.{decimals}f}"
    return text.replace("-", "\u2212") if float(text) else f"{0:.{decimals}f}"
