"""Proportions: confidence limits, outcomes that come in clusters, and the trend over ordered groups."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchwater.statistics.interval import Interval, normal_quantile, tail_probability
from benchwater.statistics.uncertainty import coverage_factor

FloatArray = NDArray[np.float64]

LEVEL = 0.95
MINIMUM_DEGREES = 4


def wilson_interval(events: float, trials: float, effect: float = 1.0) -> Interval:
    """Wilson's 95 % score interval of a proportion, without continuity correction.

    With a design `effect` of outcomes alike within clusters, trials / effect take the place of the trials:
    effective sample size, Korn and Graubard 1998, Survey Methodology 24:193-201; the two together compared in
    Franco, Little, Louis and Slud 2019, J. Survey Statistics and Methodology 7:334-364 (from memory). The
    lower limit is exactly 0 without events, the upper exactly 1 for events alone.

    Raises ValueError unless 0 <= events <= trials, trials > 0 and the effect is at least 1.

    Source: Wilson 1927, J. Amer. Statist. Assoc. 22:209-212; method 3 of Newcombe 1998, Statistics in
    Medicine 17:857-872 (from memory, checked against its printed examples).
    """
    if not (0 <= events <= trials and trials > 0 and effect >= 1):
        raise ValueError(f"{events} events of {trials} trials at an effect of {effect} are no proportion")
    z = normal_quantile(LEVEL)
    share, size = events / trials, trials / effect
    centre = (share + z * z / (2 * size)) / (1 + z * z / size)
    half = z * math.sqrt(share * (1 - share) / size + z * z / (4 * size * size)) / (1 + z * z / size)
    return Interval(
        estimate=share,
        low=centre - half if events > 0 else 0.0,
        high=centre + half if events < trials else 1.0,
        level=LEVEL,
    )


def clopper_pearson_interval(events: int, trials: int) -> Interval:
    """Clopper and Pearson's exact central 95 % interval of a binomial proportion, of at least one trial.

    Each limit keeps the tail probability of 2.5 %, also where the other limit is 0 or 1.

    Source: Clopper & Pearson 1934, Biometrika 26:404-413, in the beta form; method 5 of Newcombe 1998,
    Statistics in Medicine 17:857-872 (from memory, checked against its printed examples).
    """
    from scipy.special import betainccinv, betaincinv

    tail = tail_probability(LEVEL)
    return Interval(
        estimate=events / trials,
        low=float(betaincinv(events, trials - events + 1, tail)) if events > 0 else 0.0,
        high=float(betainccinv(events + 1, trials - events, tail)) if events < trials else 1.0,
        level=LEVEL,
    )


def design_effect(
    events: ArrayLike, trials: ArrayLike, strata: ArrayLike | None = None, *, at_least: float = 1.0
) -> float:
    """How many times the variance of a share exceeds the binomial one, from counts by cluster, both (k,).

    Ratio estimator over clusters: Rao and Scott 1992, Biometrics 48:577-585 (from memory). With `strata`
    (k,), such as bins of temperature, clusters are compared within their stratum only, and what the strata
    differ by is no part of it: sum over strata of m/(m-1) sum (y - p n)^2, over sum p (1 - p) n, with p the
    stratum's share and m its clusters. Held between `at_least` and the mean cluster size weighted by size,
    the value where all outcomes of a cluster are alike (Kish 1965, Survey Sampling; from memory).

    `at_least` where it cannot be estimated: fewer than MINIMUM_DEGREES clusters beyond one a stratum, or
    outcomes all alike. Raises ValueError for unequal shapes, or events that are missing or outside 0..trials.
    """
    ratio, degrees, mean_size = _variance_ratio(events, trials, strata)
    return at_least if ratio is None or degrees < MINIMUM_DEGREES else max(at_least, min(ratio, mean_size))


def few_cluster_effect(events: ArrayLike, trials: ArrayLike, strata: ArrayLike | None = None) -> float | None:
    """The `design_effect` with the doubt of few clusters in it: times (t / z)^2, and never below 1.

    t is Student's 97.5 % quantile with as many degrees of freedom as there are clusters beyond one a stratum,
    z the normal one. Trials over this effect are the effective sample size of Korn and Graubard 1998, Survey
    Methodology 24:193-201 (from memory). 1 where outcomes are all alike, as they say nothing of clusters;
    None where no stratum has two clusters. Raises ValueError as `design_effect` does.
    """
    ratio, degrees, mean_size = _variance_ratio(events, trials, strata)
    if degrees == 0:
        return None
    doubt = (coverage_factor(degrees) / normal_quantile(LEVEL)) ** 2
    return 1.0 if ratio is None else max(1.0, min(ratio, mean_size) * doubt)


def _variance_ratio(
    events: ArrayLike, trials: ArrayLike, strata: ArrayLike | None
) -> tuple[float | None, int, float]:
    """The ratio of variances (None where all outcomes are alike), its degrees of freedom, the mean size."""
    y, n, labels = _counts(events, trials, np.zeros(np.shape(events)) if strata is None else strata)
    used = n > 0
    if not used.any():
        return None, 0, 1.0
    y, n, group = y[used], n[used], np.unique(labels[used], return_inverse=True)[1]
    clusters = np.bincount(group)
    share = np.bincount(group, y) / np.bincount(group, n)
    several = clusters > 1
    squares = np.bincount(group, (y - share[group] * n) ** 2)[several]
    binomial = np.bincount(group, (share * (1 - share))[group] * n)[several].sum()
    mean_size, degrees = float((n**2).sum() / n.sum()), int((clusters - 1).sum())
    if binomial <= 0:
        return None, degrees, mean_size
    observed = (squares * clusters[several] / (clusters[several] - 1)).sum() / binomial
    return float(observed), degrees, mean_size


def unseen(seen: float, others_seen: float, others_unseen: float) -> tuple[float, float]:
    """95 % limits of how many were not seen, besides `seen` that were.

    How likely each is seen is known from others of the same kind, `others_seen` and `others_unseen` of them.
    Given that chance p, the number not seen is negative binomial (seen + 1, p), all totals being as likely
    beforehand; with p beta (others_seen + 1, others_unseen + 1) it is beta-negative binomial: Johnson, Kemp &
    Kotz 2005, Univariate Discrete Distributions, section 6.2.3 (from memory).
    """
    from scipy.special import betaln, gammaln

    r, a, b = seen + 1.0, others_seen + 1.0, others_unseen + 1.0
    size = 64
    while True:
        k = np.arange(float(size))
        log_pmf = gammaln(k + r) - gammaln(k + 1) - gammaln(r) + betaln(a + r, b + k) - betaln(a, b)
        at_most = np.cumsum(np.exp(log_pmf))
        if at_most[-1] > 1 - tail_probability(LEVEL) or size > 1 << 20:
            break
        size *= 4
    low, high = np.searchsorted(at_most, [tail_probability(LEVEL), 1 - tail_probability(LEVEL)])
    return float(low), float(high)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendTest:
    """Cochran-Armitage test: chi-square on one degree of freedom, two-sided p, direction.

    `statistic` uses the total N, not N - 1. `slope` is the weighted least-squares change of the proportion
    for one unit of the score.
    """

    statistic: float
    p_value: float
    slope: float


def cochran_armitage(
    events: ArrayLike, trials: ArrayLike, scores: ArrayLike, *, dispersion: float = 1.0
) -> TrendTest | None:
    """Test of a linear trend of events/trials over `scores`, all (k,).

    Armitage 1955, Biometrics 11:375-386; Agresti, Categorical Data Analysis, section 5.3 (from memory). The
    statistics are divided by `dispersion`, the design effect of outcomes alike within clusters: Rao and Scott
    1992, Biometrics 48:577-585 (from memory).

    None where there is nothing to test: no events, no trial without one, or trials at one score only. Raises
    ValueError for unequal shapes, or events that are missing or outside 0..trials.
    """
    from scipy.special import chdtrc

    y, n, x = _counts(events, trials, scores)
    total, happened = float(n.sum()), float(y.sum())
    if happened in (0.0, total) or np.unique(x[n > 0]).size < 2:
        return None
    share = happened / total
    centred = x - float(n @ x) / total
    spread = float(n @ centred**2)
    covariation = float(y @ centred)
    statistic = covariation**2 / (share * (1 - share) * spread) / dispersion
    return TrendTest(
        statistic=statistic,
        p_value=float(chdtrc(1.0, statistic)),
        slope=covariation / spread,
    )


def _counts(events: ArrayLike, trials: ArrayLike, by: ArrayLike) -> tuple[FloatArray, FloatArray, Any]:
    """Events and trials, both (k,), and what they are compared by, as arrays."""
    y, n, of = np.asarray(events, dtype=np.float64), np.asarray(trials, dtype=np.float64), np.asarray(by)
    if y.ndim != 1 or not y.shape == n.shape == of.shape:
        raise ValueError(f"events {y.shape}, trials {n.shape} and {of.shape} must be of one length")
    if not np.all((y >= 0) & (y <= n)):
        raise ValueError("events must lie between 0 and trials")
    return y, n, of
