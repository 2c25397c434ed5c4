"""Cumulative incidence of competing causes, where the first cause to strike ends the follow-up."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from benchwater.statistics.interval import Interval, normal_quantile

from .survival import LEVEL, FloatArray, IntArray, follow_up


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CumulativeIncidence:
    """Aalen-Johansen curves over the k distinct event times of any cause, values just after each.

    `time`, `n_risk` and `event_free` have shape (k,); `n_event`, `incidence`, `se`, `low` and `high` have
    shape (causes, k), rows in the order of `causes`. The incidences and `event_free` add up to 1 at every
    time.
    `low` and `high` are nan where an incidence is 0 or 1. The curves are conditional on being event-free at
    `observed_from`, the earliest entry, and unknown after `observed_to` unless `event_free` is 0.
    """

    causes: tuple[int, ...]
    time: FloatArray
    n_risk: IntArray
    n_event: IntArray
    event_free: FloatArray
    incidence: FloatArray
    se: FloatArray
    low: FloatArray
    high: FloatArray
    observed_from: float
    observed_to: float

    def at(self, time: float, cause: int) -> Interval:
        """The incidence of `cause` up to and including `time`, with its limits.

        Before the first event the estimate is 0 and the limits nan; after `observed_to` all three are nan,
        unless no one is left event-free. Raises ValueError for a negative or nan time or a cause not in
        `causes`.
        """
        if cause not in self.causes:
            raise ValueError(f"cause {cause} is not among {self.causes}")
        if not time >= 0:
            raise ValueError(f"time must be at least 0, not {time}")
        row, step = self.causes.index(cause), int(np.searchsorted(self.time, time, side="right")) - 1
        still_free = len(self.event_free) == 0 or self.event_free[-1] > 0
        if time > self.observed_to and still_free:
            estimate, low, high = np.nan, np.nan, np.nan
        elif step < 0:
            estimate, low, high = 0.0, np.nan, np.nan
        else:
            estimate, low, high = self.incidence[row, step], self.low[row, step], self.high[row, step]
        return Interval(estimate=float(estimate), low=float(low), high=float(high), level=LEVEL)


def cumulative_incidence(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    causes: Sequence[int] | None = None,
) -> CumulativeIncidence:
    """The Aalen-Johansen cumulative incidence of each cause, with delta-method standard errors.

    Arrays of shape (n,), times in any one unit. `cause` is 0 where the record was censored, else the code of
    the cause that ended it. Records at risk over (`entry`, `time`]; `weight` counts identical, independent
    units.
    `causes` names the codes to report, also those that never struck; by default the codes that occur,
    ascending. The 95 % limits are on the complementary log-log scale, log(-log(1 - F)), so that with a single
    cause they are one less the log(-log S) limits of the Kaplan-Meier curve. Standard errors propagate the
    multinomial (Greenwood-type) variance of the hazards at each event time.
    Raises ValueError as `survival.follow_up` does, for codes in `causes` that are repeated, not above 0 or do
    not include all that occur.

    Source: Aalen & Johansen 1978, Scand. J. Statist. 5:141-150; Andersen, Borgan, Gill & Keiding 1993,
    Statistical Models Based on Counting Processes, section IV.4 (from memory, checked against answers
    computed in R).
    """
    records = follow_up(time, cause, entry=entry, weight=weight)
    z = normal_quantile(LEVEL)
    present = [int(code) for code in np.unique(records.outcome) if code > 0]
    codes = present if causes is None else list(causes)
    if len(set(codes)) < len(codes) or any(code < 1 for code in codes) or not set(present) <= set(codes):
        raise ValueError(f"causes {codes} must be distinct, above 0 and include all that occur, {present}")
    times = records.event_times()
    n = records.at_risk(times)
    d = np.array([records.events(times, code) for code in codes], dtype=np.int64).reshape(
        len(codes), len(times)
    )
    hazard = d / n
    event_free = np.cumprod((n - d.sum(axis=0)) / n)
    free_before = np.concatenate((np.ones(1), event_free))[:-1]
    incidence = np.cumsum(free_before * hazard, axis=1)

    variance = np.zeros(d.shape)
    var_free, cov_free, var_cause = 0.0, np.zeros(len(codes)), np.zeros(len(codes))
    for j in range(len(times)):
        q, total = hazard[:, j], float(hazard[:, j].sum())
        noise = free_before[j] ** 2 / n[j]
        var_cause = var_cause + 2 * q * cov_free + q**2 * var_free + noise * q * (1 - q)
        cov_free = (1 - total) * (cov_free + q * var_free) - noise * q * (1 - total)
        var_free = (1 - total) ** 2 * var_free + noise * total * (1 - total)
        variance[:, j] = var_cause
    se = np.sqrt(np.maximum(variance, 0.0))

    low, high = np.full(d.shape, np.nan), np.full(d.shape, np.nan)
    rounding = 1e-12
    inside = (incidence > 0) & (incidence < 1 - rounding)
    free = 1.0 - incidence[inside]
    spread = np.exp(z * se[inside] / (free * -np.log(free)))
    low[inside], high[inside] = 1.0 - free ** (1.0 / spread), 1.0 - free**spread
    return CumulativeIncidence(
        causes=tuple(codes),
        time=times,
        n_risk=n,
        n_event=d,
        event_free=event_free,
        incidence=incidence,
        se=se,
        low=low,
        high=high,
        observed_from=records.observed_from,
        observed_to=records.observed_to,
    )
