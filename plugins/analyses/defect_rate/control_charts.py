"""Shewhart chart of proportions."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlChart:
    """Points of a chart, its centre line and the limits of each point, all but the centre (n,).

    A point without trials has the value and limits nan and no signal. A point exactly on a limit is not
    beyond it.
    """

    value: FloatArray
    center: float
    lower: FloatArray
    upper: FloatArray
    signal: NDArray[np.bool_]


def p_chart(events: ArrayLike, trials: ArrayLike, *, sigmas: float = 3.0) -> ControlChart:
    """Charts events/trials for samples of unequal size, both (n,), with limits within 0 and 1.

    Centre = all events over all trials; limits centre +- sigmas * sqrt(centre (1 - centre) / trials).
    NIST/SEMATECH e-Handbook of Statistical Methods 6.3.3.2; Montgomery, Introduction to Statistical Quality
    Control, chapter 7 (from memory). The samples are taken as binomial: outcomes that agree within clusters
    make the limits too narrow.

    Raises ValueError for unequal shapes, events outside 0..trials, values not finite, or no trials.
    """
    y, n = np.asarray(events, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    if y.ndim != 1 or y.shape != n.shape:
        raise ValueError(f"events {y.shape} and trials {n.shape} must be of one length")
    if not (np.isfinite(y).all() and np.isfinite(n).all()) or np.any(y < 0):
        raise ValueError("events and trials must be finite and not negative")
    if np.any(y > n):
        raise ValueError("events must not exceed trials")
    if n.sum() == 0:
        raise ValueError("no centre line: the samples have no trials")
    center = float(y.sum() / n.sum())
    with np.errstate(divide="ignore", invalid="ignore"):
        value = np.where(n > 0, y / n, np.nan)
        half = np.where(n > 0, sigmas * np.sqrt(center * (1 - center) / n), np.nan)
    lower, upper = np.maximum(center - half, 0.0), np.minimum(center + half, 1.0)
    rounding = 1e-12
    return ControlChart(
        value=value,
        center=center,
        lower=lower,
        upper=upper,
        signal=(value > upper + rounding) | (value < lower - rounding),
    )
