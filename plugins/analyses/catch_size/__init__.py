"""How big the fish are: lengths by species, how many reach a good size, and how plump they are.

Of five perch one was not measured, and one was weighed too:

    date,species,build,count,length,mass
    2026-05-09,yellow perch,perch-grub,3,8 1/2 in,
    2026-05-09,Yellow Perch,perch-grub,1,6 in,1.4 oz
    2026-05-09,perca flavescens,pond-guard,,,

A yellow perch is of stock length from 5 in and of quality length from 8 in, so 3 of the 4 measured reached
quality: PSD 75. (`psd` is held as the share 0.75 with unit `1`; the report prints it as 75 %.) The standard
weight at 6 in is 46 g, and 1.4 oz is 39.7 g: relative weight 86, where 100 is as plump as the best quarter of
populations. `mass` is that of one fish, also in a row of several alike. A species without a published
standard gets its lengths only. Where the standard differs by sex or water, write `brown trout (lotic)`.
"""

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from benchwater.ledger.log_columns import factorized, group_by, renamed
from benchwater.plugin import (
    Analysis,
    Bench,
    Cell,
    Figure,
    Finding,
    Season,
    Section,
    Span,
    Table,
    TableColumn,
    hookimpl,
)
from benchwater.words import known

if TYPE_CHECKING:
    import pandas as pd

    from benchwater.ledger.fish import FishStandard, SizeDistribution

LEAST_FISH = 5
MOST_DRAWN = 8
ODD_BELOW, ODD_ABOVE, MOST_ODD = 50.0, 200.0, 3
CAUTION = (
    "A hook chooses its fish by size, so these numbers describe the catch and not the water; two months "
    "compare only where the same baits were fished."
)
METHODS = (
    "Length categories: Gabelhouse 1984, N. Amer. J. Fish. Manage. 4:273-285, and for some species the later "
    "authors named below; by the limits published in inches on a bench that prints inches, else by those in "
    "mm. PSD is the share of stock-length fish that reached quality length (Guy, Neumann, Willis & Anderson "
    "2007, Fisheries 32:348), with Wilson's limits (1927).",
    "Relative weight is 100 times mass over standard weight (Wege & Anderson 1978), its mean with Student's "
    "t. Fish of one trip are alike, so the limits here are somewhat too narrow.",
)
OF_CATEGORY = (
    "Stock, quality, preferred, memorable and trophy are published lengths of each species; a fish counts "
    "once, in the highest that it reached. PSD (proportional size distribution): of 100 fish of stock "
    "length, how many reached quality."
)
OF_WR = (
    "Of fish as long as the standard weight is published for. 100 is the 75th percentile of the populations "
    "behind the equation, not their average."
)


class Kind(NamedTuple):
    """One species of the span: its name as first written, its rows, what is published for it, and how many of
    its measured fish are in each published length category (None without any).
    """

    name: str
    rows: "pd.DataFrame"
    standard: "FishStandard"
    sizes: "SizeDistribution | None"

    @property
    def fish(self) -> int:
        """All of them, measured or not."""
        return int(self.rows["count"].sum())

    @property
    def measured(self) -> "pd.DataFrame":
        """The rows with a length."""
        return self.rows[self.rows["length_mm"].notna()]

    @property
    def with_length(self) -> int:
        """Fish with a length."""
        return int(self.measured["count"].sum())

    @property
    def median_mm(self) -> float | None:
        """The length that half of them reach."""
        from benchwater.ledger.fish import median

        rows = self.measured
        return None if rows.empty else median(rows["length_mm"], rows["count"])


