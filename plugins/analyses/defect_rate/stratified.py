"""A common odds ratio, and a common ratio of shares, over strata."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from benchwater.statistics.interval import normal_quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class MantelHaenszel:
    """Common odds ratio of group a against group b, its limits, and the test of a ratio of 1.

    `informative` strata have trials in both groups and both outcomes; the others carry no information.
    Without any, every number is None. `odds_ratio` is inf or 0 where one group alone has events (or one alone
    has trials without) in every informative stratum; the limits and `log_standard_error` are None then, the
    test is not.
    """

    odds_ratio: float | None
    log_standard_error: float | None
    lower: float | None
    upper: float | None
    statistic: float | None
    p_value: float | None
    informative: int


def mantel_haenszel(
    events_a: ArrayLike,
    trials_a: ArrayLike,
    events_b: ArrayLike,
    trials_b: ArrayLike,
    *,
    level: float = 0.95,
    continuity: bool = False,
) -> MantelHaenszel:
    """Compare two groups within strata, all arrays (strata,).

    Odds ratio and test (chi-square on one degree of freedom, 0.5 taken off with `continuity`): Mantel and
    Haenszel 1959, Journal of the National Cancer Institute 22:719-748. Variance of its logarithm: Robins,
    Breslow and Greenland 1986, Biometrics 42:311-323 (both from memory). Where outcomes are alike within
    clusters, take the clusters themselves (the fills) as strata.

    Raises ValueError for unequal shapes, events outside 0..trials, values not finite, a level outside
    (0, 1).
    """
    a, size_a, c, size_b = (
        np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (events_a, trials_a, events_b, trials_b)
    )
    if a.ndim != 1 or not a.shape == size_a.shape == c.shape == size_b.shape:
        raise ValueError("events and trials of both groups must be of one length")
    if not all(np.isfinite(v).all() for v in (a, size_a, c, size_b)):
        raise ValueError("events and trials must be finite")
    if np.any(a < 0) or np.any(a > size_a) or np.any(c < 0) or np.any(c > size_b):
        raise ValueError("events must lie between 0 and trials")
    quantile = normal_quantile(level)
    total = size_a + size_b
    happened = a + c
    use = (size_a > 0) & (size_b > 0) & (happened > 0) & (happened < total)
    informative = int(use.sum())
    if informative == 0:
        return MantelHaenszel(
            odds_ratio=None,
            log_standard_error=None,
            lower=None,
            upper=None,
            statistic=None,
            p_value=None,
            informative=0,
        )
    a, size_a, c, size_b, total, happened = (v[use] for v in (a, size_a, c, size_b, total, happened))
    b, d = size_a - a, size_b - c

    variance = size_a * size_b * happened * (total - happened) / (total**2 * (total - 1))
    gap = abs(float((a - size_a * happened / total).sum()))
    statistic = max(gap - (0.5 if continuity else 0.0), 0.0) ** 2 / float(variance.sum())

    r, s = a * d / total, b * c / total
    r_sum, s_sum = float(r.sum()), float(s.sum())
    odds_ratio = r_sum / s_sum if s_sum > 0 else np.inf
    log_error = lower = upper = None
    if r_sum > 0 and s_sum > 0:
        p, q = (a + d) / total, (b + c) / total
        log_error = float(
            np.sqrt(
                (p * r).sum() / (2 * r_sum**2)
                + (p * s + q * r).sum() / (2 * r_sum * s_sum)
                + (q * s).sum() / (2 * s_sum**2)
            )
        )
        reach = float(np.exp(quantile * log_error))
        lower, upper = odds_ratio / reach, odds_ratio * reach
    return MantelHaenszel(
        odds_ratio=odds_ratio,
        log_standard_error=log_error,
        lower=lower,
        upper=upper,
        statistic=statistic,
        p_value=float(chdtrc(1.0, statistic)),
        informative=informative,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareRatio:
    """How many times as often an outcome comes in group a as in group b: one ratio of shares for all strata.

    `ratio` is inf or 0 where one group alone has events, and the limits are None then; all None without
    events in a stratum that holds both groups.
    """

    ratio: float | None
    lower: float | None
    upper: float | None


def share_ratio(
    events_a: ArrayLike,
    trials_a: ArrayLike,
    events_b: ArrayLike,
    trials_b: ArrayLike,
    *,
    dispersion: float = 1.0,
    level: float = 0.95,
) -> ShareRatio:
    """Compare two groups within strata, all arrays (strata,), by the ratio of their shares of events.

    The ratio after Mantel and Haenszel, sum of a m/N over sum of c n/N, and the variance of its logarithm,
    which holds for few large strata and for many small ones: Greenland and Robins 1985, Biometrics 41:55-68
    (from memory; with one stratum it is 1/a - 1/n + 1/c - 1/m). `dispersion`, the design effect of clusters
    that lie within strata, multiplies that variance. Where the ratio differs between strata this is their
    weighted mean. Raises ValueError as `mantel_haenszel` does.
    """
    mantel_haenszel(events_a, trials_a, events_b, trials_b)  # checks the counts
    a, n, c, m = (
        np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (events_a, trials_a, events_b, trials_b)
    )
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
    reach = float(np.exp(normal_quantile(level) * log_error))
    ratio = above / below
    return ShareRatio(ratio=ratio, lower=ratio / reach, upper=ratio * reach)
