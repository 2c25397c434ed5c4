"""One plot: its marks and words, its limits, ticks and labels."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from benchwater.drawing.marks import Mark
from benchwater.drawing.ticks import round_days, round_numbers
from benchwater.drawing.values import are_days, number, numbers
from benchwater.drawing.words import Ends, Words
from benchwater.render.text import visible

_MARGINS = {"x": 0.02, "y": 0.05}


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
