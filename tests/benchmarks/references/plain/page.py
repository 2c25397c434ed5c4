"""The page as it grows, its tables for the JSON too, and Wilson's limits."""

import base64
import io
import math
from typing import Any

import pandas as pd
from matplotlib import rc_context
from matplotlib.figure import Figure

from benchmarks.references.plain.logs import Z

INK, COLD, HOT = "#0f4c5c", "#3a97c9", "#e0481f"
PAGE: list[str] = []
TABLES: dict[str, Any] = {}


def say(text):
    PAGE.append(f"<p>{text}</p>")


def show(name, span, table, screen=False, paper=None):
    """A table in the page, on paper its first rows, and its numbers for the JSON."""
    TABLES[f"{name} {span}"] = table.to_dict("records")
    for part, off_paper in ((table[:paper], screen), (table[len(table[:paper]) :], True)):
        if len(part):
            kind = ' class="screen"' if off_paper else ""
            rows = part.to_html(index=False, float_format="%.4g")
            PAGE.append(f"<h3{kind}>{name}, {span}</h3><div{kind}>{rows}</div>")


def picture(draw, size=(4.6, 3.4)):
    figure = Figure(figsize=size, layout="constrained")
    axes = figure.add_subplot()
    axes.spines[["top", "right"]].set_visible(False)
    draw(axes)
    stream = io.BytesIO()
    with rc_context({"svg.fonttype": "none"}):
        figure.savefig(stream, format="svg")
    PAGE.append(f'<img src="data:image/svg+xml;base64,{base64.b64encode(stream.getvalue()).decode()}">')


def wilson(bad, made, effect=1.0):
    """Wilson's limits, the number divided by the design effect."""
    if not made:
        return math.nan, math.nan
    number, rate = made / effect, bad / made
    middle = (rate + Z**2 / (2 * number)) / (1 + Z**2 / number)
    half = Z / (1 + Z**2 / number) * math.sqrt(rate * (1 - rate) / number + Z**2 / (4 * number**2))
    return max(0.0, middle - half), min(1.0, middle + half)


def design_effect(castings):
    """How much more the fills differ than single castings would (Rao and Scott)."""
    fills = castings.groupby("fill_id")[["made", "bad"]].sum()
    made, rate = fills["made"].sum(), fills["bad"].sum() / max(fills["made"].sum(), 1)
    if len(fills) < 5 or rate in (0, 1):
        return 1.0
    spread = ((fills["bad"] - rate * fills["made"]) ** 2).sum() * len(fills) / (len(fills) - 1) / made**2
    return max(1.0, spread * made / (rate * (1 - rate)))


def rates(castings, by):
    """Bad castings by one or more columns, with limits."""
    rows = []
    for key, group in castings.groupby(by, sort=True):
        bad, made = group["bad"].sum(), group["made"].sum()
        low, high = wilson(bad, made, design_effect(group))
        rows.append((*key, made, bad, bad / made, low, high))
    return pd.DataFrame(rows, columns=[*by, "castings", "bad", "rate", "low", "high"])
