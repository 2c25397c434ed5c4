"""The marks of a plot. Each knows the values it covers and how to draw itself in a frame."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, pairwise
from typing import ClassVar

from benchwater.drawing.svg import Attributes, Frame, Point, element, path, runs, short, thinned

GROUND, FILLS, LINES = 1, 2, 3
"""The drawing order; the grid comes after the ground."""
CLIP = "plot"
"""The id of the clip path that a picture makes of its frame."""
_ROUND = 0.5523
_KEY, _KEY_HIGH = 15.0, 5.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """`xs` and `ys` set the limits; `label` is for the legend; `base` is a value that needs no margin."""

    xs: Sequence[float] = ()
    ys: Sequence[float] = ()
    label: str = ""
    base: float | None = None
    layer: ClassVar[int] = LINES

    @property
    def key_width(self) -> float:
        """Return its width in the legend."""
        return _KEY

    def draw(self, frame: Frame) -> str:
        """Return it as SVG."""
        return ""

    def key(self, x: float, y: float) -> str:
        """Return it as SVG for the legend, from `x` on, centred on `y`."""
        return ""

    def touched(self, frame: Frame) -> Iterator[Point]:
        """Yield points that labels should avoid."""
        return iter(())


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve(Mark):
    """A line from value to value, with gaps where a value is not finite."""

    colour: str
    dashes: str = ""
    width: float = 1.5

    def draw(self, frame: Frame) -> str:
        lines = runs(map(frame.point, self.xs, self.ys))
        return self._stroke("".join(path(thinned(line)) for line in lines), _clip(self, frame))

    def key(self, x: float, y: float) -> str:
        return self._stroke(path([(x, y), (x + _KEY, y)]))

    def touched(self, frame: Frame) -> Iterator[Point]:
        for line in runs(map(frame.point, self.xs, self.ys)):
            for before, after in pairwise(line):
                yield from _along(before, after)

    def _stroke(self, d: str, clip: str = "") -> str:
        style: Attributes = {
            "stroke": self.colour,
            "stroke_width": self.width,
            "stroke_dasharray": self.dashes,
        }
        return element("path", d=d, fill="none", **style, clip_path=clip) if d else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Area(Mark):
    """The area between two lines: `ys` holds the heights of the lower, then those of the upper."""

    colour: str
    opacity: float = 1.0
    edge: str = ""
    layer: ClassVar[int] = FILLS

    def draw(self, frame: Frame) -> str:
        lows, highs = self.ys[: len(self.xs)], self.ys[len(self.xs) :]
        shapes = ""
        for run in runs(
            (index, low + high) for index, (low, high) in enumerate(zip(lows, highs, strict=True))
        ):
            at = [int(index) for index, _ in run]
            lower = thinned([frame.point(self.xs[each], lows[each]) for each in at])
            upper = thinned([frame.point(self.xs[each], highs[each]) for each in at])
            shapes += path([*lower, *reversed(upper)], closed=True)
        if not shapes:
            return ""
        style: Attributes = {"fill": self.colour, "fill_opacity": "" if self.opacity == 1 else self.opacity}
        edge: Attributes = {"stroke": self.edge, "stroke_width": 0.7} if self.edge else {}
        return element("path", d=shapes, **style, **edge, clip_path=_clip(self, frame))


@dataclass(frozen=True, slots=True, kw_only=True)
class Dots(Mark):
    """A marker at each value within the limits; markers are o, s, ^, D, v and P, as wide as `size`."""

    marker: str
    size: float
    fill: str
    edge: str
    edge_width: float

    @property
    def key_width(self) -> float:
        return self.size + 1

    def draw(self, frame: Frame) -> str:
        inside = [(x, y) for x, y in zip(self.xs, self.ys, strict=True) if frame.holds(x, y)]
        return self._drawn([frame.point(x, y) for x, y in inside])

    def key(self, x: float, y: float) -> str:
        return self._drawn([(x + self.key_width / 2, y)])

    def touched(self, frame: Frame) -> Iterator[Point]:
        return map(frame.point, self.xs, self.ys)

    def _drawn(self, places: Sequence[Point]) -> str:
        if not places:
            return ""
        shape = _shape(self.marker, self.size / 2)
        d = "".join(f"M{short(x + shape[0][0])} {short(y + shape[0][1])}{shape[1]}" for x, y in places)
        return element("path", d=d, fill=self.fill, stroke=self.edge, stroke_width=self.edge_width)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stems(Mark):
    """Straight lines: `xs` and `ys` hold all starts, then all ends."""

    colour: str
    width: float = 1.3

    def draw(self, frame: Frame) -> str:
        d = "".join(path(ends) for ends in self._ends(frame))
        return element("path", d=d, fill="none", stroke=self.colour, stroke_width=self.width) if d else ""

    def touched(self, frame: Frame) -> Iterator[Point]:
        for start, end in self._ends(frame):
            yield from _along(start, end)

    def _ends(self, frame: Frame) -> Iterator[tuple[Point, Point]]:
        half = len(self.xs) // 2
        for each in range(half):
            values = self.xs[each], self.ys[each], self.xs[half + each], self.ys[half + each]
            if not any(math.isnan(value) for value in values):
                x, y, to_x, to_y = values
                start = frame.point(_within(x, frame.x), _within(y, frame.y))
                yield start, frame.point(_within(to_x, frame.x), _within(to_y, frame.y))


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars(Mark):
    """Horizontal bars from 0 to each value; `high` is their height on the vertical axis.

    `pale` ones are light, with an edge of the colour.
    """

    colour: str
    high: float
    rows: Sequence[float]
    lengths: Sequence[float]
    pale: bool = False
    layer: ClassVar[int] = FILLS

    def draw(self, frame: Frame) -> str:
        d = ""
        for row, length in zip(self.rows, self.lengths, strict=True):
            if math.isfinite(row + length) and length:
                start, end = (frame.across(_within(value, frame.x)) for value in (0.0, length))
                top, bottom = frame.down(row + self.high / 2), frame.down(row - self.high / 2)
                d += path([(start, top), (end, top), (end, bottom), (start, bottom)], closed=True)
        return element("path", d=d, **self._style()) if d else ""

    def key(self, x: float, y: float) -> str:
        return element("rect", x=x, y=y - _KEY_HIGH / 2, width=_KEY, height=_KEY_HIGH, **self._style())

    def _style(self) -> Attributes:
        pale: Attributes = {"fill_opacity": 0.3, "stroke": self.colour, "stroke_width": 0.7}
        return {"fill": self.colour, **(pale if self.pale else {})}


@dataclass(frozen=True, slots=True, kw_only=True)
class Ribbon(Mark):
    """A curved band between two points of its upper edge; `thick` is its height on the vertical axis."""

    start: Point
    end: Point
    thick: float
    colour: str
    opacity: float = 1.0
    layer: ClassVar[int] = FILLS

    def draw(self, frame: Frame) -> str:
        (left, high), (right, other) = self.start, self.end
        half = (left + right) / 2

        def at(x: float, y: float) -> str:
            return f"{short(frame.across(x))} {short(frame.down(y))}"

        low, other_low = high - self.thick, other - self.thick
        d = (
            f"M{at(left, high)}C{at(half, high)} {at(half, other)} {at(right, other)}"
            f"L{at(right, other_low)}C{at(half, other_low)} {at(half, low)} {at(left, low)}Z"
        )
        return element("path", d=d, fill=self.colour, fill_opacity=self.opacity)


@dataclass(frozen=True, slots=True, kw_only=True)
class Block(Mark):
    """A rectangle: `xs` and `ys` are its sides."""

    colour: str
    layer: ClassVar[int] = FILLS

    def draw(self, frame: Frame) -> str:
        left, right = sorted(frame.across(x) for x in self.xs)
        top, bottom = sorted(frame.down(y) for y in self.ys)
        return element("rect", x=left, y=top, width=right - left, height=bottom - top, fill=self.colour)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule(Mark):
    """A dashed line at a value, from side to side of the plot: `xs` or `ys` holds it."""

    colour: str

    def draw(self, frame: Frame) -> str:
        d = ""
        for x in self.xs:
            if frame.holds(x, frame.y[0]):
                d += path([(frame.across(x), frame.bottom), (frame.across(x), frame.top)])
        for y in self.ys:
            if frame.holds(frame.x[0], y):
                d += path([(frame.left, frame.down(y)), (frame.right, frame.down(y))])
        style: Attributes = {"stroke": self.colour, "stroke_width": 0.9, "stroke_dasharray": "3.6 2.7"}
        return element("path", d=d, fill="none", **style) if d else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch(Mark):
    """A shaded part of the horizontal axis, over the whole height: `xs` are its ends."""

    colour: str
    layer: ClassVar[int] = GROUND

    def draw(self, frame: Frame) -> str:
        left, right = sorted(frame.across(_within(x, frame.x)) for x in self.xs)
        return element("rect", x=left, y=frame.top, width=right - left, height=frame.height, fill=self.colour)


def _along(start: Point, end: Point) -> Iterator[Point]:
    """Yield points from one to the other, at most 3 points (1/72 inch) apart."""
    steps = 1 + int(min(math.dist(start, end), 1000) // 3)
    for step in range(steps + 1):
        share = step / steps
        yield start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])


def _within(value: float, limits: tuple[float, float]) -> float:
    return min(max(value, min(limits)), max(limits))


def _clip(mark: Mark, frame: Frame) -> str:
    """Return the clip path for a mark that extends beyond the frame, else nothing."""
    (left, right), (bottom, top) = sorted(frame.x), sorted(frame.y)
    slack = 1e-9 * (right - left + top - bottom)
    over = chain(
        (x < left - slack or x > right + slack for x in mark.xs),
        (y < bottom - slack or y > top + slack for y in mark.ys),
    )
    return f"url(#{CLIP})" if any(over) else ""


def _shape(marker: str, half: float) -> tuple[Point, str]:
    """Return where a marker's outline starts, relative to its centre, and the path round it."""
    if marker == "o":
        arm = _ROUND * half
        quarters = (
            (0, -arm, half - arm, -half, half, -half),
            (arm, 0, half, half - arm, half, half),
            (0, arm, arm - half, half, -half, half),
            (-arm, 0, -half, arm - half, -half, -half),
        )
        round_ = "".join(f"c{' '.join(short(each) for each in quarter)}" for quarter in quarters)
        return (-half, 0.0), f"{round_}z"
    third = half * 2 / 3
    corners: dict[str, list[Point]] = {
        "s": [(-half, -half), (half, -half), (half, half), (-half, half)],
        "^": [(0, -half), (half, half), (-half, half)],
        "v": [(0, half), (half, -half), (-half, -half)],
        "D": [(0, -1.3 * half), (1.3 * half, 0), (0, 1.3 * half), (-1.3 * half, 0)],
        "P": [
            (-third / 2, -half), (third / 2, -half), (third / 2, -third / 2), (half, -third / 2),
            (half, third / 2), (third / 2, third / 2), (third / 2, half), (-third / 2, half),
            (-third / 2, third / 2), (-half, third / 2), (-half, -third / 2), (-third / 2, -third / 2),
        ],
    }  # fmt: skip
    places = corners[marker]
    steps = pairwise(places)
    return places[0], "".join(f"l{short(b[0] - a[0])} {short(b[1] - a[1])}" for a, b in steps) + "z"
