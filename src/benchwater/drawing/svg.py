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
    """Its sides in printer's points from the picture's upper left corner, and the limits of both axes.

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
        """From side to side."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """From bottom to top."""
        return self.bottom - self.top

    def across(self, value: float) -> float:
        """Where a value of the horizontal axis lies."""
        low, high = self.x
        return self.left + (value - low) / (high - low) * self.width

    def down(self, value: float) -> float:
        """Where a value of the vertical axis lies."""
        low, high = self.y
        return self.bottom - (value - low) / (high - low) * self.height

    def holds(self, x: float, y: float) -> bool:
        """Whether a value lies within the limits, or on them."""
        (left, right), (bottom, top) = sorted(self.x), sorted(self.y)
        slack_x, slack_y = 1e-9 * (right - left), 1e-9 * (top - bottom)
        return left - slack_x <= x <= right + slack_x and bottom - slack_y <= y <= top + slack_y


def short(value: float) -> str:
    """A length in two decimals, without what says nothing: `1.5`, `0`."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def element(name: str, content: str | None = None, /, **attributes: str | float) -> str:
    """An element; `stroke_width=1.5` is its `stroke-width`. Attributes that are empty are left out."""
    told = "".join(
        f' {key.replace("_", "-")}="{value if isinstance(value, str) else short(value)}"'
        for key, value in attributes.items()
        if value != ""
    )
    return f"<{name}{told}/>" if content is None else f"<{name}{told}>{content}</{name}>"


def text_of(text: str) -> str:
    """A text as it may stand in an element, without what cannot be seen: some of that XML cannot hold."""
    shown = text if text.isprintable() else "".join(letter for letter in text if letter.isprintable())
    return escape(shown, quote=False)


def path(points: Iterable[Point], *, closed: bool = False) -> str:
    """The `d` of straight lines from point to point; level and plumb ones are told as such."""
    told: list[str] = []
    last = ("", "")
    for point in points:
        across, down = short(point[0]), short(point[1])
        if not told:
            told.append(f"M{across} {down}")
        elif (across, down) == last:
            continue
        elif down == last[1]:
            told.append(f"H{across}")
        elif across == last[0]:
            told.append(f"V{down}")
        else:
            told.append(f"L{across} {down}")
        last = across, down
    return "".join(told) + ("Z" if closed and told else "")


def runs(points: Iterable[Point]) -> Iterator[list[Point]]:
    """The stretches of a line between its gaps, which are points that are no numbers."""
    for there, run in groupby(points, key=lambda point: math.isfinite(point[0] + point[1])):
        if there:
            yield list(run)


def thinned(points: Sequence[Point]) -> Sequence[Point]:
    """Where points lie closer across than the eye parts: the first, the highest, lowest and last of them."""
    if len(points) <= _MANY:
        return points
    chosen: list[Point] = []
    for _, together in groupby(points, key=lambda point: point[0] // _FINEST):
        group = list(together)
        heights = [down for _, down in group]
        at = {0, heights.index(min(heights)), heights.index(max(heights)), len(group) - 1}
        chosen += [group[place] for place in sorted(at)]
    return chosen
