"""Two groups' loss rates compared with the trip as the unit, so that one bad spot does not count as many."""

import math
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from benchwater.statistics.permutations import sign_flip_p

from .stratified_rates import common_rate_ratio, equal_rates_p

FloatArray = NDArray[np.float64]

_LARGEST = 20.0
_SMALLEST_STEP = 5e-3
_LEAST_TRIPS = 3.0
_STEPS = tuple(0.2 * 1.4**step for step in range(16))


class TripComparison:
    """The ratio of two groups' rates, one in all strata, held against the scatter between trips.

    `events` and `exposure` are the totals of the strata that hold both groups, `ratio` the conditional
    maximum-likelihood estimate: nan without an event, 0 or infinite where one group has none.

    Two tests have to refuse a ratio before it is refused, and the limits are the ratios that are not: the
    exact Poisson test within strata (Martin and Austin 1996, Epidemiology 7:29-33), which takes losses as
    independent, and the effective score of each trip with its sign drawn at random (Hemerik, Goeman and
    Finos 2020, J. R. Statist. Soc. B 82:841-864), which takes trips as independent whatever happens within
    one. A group whose hours lie on fewer than 3 trips (effective number, Kish 1965, Survey Sampling) says
    nothing of other trips: every ratio is left. For the signs see
    `permutations.sign_flip_p`.
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
        """Arrays (n,): events and exposure of each record, masks of both groups, numbers from 0 of its trip
        and stratum (one stratum where left out). ValueError where the groups share a record.
        """
        masks = np.asarray(first, dtype=bool), np.asarray(second, dtype=bool)
        if np.any(masks[0] & masks[1]):
            raise ValueError("the groups compared must not share a record")
        trip = np.asarray(trips, dtype=np.int64)
        stratum = np.zeros(len(trip), dtype=np.int64) if strata is None else np.asarray(strata, np.int64)
        shape = (int(trip.max(initial=-1)) + 1, int(stratum.max(initial=-1)) + 1)
        cell = trip * shape[1] + stratum
        parts = [
            np.bincount(cell[mask], np.asarray(values, np.float64)[mask], shape[0] * shape[1]).reshape(shape)
            for mask in masks
            for values in (events, exposure)
        ]
        use = (parts[1].sum(axis=0) > 0) & (parts[3].sum(axis=0) > 0)
        self._x1, self._t1, self._x2, self._t2 = (part[:, use] for part in parts)
        self._totals = [part[:, use].sum(axis=0) for part in parts]
        self.events = int(self._totals[0].sum()), int(self._totals[2].sum())
        self.exposure = float(self._totals[1].sum()), float(self._totals[3].sum())
        bears = self._t1.sum(axis=1) + self._t2.sum(axis=1) > 0
        self._x1, self._t1, self._x2, self._t2 = (
            part[bears] for part in (self._x1, self._t1, self._x2, self._t2)
        )
        self.trips = int(bears.sum())

    @cached_property
    def _log_ratio(self) -> float:
        if min(self.events) == 0:
            return math.copysign(_LARGEST, self.events[0] - 0.5)
        return float(brentq(lambda each: self._scores(each).sum(), -_LARGEST, _LARGEST, xtol=1e-12))

    @property
    def ratio(self) -> float:
        """The rate of the first group over that of the second."""
        return _ratio(self._log_ratio) if max(self.events) else math.nan

    @cached_property
    def p(self) -> float:
        """Two-sided p-value of equal rates: the larger one of both tests; 1 without an event."""
        exact = equal_rates_p(*self._totals)
        return 1.0 if exact is None or self._too_few_trips else max(exact, self._p_by_trip(0.0))

    def limits(self, alpha: float = 0.05) -> tuple[float, float]:
        """The limits at level 1 - `alpha`; they leave out 1 exactly where `p` is below `alpha`."""
        exact = common_rate_ratio(*self._totals, alpha=alpha)
        if exact.low is None or exact.high is None or self._too_few_trips:
            return 0.0, math.inf
        low = min(exact.low, _ratio(self._limit(-_LARGEST, alpha)))
        return low, max(exact.high, _ratio(self._limit(_LARGEST, alpha)))

    @property
    def _too_few_trips(self) -> bool:
        hours = (part.sum(axis=1) for part in (self._t1, self._t2))
        return min(float(each.sum() ** 2 / (each**2).sum()) for each in hours) < _LEAST_TRIPS * (1 - 1e-9)

    def _scores(self, log_ratio: float) -> FloatArray:
        """The effective score of each trip: its part of the score, less what the strata's rates explain."""
        ratio = math.exp(log_ratio)
        x1, t1, x2, t2 = self._totals
        weighed = ratio * t1 + t2
        share, rate = ratio * t1 / weighed, (x1 + x2) / weighed
        excess = self._x1 * (1 - share) - self._x2 * share
        expected = rate * (ratio * self._t1 * (1 - share) - self._t2 * share)
        return np.asarray((excess - expected).sum(axis=1), dtype=np.float64)

    def _p_by_trip(self, log_ratio: float) -> float:
        scores = self._scores(log_ratio)
        return sign_flip_p(scores[:, np.newaxis])

    def _limit(self, end: float, alpha: float) -> float:
        """Where the test by trips begins to refuse, from the estimate towards `end`.

        Far out the few trips with a loss alone decide and p may rise again, so the search goes outwards.
        """
        kept, towards = self._log_ratio, math.copysign(1.0, end - self._log_ratio)
        if kept == end:
            return end
        reach = abs(end - kept)
        steps = {each for each in _STEPS if each < reach} | {reach}
        steps |= {abs(kept)} if 0.0 < -kept * towards < reach else set()
        for step in sorted(steps):
            refused = self._log_ratio + towards * step
            if self._p_by_trip(refused) <= alpha:
                break
            kept = refused
        else:
            return end
        while abs(refused - kept) > _SMALLEST_STEP:
            middle = (kept + refused) / 2.0
            kept, refused = (kept, middle) if self._p_by_trip(middle) <= alpha else (middle, refused)
        return (kept + refused) / 2.0


def _ratio(log_ratio: float) -> float:
    if abs(log_ratio) == _LARGEST:
        return math.inf if log_ratio > 0 else 0.0
    return math.exp(log_ratio)
