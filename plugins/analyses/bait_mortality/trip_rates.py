"""Two groups' loss rates compared, with the trip as the unit, so that one bad spot does not count as many."""

import math
from collections.abc import Callable
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import expit, gammaln

from benchwater.statistics.permutations import sign_flip_p

FloatArray = NDArray[np.float64]

_LARGEST = 20.0
_LARGEST_EXACT = 100.0
_SMALLEST_STEP = 5e-3
_LEAST_TRIPS = 3.0
_STEPS = tuple(0.2 * 1.4**step for step in range(16))


class CommonRateRatio:
    """One ratio of rate 1 to rate 2 in all strata, by the exact test conditional on each stratum's events.

    Given these totals, the events of group 1 are a sum of binomials X with odds ratio * exposure1 / exposure2
    in each stratum. With one stratum this is `rates.rate_ratio`. The probabilities of X are computed once, at
    a ratio that makes the observed number the expected one, and carried from there to other ratios:
    P_R(k) = P(k) exp((k - observed) d - c), d the difference of the logarithms of both ratios. So those near
    the observed number are as exact as doubles are, however small.

    Source: Martin & Austin 1996, Epidemiology 7:29-33 (from memory, checked against an example computed with
    OpenEpi).
    """

    def __init__(
        self, events1: ArrayLike, exposure1: ArrayLike, events2: ArrayLike, exposure2: ArrayLike
    ) -> None:
        """Arrays (strata,): whole numbers of events, at least one, and exposures above 0 in one unit."""
        x1, t1, x2, t2 = (
            np.asarray(values, np.float64) for values in (events1, exposure1, events2, exposure2)
        )
        self._totals, self._log_odds = x1 + x2, np.log(t1) - np.log(t2)
        self._observed, self._most = int(x1.sum()), int(self._totals.sum())
        expected = min(max(self._observed, 0.5), self._most - 0.5)
        self._from = _root(lambda each: float(self._totals @ expit(each + self._log_odds)) - expected)
        self._shares = expit(self._log_odds + self._from)

    @property
    def log_ratio(self) -> float:
        """Logarithm of the conditional maximum-likelihood estimate; infinite where a group has no events."""
        if 0 < self._observed < self._most:
            return self._from
        return math.inf if self._observed else -math.inf

    def limits(self, alpha: float) -> tuple[float, float]:
        """The ratios at which P(X >= observed), and P(X <= observed), is half of `alpha`."""
        tail, low, high = math.log(alpha / 2), 0.0, math.inf
        if self._observed > 0:
            low = math.exp(_root(lambda at: self._log_tail(at, self._beyond >= 0) - tail, high=self._from))
        if self._observed < self._most:
            high = math.exp(_root(lambda at: tail - self._log_tail(at, self._beyond <= 0), low=self._from))
        return low, high

    @property
    def p(self) -> float:
        """Twice the smaller tail where the ratio is 1; it agrees with the limits."""
        tails = (self._log_tail(0.0, which) for which in (self._beyond >= 0, self._beyond <= 0))
        return min(1.0, 2 * math.exp(min(tails)))

    @cached_property
    def _chances(self) -> tuple[int, FloatArray]:
        """The smallest number with a probability, and the probabilities from there on.

        By Bernstein's inequality those left out are below exp(-150) together: they change no result, and of
        thousands of events they are nearly all.
        """
        start, chances = 0, np.ones(1)
        for n, share, log_odd in zip(self._totals, self._shares, self._log_odds + self._from, strict=True):
            away = 50 + math.sqrt(2500 + 300 * n * share * (1 - share))
            k = np.arange(max(0, math.floor(n * share - away)), min(n, math.ceil(n * share + away)) + 1)
            logs = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1) + k * log_odd
            chances = np.convolve(chances, np.exp(logs - n * np.logaddexp(0.0, log_odd)))
            above = np.flatnonzero(chances)
            start, chances = start + int(k[0]) + int(above[0]), chances[above[0] : above[-1] + 1]
        return start, chances

    @cached_property
    def _beyond(self) -> NDArray[np.int64]:
        """By how much each number exceeds the observed one."""
        first, chances = self._chances
        return np.arange(first, first + len(chances)) - self._observed

    def _log_tail(self, log_ratio: float, which: NDArray[np.bool_]) -> float:
        d = log_ratio - self._from
        terms = np.log(self._chances[1][which]) + self._beyond[which] * d
        largest = float(terms.max())
        norm = float(self._totals @ np.log1p(self._shares * math.expm1(d))) - self._observed * d
        return largest + math.log(float(np.exp(terms - largest).sum())) - norm


def _root(
    rising: Callable[[float], float], low: float = -_LARGEST_EXACT, high: float = _LARGEST_EXACT
) -> float:
    return float(brentq(rising, low, high, xtol=1e-14))


