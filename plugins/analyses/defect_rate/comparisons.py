"""Comparisons of cavities within strata, the trend within strata, and the Shewhart chart of sessions."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from benchwater.statistics.interval import holm_adjusted, normal_quantile

FloatArray = NDArray[np.float64]
SIGNIFICANCE = 0.05


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

    None where no stratum holds both groups and both outcomes. Raises ValueError for unequal shapes, events
    outside 0..trials or values not finite.
    """
    a, n, c, m = _checked(events_a, trials_a, events_b, trials_b)
    use = (n > 0) & (m > 0) & (a + c > 0) & (a + c < n + m)
    if not use.any():
        return None
    every = (n > 0) & (m > 0)
    a, n, c, m = (v[every] for v in (a, n, c, m))
    total = n + m
    return ShareRatio(
        above=float((a * m / total).sum()),
        below=float((c * n / total).sum()),
        spread=dispersion * float(((n * m * (a + c) - a * c * total) / total**2).sum()),
    )


def one_against_rest(
    strata: ArrayLike, groups: Sequence[str], trials: ArrayLike, events: ArrayLike, *, dispersion: float = 1.0
) -> dict[str, ShareRatio]:
    """Compares each group with the others of the same stratum; all (n,), rows in any order.

    Returns nothing for a single group, or a group that is never with others. See `share_ratio`: its ratio
    means what people say, which an odds ratio does not once events are frequent. Raises ValueError also for
    unequal lengths.
    """
    names = sorted(set(groups))
    if len(names) < 2:
        return {}
    found = {
        name: share_ratio(*_two_groups(strata, groups, trials, events, name), dispersion=dispersion)
        for name in names
    }
    return {name: ratio for name, ratio in found.items() if ratio is not None}


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
    tests = {
        (at, _test_name(family, name)): family[_test_name(family, name)].p_value
        for at, family in enumerate(families)
        for name in family
    }
    holm = dict(zip(tests, holm_adjusted(list(tests.values())).tolist(), strict=True))
    found: list[dict[str, Adjusted]] = []
    for at, family in enumerate(families):
        found.append({})
        for name in family:
            key = at, _test_name(family, name)
            factor = holm[key] / tests[key] if tests[key] > 0 else float(len(tests))
            found[-1][name] = Adjusted(p=holm[key], level=1 - SIGNIFICANCE / max(factor, 1.0))
    return found


def trend_within(
    strata: ArrayLike, x: ArrayLike, events: ArrayLike, trials: ArrayLike, *, dispersion: float = 1.0
) -> tuple[float, float]:
    """Tests a trend of events/trials over x within strata, all (n,): its sign and two-sided p-value.

    Mantel 1963, J. Amer. Statist. Assoc. 58:690-700, without continuity correction (from memory); with two
    values of x it is the test of Mantel and Haenszel 1959. What strata differ by is no part of it.
    `dispersion`, the design effect of rows, divides the statistic. Sign 0 and p-value 1 where no stratum has
    two values of x and both outcomes.
    """
    group = np.unique(np.asarray(strata), return_inverse=True)[1]
    y, n, place = (np.asarray(values, dtype=np.float64) for values in (events, trials, x))
    total, happened = np.bincount(group, n), np.bincount(group, y)
    made = np.where(total > 0, total, 1.0)
    centred = place - (np.bincount(group, n * place) / made)[group]
    share = happened / made
    spread = share * (1 - share) * np.bincount(group, n * centred**2) * made / np.maximum(made - 1, 1)
    variance = dispersion * float(spread.sum())
    if variance <= 0:
        return 0.0, 1.0
    gap = float((centred * (y - n * share[group])).sum())
    return float(np.sign(gap)), float(chdtrc(1.0, gap**2 / variance))


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlChart:
    """Points of a chart, its center line and the limits of each point, all but the center (n,).

    A point without trials has the value and limits nan and is not beyond them. A point exactly on a limit is
    not beyond it.
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
    make the limits too narrow. There must be a trial.
    """
    y, n = np.asarray(events, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    center = float(y.sum() / n.sum())
    with np.errstate(divide="ignore", invalid="ignore"):
        value = np.where(n > 0, y / n, np.nan)
        half = np.where(n > 0, sigmas * np.sqrt(center * (1 - center) / n), np.nan)
    lower, upper = np.maximum(center - half, 0.0), np.minimum(center + half, 1.0)
    rounding = 1e-12
    return ControlChart(
        value=value,
        center=center,
        lower=lower,
        upper=upper,
        above=value > upper + rounding,
        below=value < lower - rounding,
    )


def _test_name(family: dict[str, ShareRatio], name: str) -> str:
    return min(family) if len(family) == 2 else name


def _two_groups(
    strata: ArrayLike, groups: Sequence[str], trials: ArrayLike, events: ArrayLike, group: str
) -> tuple[FloatArray, ...]:
    """Returns events and trials by stratum of the group, then of all the others."""
    made, bad = (np.asarray(values, dtype=np.float64) for values in (trials, events))
    rows = np.unique(np.asarray(strata), return_inverse=True)[1]
    labels = np.asarray(groups)
    if not rows.shape == labels.shape == made.shape == bad.shape:
        raise ValueError("strata, groups, trials and events must be of one length")
    size = int(rows.max()) + 1
    return tuple(
        np.asarray(np.bincount(rows[chosen], values[chosen], minlength=size), dtype=np.float64)
        for chosen in (labels == group, labels != group)
        for values in (bad, made)
    )


def _checked(*counts: ArrayLike) -> tuple[FloatArray, ...]:
    """Returns events and trials of both groups as arrays."""
    a, size_a, c, size_b = (np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in counts)
    if a.ndim != 1 or not a.shape == size_a.shape == c.shape == size_b.shape:
        raise ValueError("events and trials of both groups must be of one length")
    if not all(np.isfinite(v).all() for v in (a, size_a, c, size_b)):
        raise ValueError("events and trials must be finite")
    if np.any(a < 0) or np.any(a > size_a) or np.any(c < 0) or np.any(c > size_b):
        raise ValueError("events must lie between 0 and trials")
    return a, size_a, c, size_b
