"""Proportions of outcomes that come in clusters: the design effect, and an interval that allows for it."""

import math

import numpy as np
from numpy.typing import ArrayLike

from benchwater.statistics.interval import Interval, normal_quantile

LEVEL = 0.95
MINIMUM_DEGREES = 4


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
    outcomes all alike. Raises ValueError for unequal shapes, events outside 0..trials or values not finite.
    """
    y, n = np.asarray(events, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    labels = np.zeros(y.size, dtype=np.int64) if strata is None else np.asarray(strata)
    if y.ndim != 1 or not y.shape == n.shape == labels.shape:
        raise ValueError(
            f"events {y.shape}, trials {n.shape} and strata {labels.shape} must be of one length"
        )
    if not (np.isfinite(y).all() and np.isfinite(n).all()) or np.any(y < 0) or np.any(y > n):
        raise ValueError("events must be finite and lie between 0 and trials")
    used = n > 0
    if not used.any():
        return at_least
    y, n, group = y[used], n[used], np.unique(labels[used], return_inverse=True)[1]
    clusters = np.bincount(group)
    share = np.bincount(group, y) / np.bincount(group, n)
    several = clusters > 1
    squares = np.bincount(group, (y - share[group] * n) ** 2)[several]
    binomial = np.bincount(group, (share * (1 - share))[group] * n)[several].sum()
    if int((clusters - 1).sum()) < MINIMUM_DEGREES or binomial <= 0:
        return at_least
    observed = (squares * clusters[several] / (clusters[several] - 1)).sum() / binomial
    mean_size = float((n**2).sum() / n.sum())
    return max(at_least, min(float(observed), mean_size))


def clustered_wilson_interval(events: float, trials: float, effect: float) -> Interval:
    """Wilson's 95 % score interval with the effective sample size trials / `effect` in place of the trials.

    Wilson 1927, J. Amer. Statist. Assoc. 22:209-212; effective sample size: Korn and Graubard 1998, Survey
    Methodology 24:193-201; the two together compared in Franco, Little, Louis and Slud 2019, J. Survey
    Statistics and Methodology 7:334-364 (from memory). An effect of 1 gives Wilson's interval itself.

    Raises ValueError unless 0 <= events <= trials, trials > 0 and the effect is at least 1.
    """
    if not (0 <= events <= trials and trials > 0):
        raise ValueError(f"events must lie between 0 and trials, and trials be above 0: {events}, {trials}")
    if not effect >= 1:
        raise ValueError(f"the design effect must be at least 1, not {effect}")
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
