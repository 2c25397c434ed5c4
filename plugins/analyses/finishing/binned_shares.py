"""Shares of an outcome over bins of a measured quantity, with the trend from bin to bin."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from benchwater.statistics.clustered import clustered_wilson_interval, design_effect
from benchwater.statistics.interval import Interval
from benchwater.statistics.trend import TrendTest, cochran_armitage

_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedBin:
    """Trials and events of one bin, `low` included and `high` not, and the share of events."""

    low: float
    high: float
    trials: int
    events: int
    share: Interval


def binned_shares(
    x: ArrayLike, events: ArrayLike, trials: ArrayLike, width: float
) -> tuple[tuple[SharedBin, ...], TrendTest | None]:
    """Returns the shares events/trials of clusters (k,) by bins of `x` (k,), and the trend over the bins.

    Bins start at whole multiples of `width`. Intervals are Wilson's over trials divided by the design effect
    within bins (see `clustered`); the trend is Cochran's and Armitage's over the bins' middles and the same
    effect, None where there is none to test.

    Raises ValueError for unequal shapes, events outside 0..trials, no trials in a cluster or a width not
    above 0.
    """
    places, y, n = (np.asarray(values, dtype=np.float64) for values in (x, events, trials))
    if not width > 0 or np.any(n <= 0):
        raise ValueError("the width and every cluster's trials must be above 0")
    if not places.shape == y.shape == n.shape:
        raise ValueError(f"x {places.shape}, events {y.shape} and trials {n.shape} must be of one length")
    number = np.floor(places / width + _ROUNDING)
    effect = design_effect(y, n, number)
    bins = tuple(
        SharedBin(
            low=float(which * width),
            high=float((which + 1) * width),
            trials=round(float(n[number == which].sum())),
            events=round(float(y[number == which].sum())),
            share=clustered_wilson_interval(
                float(y[number == which].sum()), float(n[number == which].sum()), effect
            ),
        )
        for which in np.unique(number)
    )
    middles = [(each.low + each.high) / 2 for each in bins]
    hit, tried = [each.events for each in bins], [each.trials for each in bins]
    return bins, cochran_armitage(hit, tried, middles, dispersion=effect)
