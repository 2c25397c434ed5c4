"""One plot: its marks and words, its limits, ticks and labels."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal

from benchwater.drawing.labels import Ends, Words
from benchwater.drawing.marks import Mark
from benchwater.words import visible

_MARGINS = {"x": 0.02, "y": 0.05}
_SECONDS = 86_400.0
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)
_DAYS_OF_MONTH = (range(1, 32), range(1, 30, 2), (1, 8, 15, 22), (1, 15))
_EVERY_MONTHS = (1, 2, 3, 6, 12)
_EVERY_YEARS = (2, 5, 10, 20, 50, 100, 200, 500, 1000)
_A_YEAR = 366


@dataclass(slots=True)
class Axis:
    """One axis. A limit that is None comes from the marks; so do ticks that are None."""

    label: str = ""
    low: float | None = None
    high: float | None = None
    ticks: list[float] | None = None
    names: list[str] | None = None
    grid: bool = False
    days: bool = False
    ticked: bool = True


@dataclass(slots=True)
class Axes:
    """One plot. Its methods are named as plotting libraries name them; the marks come from `plots`.

    Values are numbers, days or moments. A picture draws the marks in the order they were added.
    """

    x: Axis = field(default_factory=Axis)
    y: Axis = field(default_factory=lambda: Axis(grid=True))
    marks: list[Mark] = field(default_factory=list)
    words: list[Words | Ends] = field(default_factory=list)
    noted: list[list[Words]] = field(default_factory=list)
    below: list[tuple[str, list[str]]] = field(default_factory=list)
    keyed: bool = False
    drawn: bool = True

    def set_xlabel(self, text: str) -> None:
        """What is across, with its unit."""
        self.x.label = visible(text)

    def set_ylabel(self, text: str) -> None:
        """What is up the side, with its unit."""
        self.y.label = visible(text)

    def set_xlim(self, left: Any = None, right: Any = None) -> None:
        """Where the horizontal axis begins and ends; None leaves an end as it is."""
        _set_limits(self.x, left, right)

    def set_ylim(self, bottom: Any = None, top: Any = None) -> None:
        """Where the vertical axis begins and ends; None leaves an end as it is."""
        _set_limits(self.y, bottom, top)

    def set_xticks(self, ticks: Iterable[Any], labels: Iterable[str] | None = None) -> None:
        """Where the horizontal axis has ticks, and what is written there."""
        _set_ticks(self.x, ticks, labels)

    def set_yticks(self, ticks: Iterable[Any], labels: Iterable[str] | None = None) -> None:
        """Where the vertical axis has ticks, and what is written there."""
        _set_ticks(self.y, ticks, labels)

    def grid(self, visible: bool = True, *, axis: Literal["x", "y", "both"] = "both") -> None:
        """Whether lines lead from the ticks across the plot."""
        for name in ("x", "y") if axis == "both" else (axis,):
            (self.x if name == "x" else self.y).grid = visible

    def set_axis_off(self) -> None:
        """No axes, no ticks, no grid."""
        self.drawn = False

    def set(self, **settings: Any) -> None:
        """Several at once: `set(xlabel=..., ylim=(0, 1))` is `set_xlabel(...)` and `set_ylim(0, 1)`."""
        for name, value in settings.items():
            told = value if name in {"xlim", "ylim"} else (value,)
            getattr(self, f"set_{name}")(*told)

    def add(self, mark: Mark) -> None:
        """Take in a mark."""
        self.marks.append(mark)

    def across(self, values: Iterable[Any]) -> list[float]:
        """Values of the horizontal axis as numbers; that they are days is remembered."""
        return _numbers(self.x, values)

    def up(self, values: Iterable[Any]) -> list[float]:
        """Values of the vertical axis as numbers; that they are days is remembered."""
        return _numbers(self.y, values)

    def limits(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Of both axes: as set, else as far as the marks reach, and a little more."""
        bases = {mark.base for mark in self.marks if mark.base is not None}
        across = [x for mark in self.marks for x in mark.xs]
        up = [y for mark in self.marks for y in mark.ys]
        return _limits(self.x, across, "x", bases), _limits(self.y, up, "y", set())


def ticks_of(axis: Axis, limits: tuple[float, float], most: int) -> tuple[list[float], list[str]]:
    """Where an axis has ticks within the limits, and what is written there."""
    low, high = sorted(limits)
    if axis.ticks is None:
        return (round_days if axis.days else round_numbers)(low, high, most)
    names = axis.names
    if names is None:
        names = [f"{tick:g}" for tick in axis.ticks]
        if len(axis.ticks) > 1:
            decimals = max(len(name.partition(".")[2]) for name in names)
            names = [f"{tick:.{decimals}f}" for tick in axis.ticks]
    slack = 1e-9 * (high - low)
    there = [
        (tick, name)
        for tick, name in zip(axis.ticks, names, strict=True)
        if low - slack <= tick <= high + slack
    ]
    return [tick for tick, _ in there], [name for _, name in there]


def _set_limits(axis: Axis, low: Any, high: Any) -> None:
    if low is not None:
        axis.low = number(low)
    if high is not None:
        axis.high = number(high)


def _set_ticks(axis: Axis, ticks: Iterable[Any], labels: Iterable[str] | None) -> None:
    axis.ticks = _numbers(axis, ticks)
    axis.names = None if labels is None else [visible(str(label)) for label in labels]


def _numbers(axis: Axis, values: Iterable[Any]) -> list[float]:
    told = list(values)
    axis.days = axis.days or are_days(told)
    return numbers(told)


def _limits(axis: Axis, values: Sequence[float], name: str, bases: set[float]) -> tuple[float, float]:
    finite = [value for value in (*values, *(axis.ticks or ())) if math.isfinite(value)]
    low, high = (min(finite), max(finite)) if finite else (0.0, 1.0)
    if axis.low is not None and axis.high is None:
        high = max(high, axis.low)
    if axis.high is not None and axis.low is None:
        low = min(low, axis.high)
    largest = max(abs(low), abs(high))
    if high - low <= 1e-9 * max(largest, 1e-3):
        wide = 0.05 * largest if largest > 1e-9 else 0.5
        low, high = (low if low in bases else low - wide), high + wide
    room = _MARGINS[name] * (high - low)
    lower = axis.low if axis.low is not None else low if low in bases else low - room
    upper = axis.high if axis.high is not None else high if high in bases else high + room
    return (lower, upper) if lower != upper else (lower - 0.5, upper + 0.5)


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
