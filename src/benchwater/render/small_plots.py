"""The small plots of the front page, drawn by hand: no type in them, and clear on light and dark alike."""

import re
from collections.abc import Sequence

HALF_MM = 84.0
"""The width of a plot that leaves room for another beside it."""
SPARK, SPARK_NOW = "#3a97c9", "#e0481f"
_WIDTH_PT = re.compile(r'<svg\b[^>]*?\bwidth="([0-9]{1,5}(?:[.][0-9]{1,9})?)pt"')


def half_wide(svg: str) -> bool:
    """Whether a plot is narrow enough to stand beside another: made `HALF_MM` wide or less."""
    width = _WIDTH_PT.match(svg)
    return width is not None and float(width[1]) <= (HALF_MM + 0.5) / 25.4 * 72


def sparkline(values: Sequence[float | None], flowing: bool = False, share: bool = False) -> str:
    """A small plot of a few values in a row, as SVG of its own without type: bars, or a line where `flowing`.

    It starts at zero (and ends at one for a `share`), stands out on light and dark alike, and marks the last
    value. None leaves a gap, its place without ground under it.
    """
    width, height, ground = 96.0, 22.0, 20.0
    known = [value for value in values if value is not None]
    most, least = (1.0 if share else max([*known, 0.0])), min([*known, 0.0])
    scale = (ground - 3.0) / ((most - least) or 1.0)
    zero = ground + least * scale
    slot = width / max(len(values), 4)
    wide = min(9.0, 0.62 * slot)
    drawn: list[str] = []
    last: tuple[float, float] | None = None
    for place, value in enumerate(values):
        if value is None:
            last = None
            continue
        x, y = (place + 0.5) * slot, zero - value * scale
        colour = SPARK_NOW if place == len(values) - 1 else SPARK
        drawn.append(
            f'<path d="M{x - slot / 2:.2f} {zero:.2f}h{slot:.2f}" stroke="{SPARK}" stroke-width=".7"/>'
        )
        if flowing:
            if last is not None:
                before = f"M{last[0]:.2f} {last[1]:.2f}"
                drawn.append(f'<path d="{before}L{x:.2f} {y:.2f}" stroke="{SPARK}" stroke-width="1.2"/>')
            drawn.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="2.1" fill="{colour}"/>')
        elif value:
            top, tall = min(y, zero), abs(value) * scale
            drawn.append(
                f'<rect x="{x - wide / 2:.2f}" y="{top:.2f}" width="{wide:.2f}" height="{tall:.2f}" '
                f'fill="{colour}"/>'
            )
        last = (x, y)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}" height="{height:g}" '
        f'viewBox="0 0 {width:g} {height:g}">{"".join(drawn)}</svg>'
    )
