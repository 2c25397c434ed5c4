"""Reads days as people write them. A day that could be another one is refused, never guessed.

What one cell leaves open, its column may settle: the order of day and month where some day is above 12, the
year where all other rows or the file's name have one, a spreadsheet's serial days where every cell is one.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Literal, NamedTuple

from benchwater.read.outcome import CellError, Reason

DateOrder = Literal["iso", "day first", "month first"]

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = rf"(?P<month>{'|'.join(MONTHS)})[a-z]*\.?"
_YEAR = r"(?P<year>[0-9]{4}|'?[0-9]{2})"
_DAY = r"(?P<day>[0-9]{1,2})(?:st|nd|rd|th)?"
_WEEKDAY = re.compile(
    r"(?:mon|tues?|wed(?:nes)?|thu(?:rs)?|fri|sat(?:ur)?|sun)(?:day)?\.?,?\s+", re.IGNORECASE
)
_ISO = re.compile(
    r"(?P<year>[0-9]{4})(?:[-/.](?P<month>[0-9]{1,2})[-/.]|(?P<two>[0-9]{2}))(?P<day>[0-9]{1,2})"
)
_NUMBERS = re.compile(
    rf"(?P<first>[0-9]{{1,2}})(?P<mark>[-/.])(?P<second>[0-9]{{1,2}})(?:(?P=mark){_YEAR})?\.?"
)
_SPOKEN = (
    re.compile(rf"{_DAY}(?:[-/. ]|\s*of)*{_MONTH}(?:[-/., ]+{_YEAR})?", re.IGNORECASE),
    re.compile(rf"{_MONTH} *{_DAY}(?:[, ]+{_YEAR})?", re.IGNORECASE),
    re.compile(rf"{_MONTH}[-/]{_DAY}[-/]{_YEAR}", re.IGNORECASE),
)
_TIME = re.compile(
    r"(?:T|[ ,]+(?:at )?)(?:(?P<hour>[01]?[0-9]|2[0-3]):(?P<minute>[0-5][0-9])"
    r"(?::(?P<second>[0-5][0-9])(?:\.0+)?)?"
    r"|(?P<only>[01]?[0-9])(?=\s?[ap]))\s?(?P<half>[ap]\.?m\.?)?Z?",
    re.IGNORECASE,
)
_BROKEN_TIME = re.compile(r"(?:T|\s)\s*([0-9]{1,2}[:h][0-9:]*.*)")
_SERIAL = re.compile(r"[34567][0-9]{4}(?:\.[0-9]+)?")
_SERIAL_START = datetime(1899, 12, 30)
_YEAR_IN_NAME = re.compile(r"(?<![0-9])(20[0-9]{2})(?![0-9])")
_ORDERS: tuple[DateOrder, ...] = ("day first", "month first")
_ACCEPTED = "is not a date (accepted: `2026-05-17`, `2026-05-17 09:40`, `17 May 2026`)"


class _Parts(NamedTuple):
    """What a cell says of its day: numbers in written order or day and month, and the year if any."""

    first: int
    second: int
    year: int | None
    is_ordered: bool
    time: tuple[int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class DateHints:
    """What a column says about each of its days: order, year where a cell has none, whether all are serial.

    `said` are cells as written, with what they were taken for.
    """

    order: DateOrder = "iso"
    order_is_stated: bool = True
    year: int | None = None
    are_serial: bool = False
    said: tuple[tuple[str, str], ...] = ()


def date_hints(texts: Iterable[str], order: DateOrder, file: str) -> DateHints:
    """What the days of one column say together. `order` is that of bench.toml."""
    written = [text for text in texts if text]
    if written and all(map(_SERIAL.fullmatch, written)):
        day = f"{_serial(written[0]):%Y-%m-%d}, as spreadsheets count days"
        return DateHints(order=order, are_serial=True, said=((written[0], day),))
    parts = {text: found for text in written if (found := _parts(text)) is not None}
    inferred, decisive = (order, "") if order != "iso" else _order(parts)
    said: tuple[tuple[str, str], ...] = ()
    if decisive:
        said = ((decisive, f"{inferred}, as no other order fits, and so every date of this file"),)
    years = {each.year for each in parts.values() if each.year is not None}
    without = next((text for text, each in parts.items() if each.year is None), None)
    year = None
    if without is not None:
        named = set(_YEAR_IN_NAME.findall(file))
        if len(years) == 1:
            (year,) = years
            said += ((without, f"of {year}, the year of the other rows"),)
        elif not years and len(named) == 1:
            year = int(next(iter(named)))
            said += ((without, f"of {year}, the year in the file's name"),)
    return DateHints(order=inferred, order_is_stated=not decisive, year=year, said=said)


def read_date(text: str, hints: DateHints) -> datetime:
    """A day, or a day and a time."""
    plain = text.strip()
    if hints.are_serial and _SERIAL.fullmatch(plain):
        return _serial(plain)
    parts = _parts(plain)
    if parts is None:
        if broken := _BROKEN_TIME.search(plain):
            why = f"has a time that cannot be read: `{broken[1].strip()}` (accepted: `09:40`, `9:40 am`)"
            raise CellError(Reason.DATE, why)
        raise CellError(Reason.DATE, _ACCEPTED)
    year = parts.year if parts.year is not None else hints.year
    if year is None:
        raise CellError(Reason.DATE, "has no year: write it, or put the year in the file's name")
    if not 1950 <= year <= 2150:
        raise CellError(Reason.DATE, f"is not a date: the year {year} cannot be meant")
    if parts.is_ordered:
        return _moment(year, parts.second, parts.first, parts.time, "")
    if hints.order != "iso":
        by = f", read {hints.order} as {'bench.toml says' if hints.order_is_stated else 'other rows say'}"
        day, month = _ordered(parts, hints.order)
        return _moment(year, month, day, parts.time, by)
    readings = {_ordered(parts, order) for order in _ORDERS}
    possible = [(day, month) for day, month in readings if _is_day(year, month, day)]
    if len(possible) == 1:
        return _moment(year, possible[0][1], possible[0][0], parts.time, "")
    if not possible:
        return _moment(year, parts.first, parts.second, parts.time, "")
    one, other = sorted(f"{year}-{month:02}-{day:02}" for day, month in possible)
    accepted = 'write it as year-month-day, or set `dates = "day first"` or `"month first"` under [bench]'
    raise CellError(Reason.DATE_ORDER, f"could be {one} or {other}: {accepted}")


def is_a_day(text: str) -> bool:
    """Whether a cell may be a day, whatever the order of its day and month."""
    return _SERIAL.fullmatch(text) is not None or _parts(text) is not None


@lru_cache(maxsize=20_000)
def _parts(text: str) -> _Parts | None:
    plain = _WEEKDAY.sub("", text.strip(), count=1)
    time = (0, 0, 0)
    for found in _TIME.finditer(plain):
        if found.end() == len(plain):
            time = _time_of_day(found)
            plain = plain[: found.start()].rstrip(" ,")
            break
    if match := _ISO.fullmatch(plain):
        month = int(match["month"] or match["two"])
        return _Parts(int(match["day"]), month, int(match["year"]), True, time)
    for pattern in _SPOKEN:
        if match := pattern.fullmatch(plain):
            month = MONTHS.index(match["month"].casefold()) + 1
            return _Parts(int(match["day"]), month, _year(match["year"]), True, time)
    if match := _NUMBERS.fullmatch(plain):
        year = _year(match["year"])
        if match["mark"] != "/" and year is None:
            return None
        if match["mark"] == "-" and len(match["year"] or "") == 2 and int(match["first"]) > 12:
            return None
        return _Parts(int(match["first"]), int(match["second"]), year, False, time)
    return None


def _year(text: str | None) -> int | None:
    if text is None:
        return None
    number = int(text.lstrip("'"))
    return number if number > 99 else 2000 + number


def _time_of_day(match: re.Match[str]) -> tuple[int, int, int]:
    hour = int(match["hour"] or match["only"])
    half = (match["half"] or "").casefold()
    if half and 1 <= hour <= 12:
        hour = hour % 12 + (12 if half.startswith("p") else 0)
    return hour, int(match["minute"] or 0), int(match["second"] or 0)


def _order(parts: "dict[str, _Parts]") -> tuple[DateOrder, str]:
    """The only order in which every day of the column is one, and the first cell that tells."""
    numbers = {text: each for text, each in parts.items() if not each.is_ordered}
    telling: dict[DateOrder, list[str]] = {"day first": [], "month first": []}
    for text, each in numbers.items():
        possible = [
            order
            for order in _ORDERS
            if _is_day(each.year or 2000, _ordered(each, order)[1], _ordered(each, order)[0])
        ]
        if len(possible) == 1:
            telling[possible[0]].append(text)
    orders: Sequence[DateOrder] = [order for order in _ORDERS if telling[order]]
    return (orders[0], telling[orders[0]][0]) if len(orders) == 1 else ("iso", "")


def _ordered(parts: _Parts, order: DateOrder) -> tuple[int, int]:
    return (parts.first, parts.second) if order == "day first" else (parts.second, parts.first)


def _is_day(year: int, month: int, day: int) -> bool:
    try:
        datetime(year, month, day)
    except ValueError:
        return False
    return True


def _moment(year: int, month: int, day: int, time: tuple[int, int, int], by: str) -> datetime:
    try:
        return datetime(year, month, day, *time)
    except ValueError:
        why = f"is not a day in the calendar: day {day} of month {month}{by}"
        raise CellError(Reason.DATE, why) from None


def _serial(text: str) -> datetime:
    moment = _SERIAL_START + timedelta(days=float(text))
    return moment.replace(second=0, microsecond=0) + timedelta(minutes=moment.second >= 30)