def kinds(catch: "pd.DataFrame", bench: Bench) -> tuple[Kind, ...]:
    """The species, the most frequent first; several names of one fish are one species."""
    from benchwater.ledger.fish import fish_standard, size_distribution

    found = []
    species = group_by(factorized(catch["species"]))
    told = catch[["count", "length_mm", "mass_g", "file", "line"]]
    for of_kind in renamed(species, lambda name: fish_standard(name).key).rows.values():
        rows, name = told.iloc[of_kind], str(species.keys[species.of_row[of_kind[0]]][0])
        standard, measured = fish_standard(name), rows[rows["length_mm"].notna()]
        sizes = None
        if standard.categories is not None:
            lengths, counts = measured["length_mm"], measured["count"]
            sizes = size_distribution(standard.categories, lengths, counts, inches=bench.system == "us")
        found.append(Kind(name, rows, standard, sizes))
    return tuple(sorted(found, key=lambda kind: (-kind.fish, kind.name)))


def analyse(season: Season, span: Span) -> Section:
    """Lengths, size distribution and condition of each species."""
    catch, bench = season.rows("catch", span), season.bench
    if catch.empty:
        return Section.empty("No fish was logged in these days.")
    species = kinds(catch, bench)
    most = max(kind.with_length for kind in species)
    findings = [_total(species)]
    conditions: list[tuple[Cell, ...]] = []
    for kind in species:
        condition, said = _condition(kind, bench)
        conditions += condition
        findings += [*_psd(kind, bench), *said]
    findings += [
        *_without_standard(species),
        Finding(id="caution", text=CAUTION, quiet=span.name == "period"),
    ]
    thin = most < LEAST_FISH
    return Section(
        status="thin" if thin else "ok",
        why=f"No species has {LEAST_FISH} measured fish, and fewer say little." if thin else "",
        findings=tuple(findings),
        tables=_tables(species, conditions),
        figures=(_figure(species, bench),) if most else (),
        methods=(*METHODS, *_sources(species)),
    )


def _total(species: Sequence[Kind]) -> Finding:
    fish, measured = sum(kind.fish for kind in species), sum(kind.with_length for kind in species)
    weighed = sum(int(kind.rows.loc[kind.rows["mass_g"].notna(), "count"].sum()) for kind in species)
    text = (
        f"{fish} fish of {len(species)} species were logged, {measured} with a length, {weighed} with a mass."
    )
    return Finding(id="fish", text=text, value=fish, unit="pieces", n=fish)


def _psd(kind: Kind, bench: Bench) -> Iterable[Finding]:
    """The share of stock-length fish that reached quality, and beyond."""
    from benchwater.statistics.proportions import wilson_interval

    categories, sizes = kind.standard.categories, kind.sizes
    if sizes is None or categories is None or sizes.at_least("stock") == 0:
        return
    stock = sizes.at_least("stock")
    quality = sizes.at_least("quality")
    limits = wilson_interval(quality, stock)
    us = bench.system == "us"
    limits_at = categories.limits_in if us else categories.limits_mm
    at = [f"{limit:g} {'in' if us else 'mm'}" for limit in limits_at]
    yield Finding(
        id="psd",
        text=f"{kind.name}: {quality} of {stock} fish of stock length ({at[0]}) reached quality length "
        f"({at[1]}): PSD {100 * limits.estimate:.0f}. {sizes.at_least('preferred')} reached preferred "
        f"length ({at[2]}).{_few(stock)}",
        value=limits.estimate,
        low=limits.low,
        high=limits.high,
        unit="1",
        n=stock,
        group=kind.name,
        quiet=stock < LEAST_FISH,
        more={f"psd_{step[0]}": sizes.proportion(step) for step in ("preferred", "memorable", "trophy")},
    )


