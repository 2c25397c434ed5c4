"""The rectangle a plot fills, and where in it a value lies."""

from dataclasses import dataclass


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
