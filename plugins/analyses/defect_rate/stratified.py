"""Comparisons of groups within strata: the Mantel-Haenszel test and a common ratio of shares."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from benchwater.statistics.interval import holm_adjusted, normal_quantile

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class MantelHaenszelTest:
    """Test of a common odds ratio of 1; both None where no stratum has both groups and both outcomes."""

    statistic: float | None
    p_value: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareRatio:
    """One ratio of the shares of events in groups a and b for all strata, with 95 % limits.

    `ratio` is inf or 0 where one group alone has events, and the limits are None then; all are None without
    events in a stratum that holds both groups.
    """

    ratio: float | None
    lower: float | None
    upper: float | None


def mantel_haenszel(
    events_a: ArrayLike,
    trials_a: ArrayLike,
    events_b: ArrayLike,
    trials_b: ArrayLike,
    *,
    dispersion: float = 1.0,
) -> MantelHaenszelTest:
    """Tests two groups within strata, all arrays (strata,), by chi-square on one degree of freedom.

    Mantel and Haenszel 1959, Journal of the National Cancer Institute 22:719-748 (from memory), without
    continuity correction. `dispersion`, the design effect of clusters that lie within strata, divides the
    statistic. Where outcomes agree within clusters, take the clusters themselves (the fills) as strata.

    Raises ValueError for unequal shapes, events outside 0..trials or values not finite.
    """
    a, size_a, c, size_b = _checked(events_a, trials_a, events_b, trials_b)
    total, happened = size_a + size_b, a + c
    use = (size_a > 0) & (size_b > 0) & (happened > 0) & (happened < total)
    if not use.any():
        return MantelHaenszelTest(statistic=None, p_value=None)
    a, size_a, size_b, total, happened = (v[use] for v in (a, size_a, size_b, total, happened))
    variance = size_a * size_b * happened * (total - happened) / (total**2 * (total - 1))
    gap = abs(float((a - size_a * happened / total).sum()))
    statistic = gap**2 / float(variance.sum()) / dispersion
    return MantelHaenszelTest(statistic=statistic, p_value=float(chdtrc(1.0, statistic)))


def share_ratio(
    events_a: ArrayLike,
    trials_a: ArrayLike,
    events_b: ArrayLike,
    trials_b: ArrayLike,
    *,
    dispersion: float = 1.0,
) -> ShareRatio:
    """Compares two groups within strata, all arrays (strata,), by the ratio of their shares of events.

    The ratio after Mantel and Haenszel, sum of a m/N over sum of c n/N, and the variance of its logarithm,
    which holds for few large strata and for many small ones: Greenland and Robins 1985, Biometrics 41:55-68
    (from memory; with one stratum it is 1/a - 1/n + 1/c - 1/m). `dispersion`, the design effect of clusters
    that lie within strata, multiplies that variance. Where the ratio differs between strata this is their
    weighted mean. Raises ValueError as `mantel_haenszel` does.
    """
    a, n, c, m = _checked(events_a, trials_a, events_b, trials_b)
    use = (n > 0) & (m > 0) & (a + c > 0)
    if not use.any():
        return ShareRatio(ratio=None, lower=None, upper=None)
    a, n, c, m = (v[use] for v in (a, n, c, m))
    total, happened = n + m, a + c
    above, below = float((a * m / total).sum()), float((c * n / total).sum())
    if above == 0 or below == 0:
        return ShareRatio(ratio=np.inf if below == 0 else 0.0, lower=None, upper=None)
    spread = float(((n * m * happened - a * c * total) / total**2).sum())
    log_error = np.sqrt(dispersion * max(spread, 0.0) / (above * below))
    reach = float(np.exp(normal_quantile(0.95) * log_error))
    ratio = above / below
    return ShareRatio(ratio=ratio, lower=ratio / reach, upper=ratio * reach)


def one_against_rest(
    strata: ArrayLike, groups: Sequence[str], trials: ArrayLike, events: ArrayLike, *, dispersion: float = 1.0
) -> dict[str, MantelHaenszelTest]:
    """Tests each group against the others of the same stratum; all (n,), rows in any order.

    Returns nothing for a single group. See `mantel_haenszel`; raises ValueError also for unequal lengths.
    """
    names = sorted(set(groups))
    if len(names) < 2:
        return {}
    return {
        name: mantel_haenszel(*_two_groups(strata, groups, trials, events, name), dispersion=dispersion)
        for name in names
    }


def times_as_often(
    strata: ArrayLike,
    groups: Sequence[str],
    trials: ArrayLike,
    events: ArrayLike,
    group: str,
    *,
    dispersion: float = 1.0,
) -> ShareRatio:
    """Returns how many times as often events occur in `group` as in the others of the same stratum; all (n,).

    See `share_ratio`: its ratio means what people say, which an odds ratio does not once events are frequent.
    Raises ValueError as `one_against_rest` does.
    """
    return share_ratio(*_two_groups(strata, groups, trials, events, group), dispersion=dispersion)


def adjusted_p(families: Sequence[dict[str, MantelHaenszelTest]]) -> list[dict[str, float]]:
    """Returns Holm's adjusted p-values over all comparisons of all families, in the same places.

    Holm 1979, Scand. J. Statist. 6:65-70 (from memory). With two groups, one against the other is the same
    test twice, so it counts once. A comparison without information is left out.
    """
    tests: dict[tuple[int, str], float] = {}
    for at, family in enumerate(families):
        for name, result in family.items():
            if result.p_value is not None:
                tests[at, _test_name(family, name)] = result.p_value
    adjusted = dict(zip(tests, holm_adjusted(list(tests.values())), strict=True))
    return [
        {
            name: float(adjusted[at, _test_name(family, name)])
            for name, result in family.items()
            if result.p_value is not None
        }
        for at, family in enumerate(families)
    ]


def _test_name(family: dict[str, MantelHaenszelTest], name: str) -> str:
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
