"""The axes of a plot: marks and labels, limits, ticks, and values of any kind as numbers."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal

from benchwater.drawing.marks import Mark
from benchwater.drawing.text import EndLabels, Label
from benchwater.words import MONTHS, visible

_MARGINS = {"x": 0.02, "y": 0.05}
_SECONDS = 86_400.0
_ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)
_DAYS_OF_MONTH = (range(1, 32), range(1, 30, 2), (1, 8, 15, 22), (1, 15))
_EVERY_MONTHS = (1, 2, 3, 6, 12)
_EVERY_YEARS = (2, 5, 10, 20, 50, 100, 200, 500, 1000)
_A_YEAR = 366


@dataclass(slots=True)
class Axis:
    """One axis. Limits and ticks that are None follow from the marks."""

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
    """One plot, with methods named as in plotting libraries; `plots` adds the marks.

    Values are numbers, dates or datetimes. A picture draws the marks in the order in which they were added.
    """

    x: Axis = field(default_factory=Axis)
    y: Axis = field(default_factory=lambda: Axis(grid=True))
    marks: list[Mark] = field(default_factory=list)
    labels: list[Label | EndLabels] = field(default_factory=list)
    movable_labels: list[list[Label]] = field(default_factory=list)
    below: list[tuple[str, list[str]]] = field(default_factory=list)
    has_legend: bool = False
    has_axes: bool = True

    def set_xlabel(self, text: str) -> None:
        """Set the label of the horizontal axis, with its unit."""
        self.x.label = visible(text)

    def set_ylabel(self, text: str) -> None:
        """Set the label of the vertical axis, with its unit."""
        self.y.label = visible(text)

    def set_xlim(self, left: Any = None, right: Any = None) -> None:
        """Set the ends of the horizontal axis; None leaves an end as it is."""
        _set_limits(self.x, left, right)

    def set_ylim(self, bottom: Any = None, top: Any = None) -> None:
        """Set the ends of the vertical axis; None leaves an end as it is."""
        _set_limits(self.y, bottom, top)

    def set_xticks(self, ticks: Iterable[Any], labels: Iterable[str] | None = None) -> None:
        """Set the ticks of the horizontal axis and their labels."""
        _set_ticks(self.x, ticks, labels)

    def set_yticks(self, ticks: Iterable[Any], labels: Iterable[str] | None = None) -> None:
        """Set the ticks of the vertical axis and their labels."""
        _set_ticks(self.y, ticks, labels)

    def grid(self, visible: bool = True, *, axis: Literal["x", "y", "both"] = "both") -> None:
        """Switch grid lines on or off."""
        for name in ("x", "y") if axis == "both" else (axis,):
            (self.x if name == "x" else self.y).grid = visible

    def set_axis_off(self) -> None:
        """Draw no axes, ticks or grid."""
        self.has_axes = False

    def set(self, **settings: Any) -> None:
        """Set several at once: `set(xlabel=..., ylim=(0, 1))` is `set_xlabel(...)` and `set_ylim(0, 1)`."""
        for name, value in settings.items():
            arguments = value if name in {"xlim", "ylim"} else (value,)
            getattr(self, f"set_{name}")(*arguments)

    def add(self, mark: Mark) -> None:
        self.marks.append(mark)

    def across(self, values: Iterable[Any]) -> list[float]:
        """Return values of the horizontal axis as numbers; dates turn it into a date axis."""
        return _numbers(self.x, values)

    def up(self, values: Iterable[Any]) -> list[float]:
        """Return values of the vertical axis as numbers; dates turn it into a date axis."""
        return _numbers(self.y, values)

    def limits(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return the limits of both axes: as set, else the range of the marks with a margin."""
        bases = {mark.base for mark in self.marks if mark.base is not None}
        across = [x for mark in self.marks for x in mark.xs]
        up = [y for mark in self.marks for y in mark.ys]
        return _limits(self.x, across, "x", bases), _limits(self.y, up, "y", set())


def ticks_of(axis: Axis, limits: tuple[float, float], most: int) -> tuple[list[float], list[str]]:
    """Return the ticks of an axis within the limits, and their labels."""
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
    shown = [
        (tick, name)
        for tick, name in zip(axis.ticks, names, strict=True)
        if low - slack <= tick <= high + slack
    ]
    return [tick for tick, _ in shown], [name for _, name in shown]


def _set_limits(axis: Axis, low: Any, high: Any) -> None:
    if low is not None:
        axis.low = number(low)
    if high is not None:
        axis.high = number(high)


def _set_ticks(axis: Axis, ticks: Iterable[Any], labels: Iterable[str] | None) -> None:
    axis.ticks = _numbers(axis, ticks)
    axis.names = None if labels is None else [visible(str(label)) for label in labels]


def _numbers(axis: Axis, values: Iterable[Any]) -> list[float]:
    values = list(values)
    axis.days = axis.days or are_days(values)
    return numbers(values)


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
    """Return at most `most` + 1 ticks, 1, 2, 2.5 or 5 times a power of ten apart, and their labels."""
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
    """Return at most `most` days as ordinals, and their labels: equal days of each month, or first days.

    Labels read `3 May` in every locale, or `May 2026` where the axis spans more than a year.
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
    """Yield the candidate ticks in range, from every day to every thousandth year."""
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
    month = MONTHS[day.month - 1][:3]
    return f"{month} {day.year}" if in_years else f"{day.day} {month}"


def _written(place: float, decimals: int) -> str:
    text = f"{place:.{decimals}f}"
    return text.replace("-", "\u2212") if float(text) else f"{0:.{decimals}f}"


def numbers(values: Iterable[Any]) -> list[float]:
    """Return each value as a number: missing as nan, a date as its ordinal, a time as a fraction of a day."""
    return [number(value) for value in values]


def number(value: Any) -> float:
    """Return one value as a number, as `numbers` does."""
    if value is None or value != value:
        return math.nan
    if isinstance(value, date) or _is_numpy_datetime(value):
        moment = value if isinstance(value, date) else value.astype("datetime64[us]").item()
        whole = float(moment.toordinal())
        if isinstance(moment, datetime):
            since = moment.hour * 3600 + moment.minute * 60 + moment.second + moment.microsecond / 1e6
            return whole + since / _SECONDS
        return whole
    return float(value)


def are_days(values: Iterable[Any]) -> bool:
    """Return whether any value is a date or a datetime."""
    return any(isinstance(value, date) or _is_numpy_datetime(value) for value in values)


def _is_numpy_datetime(value: Any) -> bool:
    return getattr(getattr(value, "dtype", None), "kind", "") == "M"
