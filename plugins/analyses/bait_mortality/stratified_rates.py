"""The exact comparison of two rates within strata."""

import math
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import expit, gammaln

from benchwater.statistics.interval import whole_count

FloatArray = NDArray[np.float64]

_NEGLIGIBLE = -150.0
_MANY = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonRateRatio:
    """One ratio of rate 1 to rate 2 in all strata, with exact limits and two-sided p-value.

    `ratio` is the conditional maximum-likelihood estimate; it is 0 or infinite, with `low` 0 or `high`
    infinite, where one group has no events, or all, in every informative stratum. `p_central` is twice the
    smaller tail and agrees with the limits. Every number is None where no stratum has events, and exposure
    in both groups.
    """

    ratio: float | None
    low: float | None
    high: float | None
    p_central: float | None


def common_rate_ratio(
    events1: ArrayLike,
    exposure1: ArrayLike,
    events2: ArrayLike,
    exposure2: ArrayLike,
    *,
    alpha: float = 0.05,
) -> CommonRateRatio:
    """The rate ratio common to all strata, by the exact test conditional on each stratum's total of events.

    All arrays (strata,), exposures in one unit. Given the totals n_s, the events of group 1 are a sum of
    binomials with odds R exposure1 / exposure2 in each stratum. With one stratum this is `rates.rate_ratio`.
    The limits are at level 1 - `alpha`.
    Raises ValueError for unequal shapes, events that are not whole numbers of at least 0, exposures that are
    negative or not finite, or events without exposure.

    Source: Martin & Austin 1996, Epidemiology 7:29-33 (from memory, checked against an example computed with
    OpenEpi).
    """
    given = _given_totals(events1, exposure1, events2, exposure2)
    if given is None:
        return CommonRateRatio(ratio=None, low=None, high=None, p_central=None)
    tail = alpha / 2.0
    return CommonRateRatio(
        ratio=given.ratio,
        low=given.low(tail),
        high=given.high(tail),
        p_central=given.p_central(),
    )


def equal_rates_p(
    events1: ArrayLike, exposure1: ArrayLike, events2: ArrayLike, exposure2: ArrayLike
) -> float | None:
    """The `p_central` of `common_rate_ratio` alone."""
    given = _given_totals(events1, exposure1, events2, exposure2)
    return None if given is None else given.p_central()


def _given_totals(
    events1: ArrayLike, exposure1: ArrayLike, events2: ArrayLike, exposure2: ArrayLike
) -> "_GivenTotals | None":
    """None where no stratum has events and both exposures. ValueError as `common_rate_ratio`."""
    x1, t1, x2, t2 = (
        np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (events1, exposure1, events2, exposure2)
    )
    if x1.ndim != 1 or not x1.shape == t1.shape == x2.shape == t2.shape:
        raise ValueError("events and exposures of both groups must be of one length")
    for events, exposure in ((x1, t1), (x2, t2)):
        for count in events[~((events >= 0) & (events == np.floor(events)) & np.isfinite(events))]:
            whole_count(float(count), "events")
        if not np.all(np.isfinite(exposure) & (exposure >= 0)):
            raise ValueError("exposures must be finite numbers of at least 0")
        if np.any((events > 0) & (exposure == 0)):
            raise ValueError("events need exposure")
    use = (t1 > 0) & (t2 > 0) & (x1 + x2 > 0)
    if not use.any():
        return None
    x1, t1, x2, t2 = (v[use] for v in (x1, t1, x2, t2))
    return _GivenTotals(x1 + x2, np.log(t1) - np.log(t2), int(x1.sum()))


