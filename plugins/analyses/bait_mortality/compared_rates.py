"""The event rates of two groups of records compared, crudely and among records that are otherwise alike."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from benchwater.statistics.rates import RateRatio, rate_ratio

from .stratified_rates import CommonRateRatio, common_rate_ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedRates:
    """Events and exposure of both groups, the `crude` ratio of their rates, and the one `within` strata."""

    events: tuple[int, int]
    exposure: tuple[float, float]
    crude: RateRatio
    within: CommonRateRatio

    @property
    def excess(self) -> float:
        """The events that the first group would not have had at the second's rate."""
        return self.events[0] - self.exposure[0] * self.crude.rate2

    @property
    def worse_throughout(self) -> bool:
        """Whether both intervals, crude and within strata, put the first group's rate above the second's."""
        return self.crude.low > 1 and self.within.low is not None and self.within.low > 1


def compare_rates(
    events: ArrayLike,
    exposure: ArrayLike,
    first: ArrayLike,
    second: ArrayLike,
    strata: ArrayLike,
    level: float = 0.95,
) -> ComparedRates:
    """Compare the records marked `first` with those marked `second`, all arrays of shape (n,).

    `events` and `exposure` of each record; `first` and `second` truth values that share no record; `strata`
    labels (text or numbers) within which records are alike. Strata that lack exposure in a group are left out
    of `within`. For methods, errors and sources see `rates.rate_ratio` and
    `stratified_rates.common_rate_ratio`.
    """
    x, t = np.asarray(events, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    labels, member = np.unique(np.asarray(strata), return_inverse=True)
    masks = [np.asarray(first, dtype=bool), np.asarray(second, dtype=bool)]
    if np.any(masks[0] & masks[1]):
        raise ValueError("the groups compared must not share a record")
    x1, x2 = (np.bincount(member[mask], x[mask], len(labels)) for mask in masks)
    t1, t2 = (np.bincount(member[mask], t[mask], len(labels)) for mask in masks)
    both = (t1 > 0) & (t2 > 0)
    totals = (int(x1.sum()), int(x2.sum()))
    exposures = (float(t1.sum()), float(t2.sum()))
    return ComparedRates(
        events=totals,
        exposure=exposures,
        crude=rate_ratio(totals[0], exposures[0], totals[1], exposures[1], level),
        within=common_rate_ratio(x1[both], t1[both], x2[both], t2[both], level),
    )
