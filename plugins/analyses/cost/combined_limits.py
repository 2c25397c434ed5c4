"""Confidence limits of a sum of independent estimates, and of what a yield makes each good piece bear."""

import math
from collections.abc import Iterable

from benchwater.statistics.interval import Interval, normal_quantile
from benchwater.statistics.proportions import wilson_interval


def exactly(value: float, level: float = 0.95) -> Interval:
    """A value that is known."""
    return Interval(estimate=value, low=value, high=value, level=level)


def from_uncertainty(value: float, u: float, level: float = 0.95) -> Interval:
    """A value with its standard uncertainty `u` as limits, taken as normal; GUM 6.3.3 (JCGM 100:2008)."""
    reach = normal_quantile(level) * u
    return Interval(estimate=value, low=value - reach, high=value + reach, level=level)


def scaled(interval: Interval, factor: float) -> Interval:
    """An estimate times a known factor of at least 0. Raises ValueError for a factor below 0."""
    if not factor >= 0:
        raise ValueError(f"the factor must be at least 0, not {factor}")
    high = interval.high * factor if factor else 0.0
    return Interval(
        estimate=interval.estimate * factor, low=interval.low * factor, high=high, level=interval.level
    )


def sum_of_estimates(parts: Iterable[Interval]) -> Interval:
    """The sum of independent estimates, with limits from theirs, which need not be symmetric.

    Each side's distances from the estimate are squared and added: L = sum(t) - sqrt(sum((t - l)**2)), and
    likewise above. Of normal limits it is the law of propagation, JCGM 100:2008, 5.1.2.

    Source: Zou & Donner 2008, Statistics in Medicine 27:1693-1702 (method of variance estimates recovery), as
    Newcombe 1998 does for two proportions (from memory). Raises ValueError for no part or unlike levels.
    """
    terms = list(parts)
    levels = {term.level for term in terms}
    if len(levels) != 1:
        raise ValueError(f"a sum needs parts of one level, not {sorted(levels)}")
    total = math.fsum(term.estimate for term in terms)
    return Interval(
        estimate=total,
        low=total - math.hypot(*(term.estimate - term.low for term in terms)),
        high=total + math.hypot(*(term.high - term.estimate for term in terms)),
        level=levels.pop(),
    )


def rejects_per_good(good: int, rejects: int, level: float = 0.95) -> Interval:
    """How many rejects each good piece has to bear: (1 - p) / p of the yield p, with Wilson's limits of p.

    The estimate is rejects / good. Raises ValueError without a good piece, for then it has no bound.
    """
    if good < 1:
        raise ValueError("without a good piece nothing bears the rejects")
    found = wilson_interval(good, good + rejects, level)
    return Interval(
        estimate=rejects / good,
        low=(1 - found.high) / found.high,
        high=(1 - found.low) / found.low,
        level=level,
    )


def sum_erring_together(parts: Iterable[tuple[float, Interval]], level: float = 0.95) -> Interval:
    """The sum of factors (at least 0) times estimates that share their errors: the limits add, too.

    Correlation 1, GUM 5.2.2, note 1 (JCGM 100:2008); the widest that the parts allow. 0 without a part.
    """
    terms = [scaled(interval, factor) for factor, interval in parts]
    return Interval(
        estimate=math.fsum(term.estimate for term in terms),
        low=math.fsum(term.low for term in terms),
        high=math.fsum(term.high for term in terms),
        level=level,
    )
