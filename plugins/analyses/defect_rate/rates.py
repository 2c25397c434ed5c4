"""Shares of bad castings with their intervals, by temperature, cavity and session, and their comparisons."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from benchwater.plugin import Bench
from benchwater.statistics.interval import Interval, holm_adjusted, normal_quantile
from benchwater.statistics.proportions import (
    TrendTest,
    cochran_armitage,
    few_cluster_effect,
    wilson_interval,
)

FloatArray = NDArray[np.float64]

BIN_WIDTH = {"us": 25.0, "metric": 10.0}
SIGNIFICANCE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOpen:
    """What rows set aside leave of a share: from `least` to `most`, as all of them are good or all bad."""

    rows: int
    castings: int
    least: float
    most: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RejectRate:
    """The share of bad castings; `effect` is the design effect of sessions, which widens the interval.

    `left_open` is there where rows set aside could move the share out of its interval: then `rate` has the
    limits of the least and of the most share.
    """

    castings: int
    rejects: int
    fills: int
    sessions: int
    effect: float
    rate: Interval
    left_open: LeftOpen | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureBin:
    """The castings of fills from `low_c` to below `high_c`."""

    low_c: float
    high_c: float
    castings: int
    rejects: int
    rate: Interval


def on_bench_scale(bench: Bench, celsius: Any) -> Any:
    """Converts degC to plain numbers on the bench's own scale, for bins and axes."""
    return np.asarray(celsius, dtype=np.float64) * 1.8 + 32 if bench.system == "us" else np.asarray(celsius)


def reject_rate(fills: pd.DataFrame, effect: float, refused: pd.DataFrame | None = None) -> RejectRate:
    """Returns the share of bad castings of fills, its interval widened by the design effect of sessions.

    `refused` are pour rows set aside that may be of these fills' molds.
    """
    castings, rejects = int(fills["castings"].sum()), int(fills["rejects"].sum())
    rate, left_open = with_rows_left_open(rejects, castings, effect, refused)
    return RejectRate(
        castings=castings,
        rejects=rejects,
        fills=len(fills),
        sessions=fills["session"].nunique(),
        effect=effect,
        rate=rate,
        left_open=left_open,
    )


def with_rows_left_open(
    rejects: int, castings: int, effect: float, refused: pd.DataFrame | None
) -> tuple[Interval, LeftOpen | None]:
    """Returns the share of bad castings, and what rows set aside leave of it if they could move it out.

    Bounds without assumptions on what is missing: Horowitz & Manski 2000, J. Amer. Statist. Assoc. 95:77-84
    (from memory).
    """
    rate = share_interval(rejects, castings, effect)
    if refused is None or refused.empty:
        return rate, None
    refused = refused[refused["outcome"] != "blank"]
    count, outcome = refused["count"], refused["outcome"]
    total = castings + int(count.sum())
    fewest = rejects + int(count[outcome == "reject"].sum())
    most = fewest + int(count[outcome.isna()].sum())
    if rate.low <= fewest / total and most / total <= rate.high:
        return rate, None
    low, high = (share_interval(bad, total, effect) for bad in (fewest, most))
    left_open = LeftOpen(
        rows=len(refused), castings=total - castings, least=fewest / total, most=most / total
    )
    return replace(rate, low=min(rate.low, low.low), high=max(rate.high, high.high)), left_open


def share_interval(rejects: int, castings: int, effect: float) -> Interval:
    """Returns the share of bad castings, its interval widened by a design effect of at most the castings."""
    return wilson_interval(rejects, castings, min(effect, castings))


