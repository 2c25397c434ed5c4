"""Exact limits of a Poisson mean and rate, and the exact comparison of two rates."""

import math
from dataclasses import dataclass

from benchwater.statistics.interval import Interval, tail_probability, whole_count
from benchwater.statistics.proportions import clopper_pearson_interval


def _exposure(value: float, name: str) -> float:
    if not math.isfinite(value) or value <= 0:
        raise ValueError(f"{name} must be a finite number above 0, not {value}")
    return float(value)


def poisson_interval(count: float, level: float = 0.95) -> Interval:
    """The mean of a Poisson count with Garwood's exact central limits.

    The lower limit is 0 for a count of 0; the upper then still keeps the tail probability (1 - level) / 2.
    Raises ValueError for a count that is not a whole number of at least 0, or a level outside 0..1.

    Source: Garwood 1936, Biometrika 28:437-442, in the gamma (chi-square) form (from memory, checked against
    its table).
    """
    from scipy.special import gammainccinv, gammaincinv

    x = whole_count(count, "count")
    tail = tail_probability(level)
    return Interval(
        estimate=float(x),
        low=float(gammaincinv(x, tail)) if x > 0 else 0.0,
        high=float(gammainccinv(x + 1, tail)),
        level=level,
    )


def poisson_rate(events: float, exposure: float, level: float = 0.95) -> Interval:
    """Events per unit of exposure with Garwood's exact limits.

    Holds when events are independent of each other; clustered events need wider limits.
    Raises ValueError for events that are not a whole number of at least 0, an exposure that is not finite and
    above 0, or a level outside 0..1. Source: see `poisson_interval`.
    """
    mean = poisson_interval(events, level)
    units = _exposure(exposure, "exposure")
    return Interval(estimate=mean.estimate / units, low=mean.low / units, high=mean.high / units, level=level)


@dataclass(frozen=True, slots=True, kw_only=True)
class RateRatio:
    """Two Poisson rates compared: `ratio`, the first over `rate2`, with exact limits and a two-sided p-value.

    `ratio` and `high` are infinite when the second rate has no events; `ratio` and `low` are 0 when the first
    has none. `p_central` is twice the smaller tail and agrees with the limits.
    """

    rate2: float
    ratio: float
    low: float
    high: float
    level: float
    p_central: float


def rate_ratio(
    events1: float, exposure1: float, events2: float, exposure2: float, level: float = 0.95
) -> RateRatio:
    """The ratio of two Poisson rates by the exact test conditional on the total number of events.

    Given the total, the events of the first group are binomial; the limits transform Clopper and Pearson's.
    With no events in one group the interval runs from 0 or to infinity and its finite limit keeps the tail
    probability (1 - level) / 2. Both exposures in the same unit; events independent of each other.
    Raises ValueError when neither group has an event, for events that are not whole numbers of at least 0,
    exposures not finite and above 0, or a level outside 0..1.

    Source: Przyborowski & Wilenski 1940, Biometrika 31:313-323 (from memory, checked against the Stata
    manual's example).
    """
    from scipy.special import bdtr, bdtrc

    x1, x2 = whole_count(events1, "events1"), whole_count(events2, "events2")
    units1, units2 = _exposure(exposure1, "exposure1"), _exposure(exposure2, "exposure2")
    n = x1 + x2
    if n == 0:
        raise ValueError("a rate ratio needs at least one event in the two groups together")
    share = clopper_pearson_interval(x1, n, level)
    exposure_ratio = units2 / units1

    def ratio_of_share(p: float) -> float:
        return p / (1.0 - p) * exposure_ratio if p < 1.0 else math.inf

    share_if_equal = units1 / (units1 + units2)
    at_most = float(bdtr(x1, n, share_if_equal))
    at_least = float(bdtrc(x1 - 1, n, share_if_equal))
    return RateRatio(
        rate2=x2 / units2,
        ratio=x1 / x2 * exposure_ratio if x2 > 0 else math.inf,
        low=ratio_of_share(share.low),
        high=ratio_of_share(share.high),
        level=level,
        p_central=min(1.0, 2.0 * min(at_most, at_least)),
    )