def _condition(kind: Kind, bench: Bench) -> tuple[list[tuple[Cell, ...]], list[Finding]]:
    """Mean relative weight of the weighed fish within the equation's range, and what was outside of it."""
    from benchwater.ledger.fish import mean_interval, relative_weight

    equation, rows = kind.standard.weight, kind.measured
    if equation is None:
        return [], []
    inside = rows["length_mm"].between(equation.min_mm, equation.max_mm)
    said = list(_outside(kind, int(rows.loc[~inside, "count"].sum()), bench))
    weighed = rows[inside & (rows["mass_g"] > 0)]
    if weighed.empty:
        return [], said
    wr = relative_weight(equation, weighed["length_mm"], weighed["mass_g"])
    mean = mean_interval(wr, weighed["count"])
    fish = int(weighed["count"].sum())
    low, high = known(mean.low, mean.high)
    text = (
        f"{kind.name}: {fish} weighed fish had on average {mean.estimate:.0f} % of the standard weight for "
    )
    text += f"their length (relative weight).{_few(fish)}"
    told = Finding(
        id="relative_weight",
        text=text,
        value=mean.estimate,
        low=low,
        high=high,
        n=fish,
        group=kind.name,
        quiet=fish < LEAST_FISH,
    )
    odd = _odd(kind, weighed.assign(wr=wr), bench)
    return [(kind.name, fish, mean.estimate, low, high)], [told, *said, *odd]


def _outside(kind: Kind, fish: int, bench: Bench) -> Iterable[Finding]:
    equation = kind.standard.weight
    if equation is None or fish == 0:
        return
    top = f"to {bench.show(equation.max_mm, 'mm')}" if math.isfinite(equation.max_mm) else "and longer"
    text = (
        f"{kind.name}: {fish} of {kind.with_length} measured fish outside the lengths that the standard "
        f"weight is published for ({bench.show(equation.min_mm, 'mm')} {top}), not used for relative weight."
    )
    yield Finding(
        id="outside_equation", text=text, value=fish, unit="pieces", n=fish, group=kind.name, quiet=True
    )


def _odd(kind: Kind, weighed: "pd.DataFrame", bench: Bench) -> Iterable[Finding]:
    """Fish thinner or fatter than any fish is: likely a slip of the pen. They are counted all the same."""
    odd = weighed[~weighed["wr"].between(ODD_BELOW, ODD_ABOVE)]
    for number, row in enumerate(odd.to_dict("records"), start=1):
        text = (
            f"Look again at {row['file']} line {row['line']}: a {kind.name} of "
            f"{bench.show(row['length_mm'], 'mm')} and {bench.show(row['mass_g'], 'g')} has relative weight "
            f"{row['wr']:.0f}, which no fish has. It is in the mean."
        )
        yield Finding(id="odd_weight", text=text, value=row["wr"], group=kind.name, quiet=number > MOST_ODD)


def _without_standard(species: Sequence[Kind]) -> Iterable[Finding]:
    """Which species have lengths only, and which have to be named closer."""
    bare = []
    for name, _, standard, _ in species:
        choices = dict.fromkeys((*standard.weight_choices, *standard.category_choices))
        if choices:
            plain = standard.key.partition(" (")[0]
            what = ["a standard weight"] * bool(standard.weight_choices)
            what += ["length categories"] * bool(standard.category_choices)
            names = " or ".join(f"`{plain} ({choice})`" for choice in choices)
            text = f"{name}: {' and '.join(what)} published for some of its kinds only; write {names}."
            yield Finding(id="choose_standard", text=text, group=name)
        elif standard.weight is None and standard.categories is None:
            bare.append(name)
    if bare:
        text = f"Lengths only, for want of a published standard: {', '.join(bare)}."
        yield Finding(id="no_standard", text=text)