def session_effect(rows: pd.DataFrame, strata: str | None = None) -> float:
    """Returns the design effect of sessions within `strata`, a column; of fills where none holds two."""
    stratum = np.zeros(len(rows), np.int64) if strata is None else pd.factorize(rows[strata])[0]
    for unit in (rows["session"].cat.codes.to_numpy(dtype=np.int64), rows["key"].to_numpy(dtype=np.int64)):
        width = int(unit.max(initial=0)) + 1
        clusters, place = np.unique(stratum * width + unit, return_inverse=True)
        rejects, castings = (np.bincount(place, rows[name]) for name in ("rejects", "castings"))
        effect = few_cluster_effect(rejects, castings, clusters // width)
        if effect is not None:
            return effect
    return 1.0


def rates_by_bin(bench: Bench, fills: pd.DataFrame) -> tuple[tuple[TemperatureBin, ...], TrendTest | None]:
    """Returns the share of bad castings by the `bin` of each fill, and its trend."""
    if fills.empty:
        return (), None
    effect, sums = session_effect(fills, "bin"), fills.groupby("bin")[["castings", "rejects"]].sum()
    bins = tuple(
        TemperatureBin(
            low_c=_bin_edge(bench, number),
            high_c=_bin_edge(bench, number + 1),
            castings=made,
            rejects=bad,
            rate=share_interval(bad, made, effect),
        )
        for number, made, bad in sums.itertuples(name=None)
    )
    middles = [(each.low_c + each.high_c) / 2 for each in bins]
    return bins, cochran_armitage(sums["rejects"], sums["castings"], middles, dispersion=effect)


def bin_numbers(bench: Bench, celsius: Any) -> Any:
    """Returns the number of the bin of each temperature; edges are round in the bench's own unit."""
    return np.floor((on_bench_scale(bench, celsius) + 1e-6) / BIN_WIDTH[bench.system])


def _bin_edge(bench: Bench, number: float) -> float:
    """Returns the lower edge of a bin in degC."""
    edge = number * BIN_WIDTH[bench.system]
    return (edge - 32) / 1.8 if bench.system == "us" else edge


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareRatio:
    """How many times as often events occur in one group as in another, the same in all strata.

    `above` and `below` are the sums whose ratio it is, `spread` the variance of their difference where they
    are equal. Test and limits are one method, so that the limits leave out 1 where the test rejects it.
    """

    above: float
    below: float
    spread: float

    @property
    def ratio(self) -> float:
        """The estimate; inf or 0 where one group alone has events."""
        return self.above / self.below if self.below > 0 else math.inf

    @property
    def p_value(self) -> float:
        """Of the test that events are as frequent in both, by chi-square on one degree of freedom."""
        return float(chdtrc(1.0, (self.above - self.below) ** 2 / self.spread))

    def limits(self, level: float) -> tuple[float, float]:
        """The ratios that (above - ratio * below)^2 <= z^2 * ratio * spread does not reject."""
        doubt = normal_quantile(level) ** 2 * self.spread / 2
        product = self.above * self.below
        root = math.sqrt(doubt * (doubt + 2 * product))
        if self.below == 0:
            return self.above**2 / (2 * doubt), math.inf
        return max((product + doubt - root) / self.below**2, 0.0), (product + doubt + root) / self.below**2


def share_ratio(
    events_a: ArrayLike,
    trials_a: ArrayLike,
    events_b: ArrayLike,
    trials_b: ArrayLike,
    *,
    dispersion: float = 1.0,
) -> ShareRatio | None:
    """Compares two groups within strata, all arrays (strata,), by the ratio of their shares of events.

    The ratio after Mantel and Haenszel, sum of a m/N over sum of c n/N, and the variance of Greenland and
    Robins 1985, Biometrics 41:55-68, which holds for few large strata and for many small ones; the limits
    solve the estimating equation as Sato 1990, Biometrics 46:71-80, does for odds ratios (all from memory).
    `dispersion`, the design effect of clusters that lie within strata, multiplies the variance. Where
    outcomes agree within clusters, take the clusters themselves (the fills) as strata.

    None where no stratum holds both groups and both outcomes.
    """
    counts = np.array([events_a, trials_a, events_b, trials_b], dtype=np.float64)
    a, n, c, m = counts[:, (counts[1] > 0) & (counts[3] > 0)]
    total = n + m
    spread = float(((n * m * (a + c) - a * c * total) / total**2).sum())
    if spread == 0:
        return None
    return ShareRatio(
        above=float((a * m / total).sum()),
        below=float((c * n / total).sum()),
        spread=dispersion * spread,
    )


def one_against_rest(
    strata: ArrayLike, groups: Sequence[str], trials: ArrayLike, events: ArrayLike, *, dispersion: float = 1.0
) -> dict[str, ShareRatio]:
    """Compares each group with the others of the same stratum; all (n,), rows in any order.

    Returns nothing for a single group, or a group that is never with others. See `share_ratio`: its ratio
    means what people say, which an odds ratio does not once events are frequent.
    """
    labels, place = np.asarray(groups), np.unique(np.asarray(strata), return_inverse=True)[1]
    bad, made = (np.asarray(values, dtype=np.float64) for values in (events, trials))
    size = int(place.max(initial=-1)) + 1
    found = {}
    for name in sorted(set(groups)):
        counts = [
            np.bincount(place[chosen], values[chosen], size)
            for chosen in (labels == name, labels != name)
            for values in (bad, made)
        ]
        ratio = share_ratio(*counts, dispersion=dispersion)
        if ratio is not None:
            found[name] = ratio
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjusted:
    """A comparison among others: its p-value after Holm, and the level at which limits agree with it."""

    p: float
    level: float


def adjusted(families: Sequence[dict[str, ShareRatio]]) -> list[dict[str, Adjusted]]:
    """Returns Holm's adjusted p-values over all comparisons of all families, in the same places.

    Holm 1979, Scand. J. Statist. 6:65-70 (from memory). With two groups, one against the other is the same
    test twice, so it counts once. Limits at the level given leave out 1 where the adjusted p is below 0.05:
    0.05 is divided by as much as the p-value was multiplied with.
    """
    keys = [
        {name: (at, min(family) if len(family) == 2 else name) for name in family}
        for at, family in enumerate(families)
    ]
    tests = {key: families[key[0]][key[1]].p_value for family in keys for key in family.values()}
    found = {}
    for (key, p), after in zip(tests.items(), holm_adjusted(list(tests.values())).tolist(), strict=True):
        factor = after / p if p > 0 else len(tests)
        found[key] = Adjusted(p=after, level=1 - SIGNIFICANCE / max(factor, 1.0))
    return [{name: found[key] for name, key in family.items()} for family in keys]


def trend_within(
    strata: ArrayLike, x: ArrayLike, events: ArrayLike, trials: ArrayLike, *, dispersion: float = 1.0
) -> tuple[float, float]:
    """Tests a trend of events/trials over x within strata, all (n,): its sign and two-sided p-value.

    Mantel 1963, J. Amer. Statist. Assoc. 58:690-700, without continuity correction (from memory); with two
    values of x it is the test of Mantel and Haenszel 1959. What strata differ by is no part of it.
    `dispersion`, the design effect of rows, divides the statistic. Every row has trials. Sign 0 and p-value 1
    where no stratum has two values of x and both outcomes.
    """
    group = np.unique(np.asarray(strata), return_inverse=True)[1]
    y, n, place = (np.asarray(values, dtype=np.float64) for values in (events, trials, x))
    made = np.bincount(group, n)
    share, centred = np.bincount(group, y) / made, place - (np.bincount(group, n * place) / made)[group]
    spread = share * (1 - share) * np.bincount(group, n * centred**2) * made / np.maximum(made - 1, 1)
    variance = dispersion * float(spread.sum())
    if variance <= 0:
        return 0.0, 1.0
    gap = float((centred * (y - n * share[group])).sum())
    return float(np.sign(gap)), float(chdtrc(1.0, gap**2 / variance))


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlChart:
    """Points of a chart, its center line and the limits of each point, all but the center (n,).

    A point exactly on a limit is not beyond it.
    """

    value: FloatArray
    center: float
    lower: FloatArray
    upper: FloatArray
    above: NDArray[np.bool_]
    below: NDArray[np.bool_]


def p_chart(events: ArrayLike, trials: ArrayLike, *, sigmas: float = 3.0) -> ControlChart:
    """Charts events/trials for samples of unequal size, both (n,), with limits within 0 and 1.

    Center = all events over all trials; limits center +- sigmas * sqrt(center (1 - center) / trials).
    NIST/SEMATECH e-Handbook of Statistical Methods 6.3.3.2; Montgomery, Introduction to Statistical Quality
    Control, chapter 7 (from memory). The samples are taken as binomial: outcomes that agree within clusters
    make the limits too narrow.
    """
    y, n = np.asarray(events, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    center, value, rounding = float(y.sum() / n.sum()), y / n, 1e-12
    half = sigmas * np.sqrt(center * (1 - center) / n)
    lower, upper = np.maximum(center - half, 0.0), np.minimum(center + half, 1.0)
    return ControlChart(
        value=value,
        center=center,
        lower=lower,
        upper=upper,
        above=value > upper + rounding,
        below=value < lower - rounding,
    )
