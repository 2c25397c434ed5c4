"""Type in a picture: where each line of it stands, and how far it reaches."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from benchwater.drawing.svg import Frame, Point
from benchwater.drawing.typeface import ABOVE, BELOW, CAPITALS, PITCH, width_of

Side = Literal["left", "center", "right"]
Level = Literal["top", "middle", "bottom"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """What something takes of the picture, in points."""

    left: float
    top: float
    right: float
    bottom: float

    def holds(self, point: Point) -> bool:
        """Whether a point lies in it."""
        return self.left <= point[0] <= self.right and self.top <= point[1] <= self.bottom

    def meets(self, other: "Box") -> bool:
        """Whether the two have something in common."""
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of type, set: its start on the baseline, its width. A `turned` one runs upwards."""

    text: str
    x: float
    y: float
    size: float
    colour: str
    turned: bool = False

    @property
    def width(self) -> float:
        """From its start to its end."""
        return width_of(self.text, self.size)

    @property
    def box(self) -> Box:
        """What it takes."""
        above, below = ABOVE * self.size, BELOW * self.size
        if self.turned:
            return Box(left=self.x - above, top=self.y - self.width, right=self.x + below, bottom=self.y)
        return Box(left=self.x, top=self.y - above, right=self.x + self.width, bottom=self.y + below)


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Words beside a place, set off by points to the right and up.

    The place is of values, or, where `x_share` or `y_share` say so, of the frame: 0 is left or bottom, 1
    right or top. `side` is the end of the words that is at the place, `level` their height.
    """

    text: str
    x: float
    y: float
    size: float
    colour: str
    x_share: bool = False
    y_share: bool = False
    points: Point = (0.0, 0.0)
    side: Side = "left"
    level: Level = "middle"

    def lines(self, frame: Frame) -> Iterator[Line]:
        """Set in a frame, line by line."""
        at = frame.left + self.x * frame.width if self.x_share else frame.across(self.x)
        base = frame.bottom - self.y * frame.height if self.y_share else frame.down(self.y)
        at, base = at + self.points[0], base - self.points[1]
        told = self.text.split("\n")
        pitch = PITCH * self.size
        below = pitch * (len(told) - 1)
        first = {
            "top": base + ABOVE * self.size,
            "middle": base + CAPITALS / 2 * self.size - below / 2,
            "bottom": base - BELOW * self.size - below,
        }[self.level]
        for number, text in enumerate(told):
            wide = width_of(text, self.size)
            start = at - {"left": 0.0, "center": wide / 2, "right": wide}[self.side]
            yield Line(text=text, x=start, y=first + pitch * number, size=self.size, colour=self.colour)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """Names to the right of a place, each at its height, pushed apart where they would lie on each other."""

    x: float
    ends: Sequence[tuple[float, str]]
    room: float
    size: float
    colour: str

    def lines(self, frame: Frame) -> Iterator[Line]:
        """Set in a frame."""
        gap = max(PITCH * self.size, self.room * frame.height)
        places = sorted(((frame.down(height), name) for height, name in self.ends), reverse=True)
        lowest = max(frame.bottom, places[0][0]) if places else 0.0
        highest = min(frame.top, places[-1][0]) if places else 0.0
        settled = _apart([down for down, _ in places], gap, lowest, highest)
        for down, (_, name) in zip(settled, places, strict=True):
            base = down + CAPITALS / 2 * self.size
            x = frame.across(self.x) + 4
            yield Line(text=name, x=x, y=base, size=self.size, colour=self.colour)


def _apart(places: Sequence[float], gap: float, lowest: float, highest: float) -> list[float]:
    """The heights, lowest first, so moved that none is nearer than `gap` to the next, within the two."""
    moved = list(places)
    for at in range(1, len(moved)):
        moved[at] = min(moved[at], moved[at - 1] - gap)
    if moved and moved[-1] < highest:
        moved[-1] = highest
        for at in range(len(moved) - 2, -1, -1):
            moved[at] = min(lowest, max(moved[at], moved[at + 1] + gap))
    return moved


def best_of(choices: Sequence[Words], frame: Frame, busy: Sequence[Point], taken: Sequence[Box]) -> Words:
    """The first of several places for words that crosses least of what is drawn, and no other words."""

    def crossed(words: Words) -> int:
        boxes = [line.box for line in words.lines(frame)]
        over = sum(box.holds(point) for box in boxes for point in busy)
        return over + 1000 * sum(box.meets(other) for box in boxes for other in taken)

    return min(choices, key=crossed)


def moved(words: Words, **changes: object) -> Words:
    """The same words elsewhere."""
    return replace(words, **changes)  # type: ignore[arg-type]
