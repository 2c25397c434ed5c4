"""Shows the lengths and the condition of each species."""

import math
from collections.abc import Sequence

import numpy as np

from benchwater import plots
from benchwater.ledger.fish import CATEGORIES
from benchwater.plugin import Bench, Cell, Figure, Table
from benchwater.words import make_columns, make_table

from .compute import MM_PER_INCH, CaughtSpecies

MOST_DRAWN = 8
OF_CATEGORY = (
    "Stock, quality, preferred, memorable and trophy are published lengths of each species; a fish counts "
    "once, in the highest that it reached."
)
OF_WR = (
    "Of fish as long as the standard weight is published for. 100 is a plump fish: three in four populations "
    "are leaner."
)
COLUMNS = make_columns(
    *((name, name.capitalize()) for name in ("species", "fish", "measured", "category")),
    *(("median_mm", "Median", "mm"), ("longest_mm", "Longest", "mm")),
    *((name.replace(" ", "_"), name.capitalize()) for name in CATEGORIES),
    *(("mean_wr", "Of a plump fish, %", None, 0), ("low", "Low"), ("high", "High")),
)


def all_tables(species: Sequence[CaughtSpecies]) -> tuple[Table, ...]:
    """Returns lengths in short and condition, which are printed, and every fish in its category."""
    short: list[tuple[Cell, ...]] = []
    every: list[tuple[Cell, ...]] = []
    conditions: list[tuple[Cell, ...]] = []
    for each in species:
        reached = (None,) * len(CATEGORIES) if each.sizes is None else each.sizes.fish
        short.append((each.name, each.fish, each.measured_fish, each.median_mm, each.longest_mm, *reached))
        counts = {"measured": each.measured_fish}
        if each.sizes is not None:
            counts = dict(zip(CATEGORIES, each.sizes.fish, strict=True))
        counts["not measured"] = each.fish - each.measured_fish
        every += [(each.name, category, count) for category, count in counts.items()]
        if each.condition is not None:
            mean, fish = each.condition.mean, each.condition.fish
            conditions += [(each.name, fish, mean.estimate, mean.low, mean.high)] if mean else []
    shown = " ".join(
        ("species fish measured median_mm longest_mm", *(each.replace(" ", "_") for each in CATEGORIES))
    )
    return (
        make_table(
            "length_summary", "Lengths reached", shown, short, COLUMNS, note=OF_CATEGORY, print_rows=40
        ),
        make_table(
            "condition",
            "How plump they are",
            "species fish mean_wr low high",
            conditions,
            COLUMNS,
            limits_of="mean_wr",
            note=OF_WR,
            print_rows=40,
        ),
        make_table(
            "lengths",
            "Fish by length category",
            "species category fish",
            every,
            COLUMNS,
            note=OF_CATEGORY,
            print_rows=0,
        ),
    )


def length_figure(species: Sequence[CaughtSpecies], bench: Bench) -> Figure:
    """Draws one row a species: how many fish of each inch, or each 2 cm, and the median."""
    us = bench.system == "us"
    step, unit, scale = (MM_PER_INCH, "in", MM_PER_INCH) if us else (20.0, "mm", 1.0)
    drawn = [each for each in species if each.measured_fish][:MOST_DRAWN]
    figure, axes = plots.new_figure(plots.HALF_MM, 18 + 10 * len(drawn))
    for place, each in enumerate(drawn):
        lengths = each.measured["length_mm"].to_numpy()
        first, last = math.floor(lengths.min() / step), math.floor(lengths.max() / step) + 1
        edges = np.arange(first, last + 1) * step
        counts = np.histogram(lengths, bins=edges, weights=each.measured["count"])[0]
        base = place + 0.4
        top = base - 0.8 * np.append(counts, 0) / counts.max()
        plots.steps(axes, edges / scale, top, low=top, high=np.full(len(top), base))
        plots.points(axes, [(each.median_mm or 0.0) / scale], [base])
    plots.named_rows(axes, [f"{each.name} ({each.measured_fish})" for each in drawn])
    axes.grid(False, axis="y")
    axes.set_xlabel(f"total length, {unit}; the mark is the median")
    medians = [
        f"{each.name} {bench.show(each.median_mm, 'mm')} ({each.measured_fish} fish)" for each in drawn
    ]
    alt = f"How many fish of each length, for each species. Half of them reach: {', '.join(medians)}."
    return Figure(id="lengths", title="Lengths of the catch", alt=alt, svg=plots.to_svg(figure))
