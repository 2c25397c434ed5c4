"""Kaplan-Meier survival, its median and mean, the log-rank test, and the incidence of competing risks.

All functions take right censoring, late entry (left truncation) and whole-number weights. A record is at risk
over (entry, time]: it counts at an event time t when entry < t <= time, so a record censored at t is still at
risk at t and one that enters at t is not. One that enters at 0 is at risk from the start, also at time 0.
Records of one unit over adjoining spans are the same as one record over the whole span.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from benchwater.statistics.interval import Interval, normal_quantile

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVEL = 0.95
_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FollowUp:
    """Follow-up records, arrays of shape (n,): each at risk over (entry, time].

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


def follow_up(
    time: ArrayLike, outcome: ArrayLike, *, entry: ArrayLike | None = None, weight: ArrayLike | None = None
) -> FollowUp:
    """Follow-up records from arrays of shape (n,), times in any one unit.

    `outcome` is 0 for censored, else a whole-number event code. `entry`, before its time unless it is 0,
    defaults to 0 and the whole-number `weight`, above 0, to 1 for every record.
    """
    times = np.asarray(time, dtype=np.float64)
    entries = np.zeros(times.shape) if entry is None else np.asarray(entry, dtype=np.float64)
    return FollowUp(
        entry=np.where(entries == 0, -np.inf, entries),
        time=times,
        outcome=np.asarray(outcome, dtype=np.int64),
        weight=np.ones(times.shape, np.int64) if weight is None else np.asarray(weight, dtype=np.int64),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """The share of units still in use, or ended by one cause: arrays over the k distinct event times.

    `share` and its 95 % limits are the values just after each time; `low` and `high` are nan where the share
    is 0 or 1. Before the first time it is `before`. `n_risk` and `n_event` count units at risk, and those
    ended by the event of the curve. It is conditional on being in use at `observed_from`, the earliest entry,
    and unknown after `known_to`, the last time followed, infinite where no unit was left.
    """

    time: FloatArray
    n_risk: IntArray
    n_event: IntArray
    share: FloatArray
    low: FloatArray
    high: FloatArray
    before: float
    observed_from: float
    known_to: float

    def at(self, time: float) -> Interval:
        """The share just after `time` with its limits.

        Before the first event the limits are nan, after `known_to` all three.
        """
        step = int(np.searchsorted(self.time, time, side="right")) - 1
        estimate, low, high = self.before, np.nan, np.nan
        if time > self.known_to:
            estimate = np.nan
        elif step >= 0:
            estimate, low, high = self.share[step], self.low[step], self.high[step]
        return Interval(estimate=float(estimate), low=float(low), high=float(high), level=LEVEL)


def kaplan_meier(
    time: ArrayLike,
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
) -> Curve:
    """The product-limit estimate of survival with 95 % log(-log S) limits.

    Arrays as for `follow_up`; `event` is 1 (or True) where the record ended in the event, 0 where it was
    censored. The variance is Greenwood's, or that between the numbered clusters of records where it is
    larger (the sum of the squares of what each cluster adds to the cumulative hazard).

    Source: Kaplan & Meier 1958, J. Amer. Statist. Assoc. 53:457-481; limits Kalbfleisch & Prentice 1980; late
    entry Klein & Moeschberger 2003, Survival Analysis, sections 4.2-4.3 and 4.6 (from memory, checked against
    its table 4.1); clusters Ying & Wei 1994, J. Multivariate Analysis 50:17-29 (from memory).
    """
    records = follow_up(time, event, entry=entry, weight=weight)
    z = normal_quantile(LEVEL)
    times = records.event_times()
    n, d = records.at_risk(times), records.events(times, 1)
    survival = np.asarray(np.cumprod((n - d) / n), dtype=np.float64)
    alive = survival > 0
    relative_variance = np.cumsum(d[alive] / (n[alive] * (n - d)[alive]))
    if cluster is not None:
        between = _variance_between(records, cluster, times, n, d)
        relative_variance = np.maximum(relative_variance, between[alive])
    low, high = (np.full(len(times), np.nan) for _ in range(2))
    positive = survival[alive]
    spread = np.exp(z * np.sqrt(relative_variance) / -np.log(positive))
    low[alive], high[alive] = positive**spread, positive ** (1.0 / spread)
    return Curve(
        time=times,
        n_risk=n,
        n_event=d,
        share=survival,
        low=low,
        high=high,
        before=1.0,
        observed_from=records.observed_from,
        known_to=records.observed_to if alive.all() else math.inf,
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


def median_survival(curve: Curve) -> Interval:
    """The first event time at which survival is 0.5 or less, nan where it stays above.

    Its limits are the first times at which the lower and the upper limit curve are 0.5 or less; nan likewise.

    Source: Brookmeyer & Crowley 1982, Biometrics 38:29-41, with the limits of the curve on the log(-log S)
    scale (from memory).
    """

    def first_time(values: FloatArray) -> float:
        reached = np.flatnonzero(values <= 0.5 + _ROUNDING)
        return float(curve.time[reached[0]]) if len(reached) else math.nan

    return Interval(
        estimate=first_time(curve.share),
        low=first_time(curve.low),
        high=first_time(curve.high),
        level=LEVEL,
    )


def restricted_mean(curve: Curve, horizon: float) -> Interval:
    """The area under a survival curve from 0 to `horizon`, above 0 and at most `known_to`.

    The limits are normal ones kept inside 0..horizon, nan without an event before the horizon.

    Source: Klein & Moeschberger 2003, Survival Analysis, section 4.5, without the optional factor D / (D - 1)
    (from memory).
    """
    before = curve.time < horizon
    steps = np.concatenate((np.ones(1), curve.share[before]))
    areas = steps * np.diff(np.concatenate((np.zeros(1), curve.time[before], [horizon])))
    estimate = float(areas.sum())
    area_after = np.cumsum(areas[:0:-1])[::-1]
    n, d = curve.n_risk[before], curve.n_event[before]
    alive = n > d
    variance = np.sum(area_after[alive] ** 2 * d[alive] / (n[alive] * (n - d)[alive]))
    reach = normal_quantile(LEVEL) * float(np.sqrt(variance)) if np.any(before) else np.nan
    return Interval(
        estimate=estimate,
        low=float(np.maximum(0.0, estimate - reach)),
        high=float(np.minimum(horizon, estimate + reach)),
        level=LEVEL,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRank:
    """The log-rank test: chi-square `statistic` on `df`, its `p`, and the events of all groups.

    `scores` (records, groups in order of their labels) is what each record adds to observed less expected.
    """

    statistic: float
    df: int
    p: float
    events: int
    scores: FloatArray = field(compare=False)


def log_rank(
    time: ArrayLike,
    event: ArrayLike,
    group: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
) -> LogRank:
    """The log-rank test of equal hazards in k groups, with the hypergeometric variance.

    Arrays as for `kaplan_meier`; `group` holds at least two labels. `df` is the rank of the variance matrix:
    k - 1, less where late entry leaves groups that are never at risk together; 0 where no event happens while
    two groups are at risk, so that there is nothing to compare.

    Source: Mantel 1966, Cancer Chemotherapy Reports 50:163-170; Klein & Moeschberger 2003, Survival Analysis,
    section 7.3, which allows left truncation (from memory, checked against its larynx example).
    """
    member = np.unique(np.asarray(group), return_inverse=True)[1]
    pooled = follow_up(time, event, entry=entry, weight=weight)
    times = pooled.event_times()
    at_risk, ended = _by_group(pooled, member, times)
    n, d = at_risk.sum(axis=0), ended.sum(axis=0)
    share, observed = at_risk / n, ended.sum(axis=1)
    expected = share @ d
    factor = d * (n - d) / np.maximum(n - 1, 1)
    variance = np.diag(share @ factor) - (share * factor) @ share.T
    scale, axes = np.linalg.eigh(variance)
    informative = scale > 1e-10 * d.sum()
    df = int(informative.sum())
    along = axes[:, informative].T @ (observed - expected)
    statistic = float(np.sum(along**2 / scale[informative]))
    return LogRank(
        statistic=statistic,
        df=df,
        p=float(chdtrc(df, statistic)) if df else 1.0,
        events=int(d.sum()),
        scores=_log_rank_scores(pooled, member, times, share, d / n),
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


def cumulative_incidence(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weight: ArrayLike | None = None,
    causes: Sequence[int] | None = None,
) -> dict[int, Curve]:
    """The Aalen-Johansen cumulative incidence of each cause, with delta-method standard errors.

    Arrays as for `follow_up`; `cause` is 0 where the record was censored, else the code of the cause that
    ended it. `causes` names the codes to report, also those that never struck; by default the codes that
    occur, ascending. At every time the incidences and the share still free of any event add up to 1. The 95 %
    limits are on the complementary log-log scale, log(-log(1 - F)), so that with a single cause they are one
    less the log(-log S) limits of the Kaplan-Meier curve. Standard errors propagate the multinomial
    (Greenwood-type) variance of the hazards at each event time.

    Source: Aalen & Johansen 1978, Scand. J. Statist. 5:141-150; Andersen, Borgan, Gill & Keiding 1993,
    Statistical Models Based on Counting Processes, section IV.4 (from memory, checked against answers
    computed in R).
    """
    records = follow_up(time, cause, entry=entry, weight=weight)
    codes = [code for code in np.unique(records.outcome).tolist() if code] if causes is None else causes
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
    inside = (incidence > 0) & (incidence < 1 - _ROUNDING)
    free = 1.0 - incidence[inside]
    spread = np.exp(normal_quantile(LEVEL) * se[inside] / (free * -np.log(free)))
    low[inside], high[inside] = 1.0 - free ** (1.0 / spread), 1.0 - free**spread
    known_to = math.inf if np.any(event_free == 0) else records.observed_to
    return {
        code: Curve(
            time=times,
            n_risk=n,
            n_event=d[row],
            share=incidence[row],
            low=low[row],
            high=high[row],
            before=0.0,
            observed_from=records.observed_from,
            known_to=known_to,
        )
        for row, code in enumerate(codes)
    }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lives:
    """Follow-up records up to their first gap, with their survival curve and the incidence of each cause.

    With late entry no curve goes beyond a time at which no unit is at risk: nobody knows how many units with
    the same start the later records stand for.
    """

    records: FollowUp
    survival: Curve
    incidence: dict[int, Curve]

    def well_followed_to(self, least: int) -> float:
        """The last time that a record ends before fewer than `least` units are at risk, in half units from 1.

        The last time of all where so many are at risk at no end, or at every end. Rounded down, never up.
        """
        times = np.unique(self.records.time)
        few = np.flatnonzero(self.records.at_risk(times) < least)
        last = float(times[few[0] - 1]) if len(few) and few[0] > 0 else float(times[-1])
        return math.floor(last * 2) / 2 if last >= 1 else last


def lives_to_first_gap(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike,
    weight: ArrayLike,
    trip: ArrayLike,
    causes: Sequence[int],
) -> Lives:
    """The curves of records up to their first gap; arrays as for `cumulative_incidence`, by trips."""
    arrays = [np.asarray(values, dtype=np.float64) for values in (time, cause, entry, weight, trip)]
    gap = follow_up(arrays[0], arrays[1], entry=arrays[2], weight=arrays[3]).first_gap()
    if gap is not None:
        arrays = [values[arrays[0] <= gap] for values in arrays]
    times, codes, entries, weights, trips = arrays
    return Lives(
        records=follow_up(times, codes, entry=entries, weight=weights),
        survival=kaplan_meier(times, codes > 0, entry=entries, weight=weights, cluster=trips),
        incidence=cumulative_incidence(times, codes, entry=entries, weight=weights, causes=causes),
    )