def _tables(species: Sequence[Kind], conditions: Sequence[tuple[Cell, ...]]) -> tuple[Table, ...]:
    """Printed: lengths in short, and condition. Every fish in its category: JSON only."""
    from benchwater.ledger.fish import CATEGORIES

    short: list[tuple[Cell, ...]] = []
    every: list[tuple[Cell, ...]] = []
    for kind in species:
        longest = float(kind.measured["length_mm"].max()) if kind.with_length else None
        reached = (None,) * len(CATEGORIES) if kind.sizes is None else kind.sizes.fish
        short.append((kind.name, kind.fish, kind.with_length, kind.median_mm, longest, *reached))
        counts = {"measured": kind.with_length}
        if kind.sizes is not None:
            counts = dict(zip(CATEGORIES, kind.sizes.fish, strict=True))
        counts["not measured"] = kind.fish - kind.with_length
        every += [(kind.name, category, count) for category, count in counts.items()]
    shown = ("species", "fish", "measured", "median_mm", "longest_mm", *CATEGORIES)
    wr = ("species", "fish", "mean_wr", "low", "high")
    return (
        _table("length_summary", "Lengths reached", shown, short, OF_CATEGORY),
        _table("condition", "Relative weight", wr, conditions, OF_WR),
        _table("lengths", "Fish by length category", ("species", "category", "fish"), every, OF_CATEGORY, 0),
    )


def _table(
    id: str,
    title: str,
    names: Sequence[str],
    rows: Sequence[tuple[Cell, ...]],
    note: str,
    print_rows: int = 40,
) -> Table:
    columns = [
        TableColumn(
            name=name.replace(" ", "_"),
            label={"mean_wr": "Relative weight"}.get(name, name.removesuffix("_mm").capitalize()),
            unit="mm" if name.endswith("_mm") else None,
            digits=1 if name in {"mean_wr", "low", "high"} else None,
        )
        for name in names
    ]
    return Table(
        id=id, title=title, columns=tuple(columns), rows=tuple(rows), note=note, print_rows=print_rows
    )


def _figure(species: Sequence[Kind], bench: Bench) -> Figure:
    """One row a species: how many fish of each inch, or each 2 cm, and the median."""
    import numpy as np

    from benchwater import plots

    step, unit = (25.4, "in") if bench.system == "us" else (20.0, "mm")
    scale = 25.4 if unit == "in" else 1.0
    drawn = [kind for kind in species if kind.with_length][:MOST_DRAWN]
    figure, axes = plots.new_figure(plots.HALF_MM, 18 + 10 * len(drawn))
    for place, kind in enumerate(drawn):
        lengths = kind.measured["length_mm"].to_numpy()
        first, last = math.floor(lengths.min() / step), math.floor(lengths.max() / step) + 1
        edges = np.arange(first, last + 1) * step
        counts = np.histogram(lengths, bins=edges, weights=kind.measured["count"])[0]
        base = place + 0.4
        top = base - 0.8 * np.append(counts, 0) / counts.max()
        plots.steps(axes, edges / scale, top, low=top, high=np.full(len(top), base))
        plots.points(axes, [(kind.median_mm or 0.0) / scale], [base])
    plots.named_rows(axes, [f"{kind.name} ({kind.with_length})" for kind in drawn])
    axes.grid(False, axis="y")
    axes.set_xlabel(f"total length, {unit}; the mark is the median")
    said = [f"{kind.name} {bench.show(kind.median_mm, 'mm')} ({kind.with_length} fish)" for kind in drawn]
    alt = f"How many fish of each length, for each species. Half of them reach: {', '.join(said)}."
    return Figure(id="lengths", title="Lengths of the catch", alt=alt, svg=plots.to_svg(figure))


def _sources(species: Sequence[Kind]) -> Iterable[str]:
    for name, _, standard, _ in sorted(species, key=lambda kind: kind.name):
        published = []
        if standard.weight is not None:
            published.append(f"standard weight of {standard.weight.source}")
        if standard.categories is not None:
            published.append(f"length categories of {standard.categories.source}")
        if published:
            yield f"{name}: {', '.join(published)}."


def _few(fish: int) -> str:
    return " Too few to judge by." if fish < LEAST_FISH else ""


@hookimpl
def analyses() -> Iterable[Analysis]:
    """One analysis."""
    return [
        Analysis(
            id="catch_size",
            title="Catch size",
            question="How long and how plump are the fish I catch?",
            order=450,
            analyse=analyse,
            needs=("catch",),
        )
    ]
