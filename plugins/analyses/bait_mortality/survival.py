"""Kaplan-Meier survival, its median and mean, the log-rank test, and the incidence of competing risks.

All functions take right censoring, late entry (left truncation) and whole-number weights. A record is at risk
over (entry, time]: it counts at an event time t when entry < t <= time, so a record censored at t is still at
risk at t and one that enters at t is not. One that enters at 0 is at risk from the start, also at time 0.
Records of one unit over adjoining spans are the same as one record over the whole span.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from benchwater.statistics.interval import Interval, normal_quantile

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FollowUp:
    """Checked follow-up records, arrays of shape (n,): each at risk over (entry, time].

    `entry` is -inf for a record at risk from the start. `outcome` is 0 where the record was censored, else
    the code of the event that ended it. `weight` is the number of identical units that the record stands for.
    """

    entry: FloatArray
    time: FloatArray
    outcome: IntArray
    weight: IntArray

    @property
    def observed_from(self) -> float:
        """The earliest entry; 0 when some record is at risk from the start."""
        return max(0.0, float(self.entry.min()))

    @property
    def observed_to(self) -> float:
        """The latest time at which a record was still followed."""
        return float(self.time.max())

    def event_times(self) -> FloatArray:
        """The distinct times of events of any kind, ascending."""
        return np.unique(self.time[self.outcome > 0])

    def at_risk(self, times: FloatArray) -> IntArray:
        """The number of units with entry < t <= time, for each t of `times`."""
        return _weight_from(self.time, self.weight, times) - _weight_from(self.entry, self.weight, times)

    def events(self, times: FloatArray, outcome: int) -> IntArray:
        """The number of units ended by `outcome` at each of `times`, which must hold all its event times."""
        chosen = self.outcome == outcome
        counts = np.zeros(len(times), dtype=np.int64)
        np.add.at(counts, np.searchsorted(times, self.time[chosen]), self.weight[chosen])
        return counts

    def first_gap(self) -> float | None:
        """The first time just after which nobody is at risk though records start later; None without one."""
        ends = np.unique(self.time)[:-1]
        gaps = ends[self.at_risk(np.nextafter(ends, np.inf)) == 0]
        return float(gaps[0]) if len(gaps) else None


def _weight_from(values: FloatArray, weight: IntArray, times: FloatArray) -> IntArray:
    order = np.argsort(values, kind="stable")
    tail_sums = np.concatenate((np.cumsum(weight[order][::-1])[::-1], [0]))
    return tail_sums[np.searchsorted(values[order], times, side="left")].astype(np.int64)


def _whole_numbers(values: ArrayLike, name: str, shape: tuple[int, ...]) -> IntArray:
    numbers = np.asarray(values, dtype=np.float64)
    if numbers.shape != shape:
        raise ValueError(f"{name} must have the shape of time, {shape}, not {numbers.shape}")
    if not np.all(np.isfinite(numbers) & (numbers >= 0) & (numbers == np.floor(numbers))):
        raise ValueError(f"{name} must hold whole numbers of at least 0")
    return numbers.astype(np.int64)


def follow_up(
    time: ArrayLike, outcome: ArrayLike, *, entry: ArrayLike | None = None, weight: ArrayLike | None = None
) -> FollowUp:
    """Return checked follow-up records without those of weight 0.

    Arrays of shape (n,), times in any one unit. `outcome` is 0 for censored, else a whole-number event code.
    `entry` defaults to 0 and `weight` to 1 for every record.
    Raises ValueError for unequal shapes, no records, times that are negative or not finite, an entry after 0
    that is not before its time, or outcomes or weights that are not whole numbers of at least 0.
    """
    times = np.asarray(time, dtype=np.float64)
    if times.ndim != 1:
        raise ValueError(f"time must be one-dimensional, not {times.ndim}-dimensional")
    outcomes = _whole_numbers(outcome, "outcome (event or cause)", times.shape)
    weights = _whole_numbers(np.ones(times.shape) if weight is None else weight, "weight", times.shape)
    entries = np.zeros(times.shape) if entry is None else np.asarray(entry, dtype=np.float64)
    if entries.shape != times.shape:
        raise ValueError(f"entry must have the shape of time, {times.shape}, not {entries.shape}")
    for name, values in (("time", times), ("entry", entries)):
        if not np.all(np.isfinite(values) & (values >= 0)):
            raise ValueError(f"{name} must hold finite numbers of at least 0")
    if np.any((entries >= times) & (entries > 0)):
        raise ValueError("entry must be before time, unless it is 0")
    kept = weights > 0
    if not np.any(kept):
        raise ValueError("no records to follow")
    return FollowUp(
        entry=np.where(entries == 0, -np.inf, entries)[kept],
        time=times[kept],
        outcome=outcomes[kept],
        weight=weights[kept],
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurvivalCurve:
    """A Kaplan-Meier curve: arrays over the k distinct event times, values just after each.

    `low` and `high` are nan where survival is 0. Without events the arrays are empty and the curve is 1
    throughout. Survival is conditional on surviving to `observed_from`,
    the earliest entry, and unknown after `observed_to` unless it is 0.
    """

    time: FloatArray
    n_risk: IntArray
    n_event: IntArray
    survival: FloatArray
    low: FloatArray
    high: FloatArray
    observed_from: float
    observed_to: float

    @property
    def final_survival(self) -> float:
        """The last value of the curve."""
        return float(self.survival[-1]) if len(self.survival) else 1.0

    def at(self, time: float) -> Interval:
        """Survival to just after `time` with its limits.

        Before the first event the estimate is 1 and the limits nan; after `observed_to` all three are nan,
        unless survival has reached 0. Raises ValueError for a negative or nan time.
        """
        if not time >= 0:
            raise ValueError(f"time must be at least 0, not {time}")
        step = int(np.searchsorted(self.time, time, side="right")) - 1
        if time > self.observed_to and self.final_survival > 0:
            estimate, low, high = np.nan, np.nan, np.nan
        elif step < 0:
            estimate, low, high = 1.0, np.nan, np.nan
        else:
            estimate, low, high = self.survival[step], self.low[step], self.high[step]
        return Interval(estimate=float(estimate), low=float(low), high=float(high), level=LEVEL)


def kaplan_meier(
    time: ArrayLike,
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
) -> SurvivalCurve:
    """The product-limit estimate of survival with 95 % log(-log S) limits.

    Arrays of shape (n,), times in any one unit. `event` is 1 (or True) where the record ended in the event, 0
    where it was censored. Records at risk over (`entry`, `time`]; `weight` counts identical, independent
    units. The variance is Greenwood's, or that between the numbered clusters of records where it is larger
    (the sum of the squares of what each cluster adds to the cumulative hazard).
    Raises ValueError as `follow_up` does, and for an event that is neither 0 nor 1.

    Source: Kaplan & Meier 1958, J. Amer. Statist. Assoc. 53:457-481; limits Kalbfleisch & Prentice 1980; late
    entry Klein & Moeschberger 2003, Survival Analysis, sections 4.2-4.3 and 4.6 (from memory, checked against
    its table 4.1); clusters Ying & Wei 1994, J. Multivariate Analysis 50:17-29 (from memory).
    """
    records = follow_up(time, event, entry=entry, weight=weight)
    if np.any(records.outcome > 1):
        raise ValueError("event must be 0 or 1")
    z = normal_quantile(LEVEL)
    times = records.event_times()
    n, d = records.at_risk(times), records.events(times, 1)
    survival = np.asarray(np.cumprod((n - d) / n), dtype=np.float64)
    alive = survival > 0
    relative_variance = np.cumsum(d[alive] / (n[alive] * (n - d)[alive]))
    if cluster is not None:
        kept = np.ones(np.shape(time)) if weight is None else np.asarray(weight)
        between = _variance_between(records, np.asarray(cluster)[kept > 0], times, n, d)
        relative_variance = np.maximum(relative_variance, between[alive])
    low, high = (np.full(len(times), np.nan) for _ in range(2))
    positive = survival[alive]
    spread = np.exp(z * np.sqrt(relative_variance) / -np.log(positive))
    low[alive], high[alive] = positive**spread, positive ** (1.0 / spread)
    return SurvivalCurve(
        time=times,
        n_risk=n,
        n_event=d,
        survival=survival,
        low=low,
        high=high,
        observed_from=records.observed_from,
        observed_to=records.observed_to,
    )


def _by_group(
    records: FollowUp, member: NDArray[np.intp], times: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The units at risk, and those ended by any event, by group and time (groups, times)."""
    groups, size = int(member.max()) + 1, len(times) + 1

    def summed(moments: FloatArray, side: Literal["left", "right"], weight: IntArray) -> FloatArray:
        place = np.searchsorted(times, moments, side=side)
        sums = np.bincount(member * size + place, weight, groups * size)
        return np.asarray(sums, dtype=np.float64).reshape(groups, size)

    left = summed(records.time, "right", records.weight)
    entered = summed(records.entry, "right", records.weight)
    ended = summed(records.time, "left", records.weight * (records.outcome > 0))[:, :-1]
    return np.cumsum((left - entered)[:, :0:-1], axis=1)[:, ::-1], ended


