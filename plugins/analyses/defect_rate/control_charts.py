"""Shewhart charts of proportions and counts."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlChart:
    """Points of a chart, its centre line and the limits of each point, all but the centre (n,).

    A point without trials or exposure has the value and limits nan and no signal. A point exactly on a limit
    is not beyond it.
    """

    value: FloatArray
    center: float
    lower: FloatArray
    upper: FloatArray
    above: BoolArray
    below: BoolArray

    @property
    def signal(self) -> BoolArray:
        """Whether each point is beyond either limit."""
        return self.above | self.below


def p_chart(
    events: ArrayLike, trials: ArrayLike, *, sigmas: float = 3.0, base: ArrayLike | None = None
) -> ControlChart:
    """Chart of events/trials for samples of unequal size, both (n,), limits within 0 and 1.

    Centre = all events over all trials, of the samples where `base` (n,) is true if it is given; limits
    centre +- sigmas * sqrt(centre (1 - centre) / trials). NIST/SEMATECH e-Handbook of Statistical Methods
    6.3.3.2; Montgomery, Introduction to Statistical Quality Control, chapter 7 (from memory). The samples are
    taken as binomial: outcomes alike within clusters make the limits too narrow.

    Raises ValueError for unequal shapes, events outside 0..trials, values not finite, or a base without
    trials.
    """
    y, n = _checked(events, trials, "trials")
    if np.any(y > n):
        raise ValueError("events must not exceed trials")
    center = _center(y, n, base, "trials")
    return _chart(y, n, center, center * (1 - center), sigmas, 1.0)


def u_chart(
    counts: ArrayLike, exposure: ArrayLike, *, sigmas: float = 3.0, base: ArrayLike | None = None
) -> ControlChart:
    """Chart of counts per unit of exposure, both (n,), the lower limit not below 0.

    Centre = all counts over all exposure, of the samples where `base` (n,) is true if it is given; limits
    centre +- sigmas * sqrt(centre / exposure). Montgomery, Introduction to Statistical Quality Control,
    chapter 7 (from memory). Raises ValueError for unequal shapes, negative or not finite values, or a base
    without exposure.
    """
    y, n = _checked(counts, exposure, "exposure")
    center = _center(y, n, base, "exposure")
    return _chart(y, n, center, center, sigmas, np.inf)


def c_chart(counts: ArrayLike, *, sigmas: float = 3.0, base: ArrayLike | None = None) -> ControlChart:
    """Chart of counts (n,) of equal exposure: centre = their mean, limits +- sigmas * sqrt(centre).

    NIST/SEMATECH e-Handbook of Statistical Methods 6.3.3.1 (from memory). Raises ValueError as `u_chart`
    does.
    """
    return u_chart(counts, np.ones_like(np.asarray(counts, dtype=np.float64)), sigmas=sigmas, base=base)


def _checked(counts: ArrayLike, size: ArrayLike, name: str) -> tuple[FloatArray, FloatArray]:
    y, n = np.asarray(counts, dtype=np.float64), np.asarray(size, dtype=np.float64)
    if y.ndim != 1 or y.shape != n.shape:
        raise ValueError(f"counts {y.shape} and {name} {n.shape} must be of one length")
    if not (np.isfinite(y).all() and np.isfinite(n).all()) or np.any(y < 0) or np.any(n < 0):
        raise ValueError(f"counts and {name} must be finite and not negative")
    if np.any((n == 0) & (y > 0)):
        raise ValueError(f"a sample without {name} has a count above 0")
    return y, n


def _center(y: FloatArray, n: FloatArray, base: ArrayLike | None, name: str) -> float:
    chosen = np.ones(y.shape, dtype=np.bool_) if base is None else np.asarray(base, dtype=np.bool_)
    if chosen.shape != y.shape:
        raise ValueError(f"base {chosen.shape} and counts {y.shape} must be of one length")
    if n[chosen].sum() == 0:
        raise ValueError(f"no centre line: the samples it is taken from have no {name}")
    return float(y[chosen].sum() / n[chosen].sum())


def _chart(
    y: FloatArray, n: FloatArray, center: float, unit_variance: float, sigmas: float, highest: float
) -> ControlChart:
    with np.errstate(divide="ignore", invalid="ignore"):
        value = np.where(n > 0, y / n, np.nan)
        half = np.where(n > 0, sigmas * np.sqrt(unit_variance / n), np.nan)
    lower, upper = np.maximum(center - half, 0.0), np.minimum(center + half, highest)
    rounding = 1e-12 * max(abs(center), 1.0)
    return ControlChart(
        value=value,
        center=center,
        lower=lower,
        upper=upper,
        above=value > upper + rounding,
        below=value < lower - rounding,
    )
