"""SVG as text: elements, numbers in two decimals, paths. A point is (x, y) in points from the top left."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import groupby

Point = tuple[float, float]
Attributes = dict[str, str | float]

_MANY, _FINEST = 300, 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The rectangle of a plot, in points from the picture's top left, and the limits of both axes.

    Limits run from left to right and from bottom to top; the second may be the lower one.
    """

    left: float
    top: float
    right: float
    bottom: float
    x: tuple[float, float]
    y: tuple[float, float]

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    def across(self, value: float) -> float:
        """Return the position of a value of the horizontal axis."""
        low, high = self.x
        return self.left + (value - low) / (high - low) * self.width

    def down(self, value: float) -> float:
        """Return the position of a value of the vertical axis."""
        low, high = self.y
        return self.bottom - (value - low) / (high - low) * self.height

    def point(self, x: float, y: float) -> Point:
        """Return the position of a pair of values."""
        return self.across(x), self.down(y)

    def holds(self, x: float, y: float) -> bool:
        """Return whether a point lies within the limits or on them."""
        (left, right), (bottom, top) = sorted(self.x), sorted(self.y)
        slack_x, slack_y = 1e-9 * (right - left), 1e-9 * (top - bottom)
        return left - slack_x <= x <= right + slack_x and bottom - slack_y <= y <= top + slack_y


def short(value: float) -> str:
    """Return a length with at most two decimals: `1.5`, `0`."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def element(name: str, content: str | None = None, /, **attributes: str | float) -> str:
    """Return an element; `stroke_width=1.5` is its `stroke-width`. Empty attributes are left out."""
    written = "".join(
        f' {key.replace("_", "-")}="{value if isinstance(value, str) else short(value)}"'
        for key, value in attributes.items()
        if value != ""
    )
    return f"<{name}{written}/>" if content is None else f"<{name}{written}>{content}</{name}>"


def text_of(text: str) -> str:
    """Return a text escaped for an element, without unprintable characters: XML forbids some of them."""
    shown = text if text.isprintable() else "".join(letter for letter in text if letter.isprintable())
    return escape(shown, quote=False)


def path(points: Iterable[Point], *, closed: bool = False) -> str:
    """Return the path data of straight lines from point to point, with H and V where they do."""
    commands: list[str] = []
    last = ("", "")
    for point in points:
        across, down = short(point[0]), short(point[1])
        if not commands:
            commands.append(f"M{across} {down}")
        elif (across, down) == last:
            continue
        elif down == last[1]:
            commands.append(f"H{across}")
        elif across == last[0]:
            commands.append(f"V{down}")
        else:
            commands.append(f"L{across} {down}")
        last = across, down
    return "".join(commands) + ("Z" if closed and commands else "")


def runs(points: Iterable[Point]) -> Iterator[list[Point]]:
    """Yield the parts of a line between its gaps, the points that are not finite."""
    for is_finite, run in groupby(points, key=lambda point: math.isfinite(point[0] + point[1])):
        if is_finite:
            yield list(run)


def thinned(points: Sequence[Point]) -> Sequence[Point]:
    """Of points closer in x than the eye resolves, return the first, highest, lowest and last."""
    if len(points) <= _MANY:
        return points
    chosen: list[Point] = []
    for _, together in groupby(points, key=lambda point: point[0] // _FINEST):
        group = list(together)
        heights = [down for _, down in group]
        at = {0, heights.index(min(heights)), heights.index(max(heights)), len(group) - 1}
        chosen += [group[place] for place in sorted(at)]
    return chosen
