"""Trend of a proportion over ordered groups."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendTest:
    """Cochran-Armitage test: chi-square on one degree of freedom, two-sided p, direction.

    `statistic` uses the total N, not N - 1. `slope` is the weighted least-squares change of the proportion
    for one unit of the score.
    """

    statistic: float
    p_value: float
    slope: float


def cochran_armitage(
    events: ArrayLike, trials: ArrayLike, scores: ArrayLike | None = None, *, dispersion: float = 1.0
) -> TrendTest | None:
    """Test of a linear trend of events/trials over `scores`, all (k,); scores None = 1..k.

    Armitage 1955, Biometrics 11:375-386; Agresti, Categorical Data Analysis, section 5.3 (from memory). The
    statistics are divided by `dispersion`, the design effect of outcomes alike within clusters: Rao and Scott
    1992, Biometrics 48:577-585 (from memory).

    None where there is nothing to test: no events, no trial without one, or trials at one score only. Raises
    ValueError for unequal shapes, events outside 0..trials, values not finite, or a dispersion not above 0.
    """
    from scipy.special import chdtrc

    y, n = np.asarray(events, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    x = np.arange(1.0, y.size + 1) if scores is None else np.asarray(scores, dtype=np.float64)
    if y.ndim != 1 or not y.shape == n.shape == x.shape:
        raise ValueError(f"events {y.shape}, trials {n.shape} and scores {x.shape} must be of one length")
    if not (np.isfinite(y).all() and np.isfinite(n).all() and np.isfinite(x).all()):
        raise ValueError("events, trials and scores must be finite")
    if np.any(y < 0) or np.any(y > n):
        raise ValueError("events must lie between 0 and trials")
    if not dispersion > 0:
        raise ValueError(f"dispersion must be positive, not {dispersion}")
    total, happened = float(n.sum()), float(y.sum())
    if happened in (0.0, total) or np.unique(x[n > 0]).size < 2:
        return None
    share = happened / total
    centred = x - float(n @ x) / total
    spread = float(n @ centred**2)
    covariation = float(y @ centred)
    statistic = covariation**2 / (share * (1 - share) * spread) / dispersion
    return TrendTest(
        statistic=statistic,
        p_value=float(chdtrc(1.0, statistic)),
        slope=covariation / spread,
    )
