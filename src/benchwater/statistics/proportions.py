"""Confidence limits of a proportion."""

import math

from benchwater.statistics.interval import Interval, normal_quantile, tail_probability, whole_count


def _counts(successes: float, total: float) -> tuple[int, int]:
    x, n = whole_count(successes, "successes"), whole_count(total, "total")
    if n == 0:
        raise ValueError("a proportion of a total of 0 does not exist")
    if x > n:
        raise ValueError(f"successes ({x}) exceed the total ({n})")
    return x, n


def wilson_interval(successes: float, total: float, level: float = 0.95) -> Interval:
    """Wilson's score interval of a binomial proportion, without continuity correction.

    Counts are whole numbers. The lower limit is exactly 0 for no successes, the upper exactly 1 for no
    failures.
    Raises ValueError for a total of 0, more successes than the total, counts that are not whole, or a level
    outside 0..1.

    Source: Wilson 1927, J. Amer. Statist. Assoc. 22:209-212; method 3 of Newcombe 1998, Statistics in
    Medicine 17:857-872 (from memory, checked against its printed examples).
    """
    x, n = _counts(successes, total)
    z = normal_quantile(level)
    p = x / n
    centre = (x + z * z / 2.0) / (n + z * z)
    half_width = z * math.sqrt(n * p * (1.0 - p) + z * z / 4.0) / (n + z * z)
    return Interval(
        estimate=p,
        low=centre - half_width if x > 0 else 0.0,
        high=centre + half_width if x < n else 1.0,
        level=level,
    )


def clopper_pearson_interval(successes: float, total: float, level: float = 0.95) -> Interval:
    """Clopper and Pearson's exact central interval of a binomial proportion.

    Each limit keeps the tail probability (1 - level) / 2, also where the other limit is 0 or 1.
    Raises ValueError as `wilson_interval` does.

    Source: Clopper & Pearson 1934, Biometrika 26:404-413, in the beta form; method 5 of Newcombe 1998,
    Statistics in Medicine 17:857-872 (from memory, checked against its printed examples).
    """
    from scipy.special import betainccinv, betaincinv

    x, n = _counts(successes, total)
    tail = tail_probability(level)
    return Interval(
        estimate=x / n,
        low=float(betaincinv(x, n - x + 1, tail)) if x > 0 else 0.0,
        high=float(betainccinv(x + 1, n - x, tail)) if x < n else 1.0,
        level=level,
    )
