"""The exact comparison of two rates within strata."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import gammaln

from benchwater.mathematics.interval import tail_probability, whole_count

FloatArray = NDArray[np.float64]

_NEGLIGIBLE = -60.0
_STRETCH = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonRateRatio:
    """One ratio of rate 1 to rate 2 in all strata, with exact limits and two-sided p-value.

    `ratio` is the conditional maximum-likelihood estimate; it is 0 or infinite, with `low` 0 or `high`
    infinite, where one group has no events, or all, in every informative stratum. `p_central` is twice the
    smaller tail and agrees with the limits. `informative` strata have events, and exposure in both groups;
    without any, every number is None.
    """

    ratio: float | None
    low: float | None
    high: float | None
    level: float
    p_central: float | None
    informative: int


def common_rate_ratio(
    events1: ArrayLike, exposure1: ArrayLike, events2: ArrayLike, exposure2: ArrayLike, level: float = 0.95
) -> CommonRateRatio:
    """The rate ratio common to all strata, by the exact test conditional on each stratum's total of events.

    All arrays (strata,), exposures in one unit. Given the totals n_s, the events of group 1 are a sum of
    binomials; P(X = k) is proportional to c_k R^k, where c_k are the coefficients of the polynomial that is
    the product over strata of (exposure1 z + exposure2)^n_s. With one stratum this is `rates.rate_ratio`.
    Raises ValueError for unequal shapes, events that are not whole numbers of at least 0, exposures that are
    negative or not finite, events without exposure, or a level outside 0..1.

    Source: Martin & Austin 1996, Epidemiology 7:29-33 (from memory, checked against an example computed with
    OpenEpi).
    """
    tail = tail_probability(level)
    x1, t1, x2, t2 = (
        np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (events1, exposure1, events2, exposure2)
    )
    if x1.ndim != 1 or not x1.shape == t1.shape == x2.shape == t2.shape:
        raise ValueError("events and exposures of both groups must be of one length")
    for events, exposure in ((x1, t1), (x2, t2)):
        for count in events:
            whole_count(float(count), "events")
        if not np.all(np.isfinite(exposure) & (exposure >= 0)):
            raise ValueError("exposures must be finite numbers of at least 0")
        if np.any((events > 0) & (exposure == 0)):
            raise ValueError("events need exposure")
    use = (t1 > 0) & (t2 > 0) & (x1 + x2 > 0)
    if not use.any():
        return CommonRateRatio(ratio=None, low=None, high=None, level=level, p_central=None, informative=0)
    x1, t1, x2, t2 = (v[use] for v in (x1, t1, x2, t2))
    observed, total = int(x1.sum()), int((x1 + x2).sum())
    log_weight = _log_coefficients(x1 + x2, t1 / (t1 + t2))
    counts = np.arange(total + 1)

    def probabilities(log_ratio: float) -> FloatArray:
        terms = log_weight + counts * log_ratio
        weights = np.exp(terms - terms.max())
        return np.asarray(weights / weights.sum(), dtype=np.float64)

    def at_most(log_ratio: float) -> float:
        return float(probabilities(log_ratio)[: observed + 1].sum())

    def at_least(log_ratio: float) -> float:
        return float(probabilities(log_ratio)[observed:].sum())

    ratio, low, high = 0.0, 0.0, math.inf
    if observed > 0:
        low = math.exp(_root(lambda log_ratio: at_least(log_ratio) - tail))
    if observed < total:
        high = math.exp(_root(lambda log_ratio: tail - at_most(log_ratio)))
    if 0 < observed < total:
        ratio = math.exp(_root(lambda log_ratio: float(counts @ probabilities(log_ratio)) - observed))
    elif observed == total:
        ratio = math.inf
    return CommonRateRatio(
        ratio=ratio,
        low=low,
        high=high,
        level=level,
        p_central=min(1.0, 2.0 * min(at_most(0.0), at_least(0.0))),
        informative=int(use.sum()),
    )


def _log_coefficients(totals: FloatArray, shares: FloatArray) -> FloatArray:
    """Logarithms of the coefficients of the product of (share z + 1 - share)^total."""
    logs = np.zeros(1)
    for n, share in zip(totals, shares, strict=True):
        k = np.arange(int(n) + 1)
        binomial = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
        stratum = binomial + k * math.log(share) + (n - k) * math.log1p(-share)
        logs = _log_product(logs, stratum)
    return logs


def _log_product(first: FloatArray, second: FloatArray) -> FloatArray:
    """Logarithms of the coefficients of a product of two polynomials, both log-concave.

    The largest term of each coefficient is known beforehand: the slopes of both logarithms, in falling
    order, add up to it. Terms too small beside it to change a double are left out, nearly all of them where
    there are thousands of events. Those that matter beside one term of `second` are a stretch of `first`,
    whose ends only move on from one term to the next.
    """
    slopes = np.sort(np.concatenate([np.diff(first), np.diff(second)]))[::-1]
    largest = first[0] + second[0] + np.concatenate([[0.0], np.cumsum(slopes)])
    sums = np.zeros(len(largest))
    start, end = 0, 0
    for shift, term in enumerate(second):
        beside = first[start:end] + (term - largest[shift + start : shift + end])
        while end < len(first) and (end == start or beside[-1] > _NEGLIGIBLE):
            end = min(len(first), end + _STRETCH)
            beside = first[start:end] + (term - largest[shift + start : shift + end])
        sums[shift + start : shift + end] += np.exp(beside)
        start += int(np.argmax(beside > _NEGLIGIBLE))
    return np.asarray(largest + np.log(sums), dtype=np.float64)


def _root(rising: Callable[[float], float]) -> float:
    """Where a rising function of the logarithm of the ratio crosses 0."""
    reach = 4.0
    while rising(-reach) > 0 or rising(reach) < 0:
        reach *= 2.0
    return float(brentq(rising, -reach, reach, xtol=1e-12))
