"""Computes the lengths, the size distribution and the relative weight of each species."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from benchwater.ledger.fish import (
    CATEGORIES,
    FishStandard,
    LengthCategories,
    StandardWeight,
    fish_standard,
    is_count_in_doubt,
    is_length_in_doubt,
)
from benchwater.ledger.trips import trip_names
from benchwater.plugin import Bench, Season, Span
from benchwater.statistics.interval import Interval, tail_probability
from benchwater.statistics.proportions import wilson_interval

FloatArray = NDArray[np.float64]

MM_PER_INCH = 25.4
ENOUGH_FISH = 5
BIGGEST = ("length_mm", "mass_g", "date", "build", "bait", "angler")


def standard_weight(equation: StandardWeight, length_mm: ArrayLike) -> FloatArray:
    """Returns the standard weight in g at each length, nan outside the published range of lengths.

    Source: the authors named in `equation.source`, as compiled by Neumann, Guy & Willis 2012, Fisheries
    Techniques, 3rd edition, chapter 14 (as far as the data file says so).
    """
    lengths = np.asarray(length_mm, dtype=np.float64)
    inside = (lengths >= equation.min_mm) & (lengths <= equation.max_mm)
    logs = np.log10(np.where(inside, lengths, 1.0))
    return np.where(inside, 10.0 ** (equation.a + equation.b * logs + equation.c * logs**2), np.nan)


def relative_weight(equation: StandardWeight, length_mm: ArrayLike, mass_g: ArrayLike) -> FloatArray:
    """Returns Wr = 100 W / Ws, nan outside the published range of lengths.

    100 is about the 75th percentile of the populations behind the equation, not their average.
    Source: Wege & Anderson 1978 (from memory); the equation as in `standard_weight`.
    """
    return np.asarray(
        100.0 * np.asarray(mass_g, dtype=np.float64) / standard_weight(equation, length_mm), dtype=np.float64
    )


def length_category(
    categories: LengthCategories, length_mm: ArrayLike, *, inches: bool = False
) -> NDArray[np.intp]:
    """Returns the place in `CATEGORIES` of each length; a fish of exactly a limit has reached it.

    With `inches` the limits are those published in inches.

    Source: Gabelhouse 1984, N. Amer. J. Fish. Manage. 4:273-285, and the authors in `categories.source`.
    """
    lengths = np.asarray(length_mm, dtype=np.float64)
    limits = np.asarray(categories.limits_in) * MM_PER_INCH if inches else np.asarray(categories.limits_mm)
    return np.searchsorted(limits * (1.0 - 1e-9), lengths, side="right")


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeDistribution:
    """How many `fish` are in each of `CATEGORIES`, each fish once: in the highest it reached."""

    fish: tuple[int, ...]

    def at_least(self, category: str) -> int:
        """Returns the fish that reached a category."""
        return sum(self.fish[CATEGORIES.index(category) :])

    def proportion(self, category: str = "quality") -> float:
        """Returns the share of the fish of stock length that reached a category, nan without stock fish.

        A hundred times this is PSD for `quality`, PSD-P, PSD-M and PSD-T for the others.
        Source: Guy, Neumann, Willis & Anderson 2007, Fisheries 32:348 (from memory).
        """
        stock = self.at_least("stock")
        return self.at_least(category) / stock if stock else math.nan


def size_distribution(
    categories: LengthCategories, length_mm: ArrayLike, fish: ArrayLike, *, inches: bool = False
) -> SizeDistribution:
    """Counts the fish in each category; `fish` is how many each length stands for."""
    places = length_category(categories, length_mm, inches=inches)
    counts = np.asarray(fish, dtype=np.float64)
    summed = np.bincount(places, weights=counts, minlength=len(CATEGORIES))
    return SizeDistribution(fish=tuple(round(float(each)) for each in summed))


def mean_interval(values: ArrayLike, fish: ArrayLike, trips: ArrayLike | None = None) -> Interval:
    """Returns the mean of one value or more, with Student's t limits at 95 %; each stands for so many `fish`.

    Trips (a name for each value) are the units; without them the values are. The limits are nan for a single
    unit.

    Source: Student's t; the ratio estimator of Cochran 1977, Sampling Techniques, section 6.4 (from memory).
    """
    x, w = np.asarray(values, dtype=np.float64), np.asarray(fish, dtype=np.float64)
    mean = float(np.sum(w * x) / np.sum(w))
    unit = np.arange(len(x)) if trips is None else np.unique(np.asarray(trips), return_inverse=True)[1]
    off, n = np.bincount(unit, w * (x - mean)), int(unit.max()) + 1
    if n == 1:
        return Interval(estimate=mean, low=math.nan, high=math.nan, level=0.95)
    error = math.sqrt(n / (n - 1) * float(np.sum(off**2))) / float(np.sum(w))
    half = -float(stdtrit(n - 1, tail_probability(0.95))) * error
    return Interval(estimate=mean, low=mean - half, high=mean + half, level=0.95)


def median(values: ArrayLike, fish: ArrayLike) -> float:
    """Returns the median of one value or more, which each stand for so many `fish`."""
    x, n = np.asarray(values, dtype=np.float64), np.asarray(fish, dtype=np.float64)
    order = np.argsort(x, kind="stable")
    reached = np.cumsum(n[order])
    half = reached[-1] / 2.0
    lower = np.searchsorted(reached, half, side="left")
    upper = np.searchsorted(reached, half, side="right")
    return float((x[order][lower] + x[order][upper]) / 2.0)


ODD_BELOW, ODD_ABOVE = 50.0, 200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RelativeWeight:
    """The mean relative weight of the weighed `fish` whose length the standard weight covers; None without.

    `odd` are the rows of fish thinner or fatter than any fish is; they are not in the mean.
    """

    fish: int
    mean: Interval | None
    odd: pd.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class CaughtSpecies:
    """One species of the span, under the name it was first written with, and what is published for it.

    `measured` holds its rows with a length that can be believed, `doubted` those with one that cannot be;
    `biggest` is the row of the longest fish, or of the heaviest where none was measured. `sizes` is None
    without published length categories, `psd` without a fish of stock length, `condition` without a weighed
    fish within the standard weight's lengths; `outside` counts measured fish outside these.
    """

    name: str
    standard: FishStandard
    fish: int
    measured: pd.DataFrame
    doubted: pd.DataFrame
    biggest: Mapping[str, Any] | None
    measured_fish: int
    median_mm: float | None
    longest_mm: float | None
    sizes: SizeDistribution | None
    psd: Interval | None
    condition: RelativeWeight | None
    outside: int


def caught_species(season: Season, span: Span) -> tuple[CaughtSpecies, ...]:
    """Returns the species, the most frequent first; several names of one fish are one species.

    Rows of more fish than can be believed are left out: `rows_in_doubt` has them.
    """
    catch = season.rows("catch", span)
    catch = catch[~is_count_in_doubt(catch)]
    catch = catch.assign(doubted=is_length_in_doubt(catch), trip_name=trip_names(catch))
    keys = {name: fish_standard(name).key for name in catch["species"].unique()}
    of_species = catch.groupby(catch["species"].map(keys), observed=True, sort=False)
    found = [_species(rows, season.bench) for _, rows in of_species]
    return tuple(sorted(found, key=lambda each: (-each.fish, each.name)))


def rows_in_doubt(season: Season, span: Span) -> pd.DataFrame:
    """Returns the rows of the catch log with more fish than anyone would write down as alike."""
    catch = season.rows("catch", span)
    return catch[is_count_in_doubt(catch)]


def _species(rows: pd.DataFrame, bench: Bench) -> CaughtSpecies:
    name = str(rows["species"].iloc[0])
    standard, believed = fish_standard(name), rows[~rows["doubted"]]
    measured = believed[believed["length_mm"].notna()]
    lengths, counts, sizes = measured["length_mm"], measured["count"], None
    if standard.categories is not None:
        sizes = size_distribution(standard.categories, lengths, counts, inches=bench.system == "us")
    stock = 0 if sizes is None else sizes.at_least("stock")
    condition, outside = _condition(standard, measured)
    return CaughtSpecies(
        name=name,
        standard=standard,
        fish=int(rows["count"].sum()),
        measured=measured,
        doubted=rows[rows["doubted"]],
        biggest=_biggest(believed, [] if condition is None else condition.odd.index),
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
    likely = weighed["wr"].between(ODD_BELOW, ODD_ABOVE)
    used = weighed[likely]
    found = RelativeWeight(
        fish=int(used["count"].sum()),
        mean=mean_interval(used["wr"], used["count"], used["trip_name"]) if len(used) else None,
        odd=weighed[~likely],
    )
    return found, outside


def _biggest(rows: pd.DataFrame, odd: Iterable[int]) -> Mapping[str, Any] | None:
    """Returns the row of the longest fish, else of the heaviest; one too thin or too fat to be is neither."""
    rows = rows.drop(index=list(odd))
    for measure in ("length_mm", "mass_g"):
        known = rows[rows[measure].notna()]
        if len(known):
            first = known.sort_values(measure, ascending=False, kind="stable").iloc[0]
            return {str(name): None if pd.isna(first[name]) else first[name] for name in BIGGEST}
    return None
