"""Two estimates compared by their ratio, and the change of a rate at a known moment."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchwater.statistics.interval import Interval

_Z = 1.959963984540054
_ROUNDS = 60
_LARGEST_STEP = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A ratio of rates with 95 % limits and a two-sided p-value."""

    ratio: float
    low: float
    high: float
    p: float


def ratio_and_limits(found: Comparison | None) -> tuple[float | None, float | None, float | None]:
    """The ratio, low and high; None for each without a comparison."""
    return (None, None, None) if found is None else (found.ratio, found.low, found.high)


def ratio_of_estimates(one: Interval, other: Interval) -> Comparison | None:
    """Compare two independent estimates above 0 with 95 % limits; None where either is 0 or has no limits.

    Limits are recovered from those of the two on the log scale: ln ratio ± sqrt(d1² + d2²), each d the
    distance to that ratio's own limit. Source: Zou and Donner 2008, Statistics in Medicine 27:1693-1702. The
    p-value is the normal one at the distance to the limit that lies towards 1.
    """
    if min(one.low, other.low) <= 0:
        return None
    logs = [tuple(map(math.log, (each.low, each.estimate, each.high))) for each in (one, other)]
    if not all(math.isfinite(value) for log in logs for value in log):
        return None
    (low1, log1, high1), (low2, log2, high2) = logs
    difference = log1 - log2
    below, above = math.hypot(log1 - low1, high2 - log2), math.hypot(high1 - log1, log2 - low2)
    towards_one = below if difference > 0 else above
    return Comparison(
        ratio=math.exp(difference),
        low=math.exp(difference - below),
        high=math.exp(difference + above),
        p=math.erfc(abs(difference) / towards_one * _Z / math.sqrt(2)),
    )


def level_change(
    events: NDArray[Any], exposure: NDArray[Any], time: NDArray[Any], after: NDArray[np.bool_]
) -> Comparison | None:
    """Compare the rate after a change with what the trend would give without it.

    All arrays are (units,), in any order: log rate = a + b time + c after, fitted by quasi-Poisson
    regression; returned is exp(c) with limits by Student's t. The dispersion is Pearson's, at least 1. None
    with fewer than three units on a side, no events on a side, or a fit without an end. Source: the segmented
    regression of Wagner, Soumerai, Zhang and Ross-Degnan 2002, Journal of Clinical Pharmacy and Therapeutics
    27:299-309 (one common slope here).
    """
    from scipy.special import stdtr, stdtrit

    sides = [after, ~after]
    if any(side.sum() < 3 or events[side].sum() == 0 for side in sides):
        return None
    trend = (time - time.mean()) / time.std()
    design = np.column_stack([np.ones_like(time), trend, after.astype(np.float64)])
    weights = np.append(math.log(events.sum() / exposure.sum()), np.zeros(2))
    for _ in range(_ROUNDS):
        expected = exposure * np.exp(design @ weights)
        information = design.T @ (design * expected[:, None])
        if np.linalg.matrix_rank(information) < len(weights):
            return None
        step = np.linalg.solve(information, design.T @ (events - expected))
        weights = weights + np.clip(step, -_LARGEST_STEP, _LARGEST_STEP)
        if np.abs(step).max() < 1e-10:
            break
    else:
        return None
    left = len(time) - 3
    dispersion = max(1.0, float(np.sum((events - expected) ** 2 / expected)) / left)
    error = math.sqrt(dispersion * np.linalg.inv(information)[2, 2])
    reach = float(stdtrit(left, 0.975)) * error
    change = float(weights[2])
    return Comparison(
        ratio=math.exp(change),
        low=math.exp(change - reach),
        high=math.exp(change + reach),
        p=2 * float(stdtr(left, -abs(change) / error)),
    )
