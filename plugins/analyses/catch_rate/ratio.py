"""The ratio of two totals over sampling units, such as catch per unit of effort over trips."""

import math
import sys
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from benchwater.statistics.interval import tail_probability
from benchwater.statistics.rates import poisson_rate

LARGEST_EXPONENT = math.log(sys.float_info.max)


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioOfTotals:
    """`total_y` / `total_x` over `units` sampling units, in the unit of y per unit of x.

    `se` is the linearised standard error and `se_jackknife` the leave-one-out one, which the limits use. Both
    are nan for a single unit, and 0 when every unit has the same ratio. `high` can be infinite.
    """

    ratio: float
    se: float
    se_jackknife: float
    low: float
    high: float
    level: float
    units: int
    total_y: float
    total_x: float


def ratio_of_totals(y: ArrayLike, x: ArrayLike, level: float = 0.95, *, counts: bool = True) -> RatioOfTotals:
    """The ratio sum(y) / sum(x) over independent sampling units, with limits that serve for few units.

    `y` of shape (n,) is at least 0 and `x` of shape (n,) above 0, one pair a unit. No finite-population
    factor. The limits are R exp(+-t se / R) with the jackknife standard error and Student's t on n - 1
    degrees of freedom. With `counts` (y whole numbers of things) they are widened, where needed, to Garwood's
    exact Poisson limits of the rate, as few units may by chance vary too little; so they exist also for a
    total of 0 and for one unit. With `counts` False and one unit or a total of 0 they are nan.

    The log scale is chosen because catches are skewed. In simulated seasons of 10 trips of 1 to 6 hours,
    gamma-Poisson with shape 1 and 0.2 to 1.5 fish an hour, 95 % limits symmetric about R, and Fieller's, held
    the true rate in 88-90 % and these in 93-97 %; with the strongest overdispersion tried (shape 0.5) these
    held it in 91-96 %, over 3 trips in 90 % or more.

    Raises ValueError for unequal shapes, no units, y negative or not finite, x not finite and above 0, y not
    whole with `counts`, or a level outside 0..1.

    Source: Cochran 1977, Sampling Techniques, chapter 6 (ratio and linearised variance, from memory, checked
    against its 49 cities); that the ratio of totals is the estimator for complete trips: Pollock, Hoenig,
    Jones, Robson & Greene 1997, N. Amer. J. Fish. Manage. 17:11-19; the limits are the delta method on log R.
    """
    ys, xs = np.asarray(y, dtype=np.float64), np.asarray(x, dtype=np.float64)
    if ys.ndim != 1 or ys.shape != xs.shape:
        raise ValueError(f"y and x must be one-dimensional and of one length, not {ys.shape} and {xs.shape}")
    n = len(ys)
    if n == 0:
        raise ValueError("a ratio of totals needs at least one sampling unit")
    if not np.all(np.isfinite(ys) & (ys >= 0)):
        raise ValueError("y must hold finite numbers of at least 0")
    if not np.all(np.isfinite(xs) & (xs > 0)):
        raise ValueError("x must hold finite numbers above 0")
    if counts and np.any(ys != np.floor(ys)):
        raise ValueError("y must hold whole numbers when it is counts")
    tail = tail_probability(level)
    total_y, total_x = float(ys.sum()), float(xs.sum())
    ratio = total_y / total_x
    se, se_jackknife = math.nan, math.nan
    if n > 1:
        se = float(np.sqrt(n / (n - 1) * np.sum((ys - ratio * xs) ** 2))) / total_x
        without = (total_y - ys) / (total_x - xs)
        se_jackknife = float(np.sqrt((n - 1) / n * np.sum((without - without.mean()) ** 2)))
    low, high = math.nan, math.nan
    if n > 1 and ratio > 0:
        exponent = -float(stdtrit(n - 1, tail)) * se_jackknife / ratio
        spread = math.exp(exponent) if exponent < LARGEST_EXPONENT else math.inf
        low, high = ratio / spread, ratio * spread
    if counts:
        poisson = poisson_rate(total_y, total_x, level)
        low = float(np.fmin(low, poisson.low))
        high = float(np.fmax(high, poisson.high))
    return RatioOfTotals(
        ratio=ratio,
        se=se,
        se_jackknife=se_jackknife,
        low=low,
        high=high,
        level=level,
        units=n,
        total_y=total_y,
        total_x=total_x,
    )
