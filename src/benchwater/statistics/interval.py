"""An estimate with its confidence limits, p-values adjusted for many tests, and checks of arguments."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A point estimate with two-sided confidence limits at `level`, all in the unit of the estimate.

    A limit that cannot be computed is nan; an unbounded one is infinite.
    """

    estimate: float
    low: float
    high: float
    level: float


def tail_probability(level: float) -> float:
    """The probability outside a two-sided interval on each side, (1 - level) / 2.

    Raises ValueError unless 0 < level < 1.
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"confidence level must lie between 0 and 1, not {level}")
    return (1.0 - level) / 2.0


def normal_quantile(level: float) -> float:
    """The standard normal quantile of a two-sided interval: 1.96 at level 0.95.

    Raises ValueError unless 0 < level < 1.
    """
    from scipy.special import ndtri

    return -float(ndtri(tail_probability(level)))


def whole_count(value: float, name: str) -> int:
    """`value` as an int.

    Raises ValueError, naming it `name`, if it is not a whole number of at least 0.
    """
    if not math.isfinite(value) or value < 0 or value != math.floor(value):
        raise ValueError(f"{name} must be a whole number of at least 0, not {value}")
    return int(value)


def holm_adjusted(p_values: ArrayLike) -> NDArray[np.float64]:
    """Holm's step-down adjusted p-values, in the order given; valid under any dependence between the tests.

    `p_values` has shape (m,), m may be 0. Raises ValueError for a p-value that is nan or outside 0..1.

    Source: Holm 1979, Scand. J. Statist. 6:65-70 (from memory).
    """
    p = np.asarray(p_values, dtype=np.float64)
    if not np.all((p >= 0.0) & (p <= 1.0)):
        raise ValueError("p-values must lie between 0 and 1, and none may be missing")
    order = np.argsort(p, kind="stable")
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(1.0, np.maximum.accumulate(np.arange(len(p), 0, -1) * p[order]))
    return adjusted


def benjamini_hochberg_adjusted(p_values: ArrayLike) -> NDArray[np.float64]:
    """Benjamini and Hochberg's step-up adjusted p-values, in the order given.

    Of the m with an adjusted p-value of at most q, the share of false ones is expected to be at most q. Where
    these are R, limits at level 1 - R q / m hold for what was selected, and leave out no difference for
    exactly these. `p_values` as for `holm_adjusted`.

    Source: Benjamini & Hochberg 1995, J. R. Statist. Soc. B 57:289-300; the limits Benjamini & Yekutieli
    2005, J. Amer. Statist. Assoc. 100:71-81 (from memory).
    """
    p = np.asarray(p_values, dtype=np.float64)
    order = np.argsort(-p, kind="stable")
    adjusted = np.empty_like(p)
    scaled = p[order] * len(p) / np.arange(len(p), 0, -1)
    adjusted[order] = np.minimum(1.0, np.minimum.accumulate(scaled))
    return adjusted