class _GivenTotals:
    """The distribution of X, the events of group 1 given each stratum's total, of which `observed` occurred.

    X is a sum of binomials. Its probabilities are computed once, at the ratio that makes the observed number
    the expected one, and carried from there to other ratios: P_R(k) = P(k) exp((k - observed) d - c) with d
    the difference of the logarithms of both ratios. So those near the observed number are as exact as doubles
    are, however small.
    """

    def __init__(self, totals: FloatArray, log_odds: FloatArray, observed: int) -> None:
        """`log_odds` (strata,) are those of an event to be of group 1 where the ratio is 1."""
        self._totals, self._log_odds, self._observed = totals, log_odds, observed
        self._none, self._all = observed == 0, observed == totals.sum()
        self.ratio = math.inf if self._all else 0.0
        if not (self._none or self._all):
            self._from = _root(lambda each: float(totals @ expit(each + log_odds)) - observed)
            self.ratio = math.exp(self._from)
            self._shares = expit(log_odds + self._from)

    @cached_property
    def _chances(self) -> tuple[FloatArray, NDArray[np.int64]]:
        """The logarithms of the probabilities, and by how much each number exceeds the observed one."""
        first, chances = _sum_of_binomials(self._totals, self._log_odds + self._from)
        return np.log(chances), np.arange(first, first + len(chances)) - self._observed

    def low(self, tail: float) -> float:
        """The ratio at which P(X >= observed) is `tail`."""
        if self._none:
            return 0.0
        start = None if self._all else self._from
        return math.exp(_root(lambda each: self._log_at_least(each) - math.log(tail), highest=start))

    def high(self, tail: float) -> float:
        """The ratio at which P(X <= observed) is `tail`."""
        if self._all:
            return math.inf
        start = None if self._none else self._from
        return math.exp(_root(lambda each: math.log(tail) - self._log_at_most(each), lowest=start))

    def p_central(self) -> float:
        """Twice the smaller tail where the ratio is 1.

        The tail that lies away from the bulk of X is added up, the other is what remains.
        """
        if self._none or self._all:
            return min(1.0, 2.0 * math.exp(min(self._log_at_least(0.0), self._log_at_most(0.0))))
        away = math.exp(self._log_at_least(0.0) if self._from >= 0 else self._log_at_most(0.0))
        just_so = math.exp(self._log_chance(0.0, self._chances[1] == 0))
        return min(1.0, 2.0 * min(away, 1.0 - away + just_so))

    def _log_at_least(self, log_ratio: float) -> float:
        if self._none:
            return 0.0
        if self._all:
            return -float(self._totals @ np.logaddexp(0.0, -self._log_odds - log_ratio))
        return self._log_chance(log_ratio, self._chances[1] >= 0)

    def _log_at_most(self, log_ratio: float) -> float:
        if self._all:
            return 0.0
        if self._none:
            return -float(self._totals @ np.logaddexp(0.0, self._log_odds + log_ratio))
        return self._log_chance(log_ratio, self._chances[1] <= 0)

    def _log_chance(self, log_ratio: float, which: NDArray[np.bool_]) -> float:
        d, (logs, beyond) = log_ratio - self._from, self._chances
        terms = logs[which] + beyond[which] * d
        largest = float(terms.max())
        norm = float(self._totals @ np.log1p(self._shares * math.expm1(d))) - self._observed * d
        return largest + math.log(float(np.exp(terms - largest).sum())) - norm


def _sum_of_binomials(totals: FloatArray, log_odds: FloatArray) -> tuple[int, FloatArray]:
    """The smallest number with a probability in a sum of binomials, and the probabilities from there on.

    Numbers below exp(-150) of the likeliest in their stratum are left out: they change no result, and of
    thousands of events they are nearly all.
    """
    start, chances = 0, np.ones(1)
    for n, log_odd in zip(totals, log_odds, strict=True):
        k = np.arange(int(n) + 1) if n < _MANY else _likely(int(n), float(log_odd))
        logs = _logs(n, k, log_odd)
        kept = np.flatnonzero(logs > logs.max() + _NEGLIGIBLE)
        chances = np.convolve(chances, np.exp(logs[kept] - n * np.logaddexp(0.0, log_odd)))
        above = np.flatnonzero(chances)
        start, chances = start + int(k[kept[0]] + above[0]), chances[above[0] : above[-1] + 1]
    return start, chances


def _logs(n: float, k: NDArray[np.int64], log_odd: float) -> FloatArray:
    """Return the logarithms of a binomial's chances of k, up to a constant."""
    return np.asarray(gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1) + k * log_odd)


def _likely(n: int, log_odd: float) -> NDArray[np.int64]:
    """Return the numbers whose chance is not negligible, by bisection: no array is as long as n."""
    mode = min(n, int((n + 1) * expit(log_odd)))
    least = _logs(n, np.arange(max(0, mode - 1), min(n, mode + 1) + 1), log_odd).max() + _NEGLIGIBLE

    def is_likely(k: int) -> bool:
        return bool(_logs(n, np.array(k), log_odd) > least)

    first = bisect_left(range(mode + 1), True, key=is_likely)
    end = mode + bisect_left(range(mode, n + 1), True, key=lambda k: not is_likely(k))
    return np.arange(first, end)


def _root(
    rising: Callable[[float], float], lowest: float | None = None, highest: float | None = None
) -> float:
    """The zero of a rising function of the logarithm of the ratio, within bounds where there are any."""
    low = _reach(lambda each: rising(each) <= 0, highest or 0.0, -4.0) if lowest is None else lowest
    high = _reach(lambda each: rising(each) >= 0, lowest or 0.0, 4.0) if highest is None else highest
    return float(brentq(rising, low, high, xtol=1e-14))


def _reach(far_enough: Callable[[float], bool], start: float, step: float) -> float:
    while not far_enough(start + step):
        step *= 2.0
    return start + step
