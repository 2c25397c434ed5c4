"""Computes the lengths, the size distribution and the relative weight of each species."""

from dataclasses import dataclass

import pandas as pd

from benchwater.ledger.fish import FishStandard, fish_standard
from benchwater.plugin import Bench, Season, Span
from benchwater.statistics.interval import Interval
from benchwater.statistics.proportions import wilson_interval

from .fish_measures import SizeDistribution, mean_interval, median, relative_weight, size_distribution

ENOUGH_FISH = 5
ODD_BELOW, ODD_ABOVE = 50.0, 200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RelativeWeight:
    """The mean relative weight of the weighed `fish` whose length the standard weight covers.

    `odd` are the rows of fish thinner or fatter than any fish is; they are in the mean all the same.
    """

    fish: int
    mean: Interval
    odd: pd.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class CaughtSpecies:
    """One species of the span, under the name it was first written with, and what is published for it.

    `measured` holds its rows with a length. `sizes` is None without published length categories, `psd`
    without a fish of stock length, `condition` without a weighed fish within the standard weight's lengths;
    `outside` counts measured fish outside these.
    """

    name: str
    standard: FishStandard
    fish: int
    weighed_fish: int
    measured: pd.DataFrame
    measured_fish: int
    median_mm: float | None
    longest_mm: float | None
    sizes: SizeDistribution | None
    psd: Interval | None
    condition: RelativeWeight | None
    outside: int


def caught_species(season: Season, span: Span) -> tuple[CaughtSpecies, ...]:
    """Returns the species, the most frequent first; several names of one fish are one species."""
    catch = season.rows("catch", span)[["species", "count", "length_mm", "mass_g", "file", "line"]]
    keys = {name: fish_standard(name).key for name in catch["species"].unique()}
    of_species = catch.groupby(catch["species"].map(keys), observed=True, sort=False)
    found = [_species(rows, season.bench) for _, rows in of_species]
    return tuple(sorted(found, key=lambda each: (-each.fish, each.name)))


def _species(rows: pd.DataFrame, bench: Bench) -> CaughtSpecies:
    name = str(rows["species"].iloc[0])
    standard, measured = fish_standard(name), rows[rows["length_mm"].notna()]
    lengths, counts, sizes = measured["length_mm"], measured["count"], None
    if standard.categories is not None:
        sizes = size_distribution(standard.categories, lengths, counts, inches=bench.system == "us")
    stock = 0 if sizes is None else sizes.at_least("stock")
    condition, outside = _condition(standard, measured)
    return CaughtSpecies(
        name=name,
        standard=standard,
        fish=int(rows["count"].sum()),
        weighed_fish=int(rows.loc[rows["mass_g"].notna(), "count"].sum()),
        measured=measured,
        measured_fish=int(counts.sum()),
        median_mm=None if measured.empty else median(lengths, counts),
        longest_mm=float(lengths.max()) if counts.sum() else None,
        sizes=sizes,
        psd=wilson_interval(sizes.at_least("quality"), stock) if sizes and stock else None,
        condition=condition,
        outside=outside,
    )


def _condition(standard: FishStandard, measured: pd.DataFrame) -> tuple[RelativeWeight | None, int]:
    """Returns the relative weight, and how many measured fish its equation does not cover."""
    equation = standard.weight
    if equation is None:
        return None, 0
    inside = measured["length_mm"].between(equation.min_mm, equation.max_mm)
    outside = int(measured.loc[~inside, "count"].sum())
    weighed = measured[inside & (measured["mass_g"] > 0)]
    if weighed.empty:
        return None, outside
    weighed = weighed.assign(wr=relative_weight(equation, weighed["length_mm"], weighed["mass_g"]))
    found = RelativeWeight(
        fish=int(weighed["count"].sum()),
        mean=mean_interval(weighed["wr"], weighed["count"]),
        odd=weighed[~weighed["wr"].between(ODD_BELOW, ODD_ABOVE)],
    )
    return found, outside
