"""Text in plots: the typeface (Open Sans unchanged, see fonts/README.md), widths, and where lines stand."""

import json
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, NamedTuple

from benchwater.drawing.svg import Frame, Point

Side = Literal["left", "center", "right"]
Level = Literal["top", "middle", "bottom"]
FAMILY = "Benchwater Sans"
_FONTS = Path(__file__).parent / "fonts"


class Face(NamedTuple):
    """One font file, with the weight and style it stands for under the name `FAMILY`."""

    path: Path
    weight: int
    style: Literal["normal", "italic"]


FACES = (
    Face(_FONTS / "OpenSans-Regular.ttf", 400, "normal"),
    Face(_FONTS / "OpenSans-Italic.ttf", 400, "italic"),
    Face(_FONTS / "OpenSans-Semibold.ttf", 600, "normal"),
    Face(_FONTS / "OpenSans-Bold.ttf", 700, "normal"),
)
FAMILIES = f"{FAMILY},Open Sans,Segoe UI,Roboto,Helvetica Neue,Arial,sans-serif"
"""The page's typeface, then those a browser may have, as in report.css."""
CAPITALS = 0.714
"""The height of capitals and digits, as a share of the type size."""
ABOVE, BELOW = 0.76, 0.24
"""The extent of a line above and below its baseline, as shares of the type size."""
PITCH = 1.2
"""The line spacing, as a share of the type size."""
ADVANCES_FILE = _FONTS / "advances.json"
_OTHER, _WIDE = 0.6, 1.0


@cache
def advances() -> tuple[float, dict[int, float]]:
    """Return the font units per em, and the advance width of each letter of the regular face by code point.

    A file has them, because reading the font would take as long as drawing all plots of a report;
    `tests/drawing/write_advances.py` writes it.
    """
    measured = json.loads(ADVANCES_FILE.read_text(encoding="utf-8"))
    return measured["per_size"], {int(code): width for code, width in measured["advances"].items()}


def width_of(text: str, size: float) -> float:
    """Return the width of a line of regular type, in the unit of `size`."""
    per_em, widths = advances()
    return size / per_em * sum(widths[ord(c)] if ord(c) in widths else per_em * _guess(c) for c in text)


def _guess(letter: str) -> float:
    """Return an estimated width, in ems, of a letter that the typeface lacks and another one sets."""
    if unicodedata.combining(letter):
        return 0.0
    return _WIDE if unicodedata.east_asian_width(letter) in "WF" else _OTHER


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle of the picture, in points."""

    left: float
    top: float
    right: float
    bottom: float

    def holds(self, point: Point) -> bool:
        return self.left <= point[0] <= self.right and self.top <= point[1] <= self.bottom

    def meets(self, other: "Box") -> bool:
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of text, from its start on the baseline. A `turned` line runs upwards."""

    text: str
    x: float
    y: float
    size: float
    colour: str
    turned: bool = False

    @property
    def width(self) -> float:
        return width_of(self.text, self.size)

    @property
    def box(self) -> Box:
        above, below = ABOVE * self.size, BELOW * self.size
        if self.turned:
            return Box(left=self.x - above, top=self.y - self.width, right=self.x + below, bottom=self.y)
        return Box(left=self.x, top=self.y - above, right=self.x + self.width, bottom=self.y + below)


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A label at a place, offset by `points` to the right and up.

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
        at = frame.left + self.x * frame.width if self.x_share else frame.across(self.x)
        base = frame.bottom - self.y * frame.height if self.y_share else frame.down(self.y)
        at, base = at + self.points[0], base - self.points[1]
        rows = self.text.split("\n")
        pitch = PITCH * self.size
        below = pitch * (len(rows) - 1)
        first = {
            "top": base + ABOVE * self.size,
            "middle": base + CAPITALS / 2 * self.size - below / 2,
            "bottom": base - BELOW * self.size - below,
        }[self.level]
        for number, text in enumerate(rows):
            wide = width_of(text, self.size)
            start = at - {"left": 0.0, "center": wide / 2, "right": wide}[self.side]
            yield Line(text=text, x=start, y=first + pitch * number, size=self.size, colour=self.colour)


@dataclass(frozen=True, slots=True, kw_only=True)
class EndLabels:
    """Labels to the right of a plot, each at its height, moved apart where they would overlap."""

    x: float
    ends: Sequence[tuple[float, str]]
    room: float
    size: float
    colour: str

    def lines(self, frame: Frame) -> Iterator[Line]:
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
    """Return the heights, lowest first, moved at least `gap` apart and within the limits."""
    moved = list(places)
    for at in range(1, len(moved)):
        moved[at] = min(moved[at], moved[at - 1] - gap)
    if moved and moved[-1] < highest:
        moved[-1] = highest
        for at in range(len(moved) - 2, -1, -1):
            moved[at] = min(lowest, max(moved[at], moved[at + 1] + gap))
    return moved


def best_of(choices: Sequence[Label], frame: Frame, busy: Sequence[Point], taken: Sequence[Box]) -> Label:
    """Return the first label that overlaps no other and covers the fewest points of the marks."""

    def crossed(words: Label) -> int:
        boxes = [line.box for line in words.lines(frame)]
        over = sum(box.holds(point) for box in boxes for point in busy)
        return over + 1000 * sum(box.meets(other) for box in boxes for other in taken)

    return min(choices, key=crossed)