def _variance_between(
    records: FollowUp, cluster: ArrayLike, times: FloatArray, n: IntArray, d: IntArray
) -> FloatArray:
    """The variance of the cumulative hazard at each time, with clusters of records as the units."""
    at_risk, ended = _by_group(records, np.unique(cluster, return_inverse=True)[1], times)
    clusters = len(at_risk)
    added = np.cumsum(ended / n - at_risk * (d / n**2), axis=1)
    return np.asarray((added**2).sum(axis=0) * clusters / max(1, clusters - 1), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class SurvivalTime:
    """A quantile of a survival curve with 95 % limits; None is a time that the curve does not reach."""

    estimate: float | None
    low: float | None
    high: float | None


def median_survival(curve: SurvivalCurve) -> SurvivalTime:
    """The first event time at which survival is 0.5 or less, None when it stays above.

    Its limits are the first times at which the lower and the upper limit curve are 0.5 or less; None
    likewise.

    Source: Brookmeyer & Crowley 1982, Biometrics 38:29-41, with the limits of the curve on the log(-log S)
    scale (from memory).
    """
    rounding = 1e-12

    def first_time(values: FloatArray) -> float | None:
        reached = np.flatnonzero(values <= 0.5 + rounding)
        return float(curve.time[reached[0]]) if len(reached) else None

    return SurvivalTime(
        estimate=first_time(curve.survival),
        low=first_time(curve.low),
        high=first_time(curve.high),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RestrictedMean:
    """Mean survival time up to `horizon`, with normal limits kept inside 0..horizon.

    `low` and `high` are nan when no event occurred before the horizon.
    """

    estimate: float
    low: float
    high: float


def restricted_mean(curve: SurvivalCurve, horizon: float) -> RestrictedMean:
    """The area under the curve from 0 to `horizon`, in the unit of the times.

    Raises ValueError for a horizon not above 0, or beyond `observed_to` while survival is still above 0.

    Source: Klein & Moeschberger 2003, Survival Analysis, section 4.5, without the optional factor D / (D - 1)
    (from memory).
    """
    if not 0 < horizon < np.inf:
        raise ValueError(f"horizon must be a finite number above 0, not {horizon}")
    if horizon > curve.observed_to and curve.final_survival > 0:
        raise ValueError(f"horizon {horizon} lies beyond the last follow-up, {curve.observed_to}")
    before = curve.time < horizon
    steps = np.concatenate((np.ones(1), curve.survival[before]))
    areas = steps * np.diff(np.concatenate((np.zeros(1), curve.time[before], [horizon])))
    estimate = float(areas.sum())
    area_after = np.cumsum(areas[:0:-1])[::-1]
    n, d = curve.n_risk[before], curve.n_event[before]
    alive = n > d
    variance = np.sum(area_after[alive] ** 2 * d[alive] / (n[alive] * (n - d)[alive]))
    se = float(np.sqrt(variance)) if np.any(before) else np.nan
    z = normal_quantile(LEVEL)
    return RestrictedMean(
        estimate=estimate,
        low=float(np.maximum(0.0, estimate - z * se)),
        high=float(np.minimum(horizon, estimate + z * se)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRank:
    """The log-rank test: chi-square `statistic` on `df`, its `p`, and events in the order of `groups`.

    `scores` (records of a weight above 0, groups) is what each record adds to observed less expected.
    """

    statistic: float
    df: int
    p: float
    scores: FloatArray = field(compare=False)
    groups: tuple[Hashable, ...]
    observed: tuple[int, ...]
    expected: tuple[float, ...]


def log_rank(
    time: ArrayLike,
    event: ArrayLike,
    group: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
) -> LogRank:
    """The log-rank test of equal hazards in k groups, with the hypergeometric variance.

    Arrays of shape (n,); `group` holds the labels, text or numbers, reported sorted. `df` is the rank of the
    variance matrix: k - 1, less where late entry leaves groups that are never at risk together.
    Raises ValueError as `kaplan_meier` does, for fewer than two groups, and when no event happens while two
    groups are at risk, so that there is nothing to compare.

    Source: Mantel 1966, Cancer Chemotherapy Reports 50:163-170; Klein & Moeschberger 2003, Survival Analysis,
    section 7.3, which allows left truncation (from memory, checked against its larynx example).
    """
    times_in = np.asarray(time, dtype=np.float64)
    labels, member = np.unique(np.asarray(group), return_inverse=True)
    if member.shape != times_in.shape:
        raise ValueError(f"group must have the shape of time, {times_in.shape}, not {member.shape}")
    if len(labels) < 2:
        raise ValueError("a log-rank test needs at least two groups")
    weights = np.ones(times_in.shape) if weight is None else np.asarray(weight, dtype=np.float64)
    pooled = follow_up(time, event, entry=entry, weight=weights)
    if np.any(pooled.outcome > 1):
        raise ValueError("event must be 0 or 1")
    times = pooled.event_times()
    kept = member[weights > 0]
    at_risk, ended = _by_group(pooled, kept, times)
    n, d = at_risk.sum(axis=0), ended.sum(axis=0)
    share, observed = at_risk / n, ended.sum(axis=1)
    expected = share @ d
    factor = d * (n - d) / np.maximum(n - 1, 1)
    variance = np.diag(share @ factor) - (share * factor) @ share.T
    scale, axes = np.linalg.eigh(variance)
    informative = scale > 1e-10 * d.sum()
    df = int(informative.sum())
    if df == 0:
        raise ValueError("no event happens while two groups are at risk, so the groups cannot be compared")
    along = axes[:, informative].T @ (observed - expected)
    statistic = float(np.sum(along**2 / scale[informative]))
    return LogRank(
        statistic=statistic,
        df=df,
        p=float(chdtrc(df, statistic)),
        scores=_log_rank_scores(pooled, kept, times, share, d / n),
        groups=tuple(labels.tolist()),
        observed=tuple(int(count) for count in observed),
        expected=tuple(float(count) for count in expected),
    )


def _log_rank_scores(
    records: FollowUp, member: NDArray[np.intp], times: FloatArray, share: FloatArray, hazard: FloatArray
) -> FloatArray:
    """What each record adds to observed less expected (records, groups), its own risk taken off.

    Source: Lin & Wei 1989, J. Amer. Statist. Assoc. 84:1074-1078 (from memory).
    """
    own = np.eye(len(share))[member]
    ended = np.minimum(np.searchsorted(times, records.time), len(times) - 1)
    begin, end = (np.searchsorted(times, each, side="right") for each in (records.entry, records.time))
    passed = np.append(0.0, np.cumsum(hazard))
    pooled = np.column_stack([np.zeros(len(share)), np.cumsum(share * hazard, axis=1)])
    expected = own * (passed[end] - passed[begin])[:, np.newaxis] - (pooled[:, end] - pooled[:, begin]).T
    seen = (own - share[:, ended].T) * (records.outcome > 0)[:, np.newaxis]
    return np.asarray(records.weight[:, np.newaxis] * (seen - expected), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CumulativeIncidence:
    """Aalen-Johansen curves over the k distinct event times of any cause, values just after each.

    `time`, `n_risk` and `event_free` have shape (k,); `n_event`, `incidence`, `low` and `high` have shape
    (causes, k), rows in the order of `causes`. The incidences and `event_free` add up to 1 at every
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
        low=low,
        high=high,
        observed_from=records.observed_from,
        observed_to=records.observed_to,
    )