class TripComparison:
    """The ratio of two groups' rates, one in all strata, held against the scatter between trips.

    `events` and `exposure` are the totals of the strata that hold both groups, `ratio` the conditional
    maximum-likelihood estimate: nan without an event, 0 or infinite where one group has none.

    Two tests have to refuse a ratio before it is refused, and the limits are the ratios that are not: the
    exact Poisson test within strata (`CommonRateRatio`), which takes losses as independent, and the effective
    score of each trip with its sign drawn at random (Hemerik, Goeman and Finos 2020, J. R. Statist. Soc. B
    82:841-864), which takes trips as independent whatever happens within one. A group whose hours lie on
    fewer than 3 trips (effective number, Kish 1965, Survey Sampling) says nothing of other trips: every ratio
    is left. For the signs see `permutations.sign_flip_p`.
    """

    def __init__(
        self,
        events: ArrayLike,
        exposure: ArrayLike,
        first: ArrayLike,
        second: ArrayLike,
        trips: ArrayLike,
        strata: ArrayLike | None = None,
    ) -> None:
        """Arrays (n,): events and exposure of each record, masks of both groups (no record is in both),
        numbers from 0 of its trip and stratum (one stratum where left out).
        """
        trip = np.asarray(trips, dtype=np.int64)
        stratum = np.zeros(len(trip), dtype=np.int64) if strata is None else np.asarray(strata, np.int64)
        shape = (int(trip.max(initial=-1)) + 1, int(stratum.max(initial=-1)) + 1)
        cell = trip * shape[1] + stratum
        parts = np.array(
            [
                np.bincount(cell[mask], values[mask], shape[0] * shape[1]).reshape(shape)
                for mask in (np.asarray(first, dtype=bool), np.asarray(second, dtype=bool))
                for values in (np.asarray(events, np.float64), np.asarray(exposure, np.float64))
            ]
        )
        parts = parts[:, :, (parts[1].sum(axis=0) > 0) & (parts[3].sum(axis=0) > 0)]
        self._parts = parts[:, (parts[1] + parts[3]).sum(axis=1) > 0]
        self._totals = self._parts.sum(axis=1)
        x1, t1, x2, t2 = self._totals.sum(axis=1).tolist()
        self.events, self.exposure = (int(x1), int(x2)), (t1, t2)
        self.trips = self._parts.shape[1]

    @cached_property
    def _exact(self) -> CommonRateRatio:
        return CommonRateRatio(*self._totals)

    @property
    def ratio(self) -> float:
        """The rate of the first group over that of the second."""
        return math.exp(self._exact.log_ratio) if any(self.events) else math.nan

    @cached_property
    def p(self) -> float:
        """Two-sided p-value of equal rates: the larger one of both tests; 1 without an event."""
        return 1.0 if self._tells_nothing else max(self._exact.p, self._p_by_trip(0.0))

    def limits(self, alpha: float = 0.05) -> tuple[float, float]:
        """The limits at level 1 - `alpha`; they leave out 1 exactly where `p` is below `alpha`."""
        if self._tells_nothing:
            return 0.0, math.inf
        low, high = self._exact.limits(alpha)
        return min(low, self._limit(-1.0, alpha)), max(high, self._limit(1.0, alpha))

    @property
    def _tells_nothing(self) -> bool:
        if not any(self.events):
            return True
        hours = self._parts[1::2].sum(axis=2)
        trips = hours.sum(axis=1) ** 2 / (hours**2).sum(axis=1)
        return float(trips.min()) < _LEAST_TRIPS * (1 - 1e-9)

    def _p_by_trip(self, log_ratio: float) -> float:
        """By each trip's effective score: its part of the score, less what the strata's rates explain."""
        ratio = math.exp(log_ratio)
        x1, t1, x2, t2 = self._totals
        weighed = ratio * t1 + t2
        share, rate = ratio * t1 / weighed, (x1 + x2) / weighed
        own_x1, own_t1, own_x2, own_t2 = self._parts
        excess = own_x1 * (1 - share) - own_x2 * share
        expected = rate * (ratio * own_t1 * (1 - share) - own_t2 * share)
        return sign_flip_p((excess - expected).sum(axis=1)[:, np.newaxis])

    def _limit(self, towards: float, alpha: float) -> float:
        """The ratio from which the test by trips refuses, upwards or downwards (1 or -1) from the estimate.

        Far out the few trips with a loss alone decide and p may rise again, so the search goes outwards.
        """
        open_end = math.inf if towards > 0 else 0.0
        start = min(max(self._exact.log_ratio, -_LARGEST), _LARGEST)
        kept, reach = start, _LARGEST - start * towards
        if not reach:
            return open_end
        steps = {each for each in _STEPS if each < reach} | {reach}
        steps |= {abs(start)} if 0.0 < -start * towards < reach else set()
        for step in sorted(steps):
            refused = start + towards * step
            if self._p_by_trip(refused) <= alpha:
                break
            kept = refused
        else:
            return open_end
        while abs(refused - kept) > _SMALLEST_STEP:
            middle = (kept + refused) / 2.0
            kept, refused = (kept, middle) if self._p_by_trip(middle) <= alpha else (middle, refused)
        return math.exp((kept + refused) / 2.0)
