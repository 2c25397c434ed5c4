"""The numbers of the section: baits in use, their survival, what ended them and what groups differ."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from benchwater.ledger import LEAVING, LOSSES, midnight, recent
from benchwater.ledger.bait_lives import (
    Factor,
    count_baits,
    count_untagged,
    factors_of,
    rows_in_use,
    sum_equal_rows,
)
from benchwater.ledger.left_open import rows_left_open, what_settles
from benchwater.plugin import Season, Span
from benchwater.statistics.rates import RatioOfTotals, ratio_of_totals

from .contrasts import LEAST_ENDS, LEAST_HOURS, Contrast, FactorTest, compare_baits, log_rank_tests
from .survival import (
    CumulativeIncidence,
    FollowUp,
    SurvivalCurve,
    cumulative_incidence,
    follow_up,
    kaplan_meier,
)

LEAST_BAITS, LEAST_AT_RISK, LEAST_TRIPS = 10, 5, 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lives:
    """Follow-up records up to their first gap, with their survival curve and the incidence of each cause."""

    records: FollowUp
    survival: SurvivalCurve
    incidence: CumulativeIncidence


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOpen:
    """What rows set aside leave of the losses per hour: from `least` to `most`, as all are kept or all lost.

    `settles` says what to mend.
    """

    rows: int
    baits: int
    least: float
    most: float
    settles: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Mortality:
    """What became of the baits in use during a span.

    `rows` as `bait_lives.rows_in_use` returns them; `summed` and `factors` as `bait_lives.sum_equal_rows`
    does; `factors_of_rows` are the same of `rows`. `causes` counts the losses by cause, most first. `recent`
    marks the `summed` rows of the last two months, `months` names these.
    `thin` says that the baits or the trips are too few for `contrasts` and `tests`, or that rows set aside
    could move `loss_rate` out of its interval (`left_open`); only of a whole `season` is advice drawn.
    """

    season: bool

    rows: pd.DataFrame
    baits: int
    trips: int
    untagged: int
    ends: int
    causes: Mapping[str, int]
    thin: bool
    loss_rate: RatioOfTotals | None
    left_open: LeftOpen | None
    summed: pd.DataFrame
    recent: NDArray[np.bool_]
    months: str
    factors: Sequence[Factor]
    factors_of_rows: Sequence[Factor]
    contrasts: Sequence[Contrast]
    skipped: Sequence[str]

    @cached_property
    def lives(self) -> Mapping[str, Lives]:
        """Curves by group: `all`, and with and without a leader where both were fished long enough."""
        groups = _curve_groups(self.rows, self.factors_of_rows[0])
        return {name: lives_of(part, self.causes) for name, part in groups.items()}

    @cached_property
    def horizon_h(self) -> float:
        """How far (hours in use) enough baits were followed."""
        return well_followed_to(self.lives["all"].records, LEAST_AT_RISK)

    @cached_property
    def tests(self) -> Sequence[FactorTest]:
        """Log-rank tests of the factors; none where `thin`."""
        return [] if self.thin else log_rank_tests(self.rows, self.factors_of_rows)


def compute(season: Season, span: Span) -> Mortality | None:
    """The numbers of the section; None where no bait was fished in the span."""
    rows = rows_in_use(season, span)
    if rows.empty:
        return None
    ends, baits = int(rows["ended"].sum()), count_baits(rows)
    trips = rows["trip_number"].nunique()
    loss_rate, left_open = _loss_rate(rows, season, span)
    thin = ends < LEAST_ENDS or baits < LEAST_BAITS or trips < LEAST_TRIPS or left_open is not None
    ended = rows[rows["ended"] > 0].groupby("cause")["ended"].sum().sort_index()
    causes = {str(cause): int(n) for cause, n in ended.sort_values(ascending=False, kind="stable").items()}
    factors = factors_of(rows, season.bench)
    summed, factors_of_sums = sum_equal_rows(rows, factors)
    months = recent(season, "fishing")
    late = (summed["date"] >= midnight(months.start)) & (summed["date"] < midnight(months.end))
    contrasts, skipped = ([], []) if thin else compare_baits(summed, factors_of_sums)
    return Mortality(
        season=span.name == "season",
        rows=rows,
        baits=baits,
        trips=trips,
        untagged=count_untagged(rows),
        ends=ends,
        causes=causes,
        thin=thin,
        loss_rate=loss_rate,
        left_open=left_open,
        summed=summed,
        recent=late.to_numpy(),
        months=months.label,
        factors=factors_of_sums,
        factors_of_rows=factors,
        contrasts=contrasts,
        skipped=skipped,
    )


def _loss_rate(
    rows: pd.DataFrame, season: Season, span: Span
) -> tuple[RatioOfTotals | None, LeftOpen | None]:
    """Losses per hour, and what rows set aside leave of it if they could move it out of its interval.

    None without hours. Bounds without assumptions on what is missing: Horowitz & Manski 2000, J. Amer.
    Statist. Assoc. 95:77-84 (from memory).
    """
    by_trip = rows.groupby("trip_number")[["ended", "hours"]].sum()
    by_trip = by_trip[by_trip["hours"] > 0]
    if by_trip.empty:
        return None, None
    ended, hours = by_trip["ended"].to_numpy(), by_trip["hours"].to_numpy()
    rate = ratio_of_totals(ended, hours)
    refused = rows_left_open(season, "fishing", span, ("count", "fished_h"))
    refused = refused[(refused["fished_h"] > 0) & ~refused["fate"].isin(LEAVING)]
    if refused.empty:
        return rate, None
    count = refused["count"].to_numpy()
    lost = np.where(refused["fate"].isin(LOSSES), count, 0)
    hours = np.append(hours, refused["fished_h"].to_numpy() * count)
    least, most = (
        ratio_of_totals(np.append(ended, more), hours)
        for more in (lost, np.where(refused["fate"].isna(), count, lost))
    )
    if rate.low <= least.ratio and most.ratio <= rate.high:
        return rate, None
    left_open = LeftOpen(
        rows=len(refused),
        baits=int(count.sum()),
        least=least.ratio,
        most=most.ratio,
        settles=what_settles(refused),
    )
    return replace(rate, low=min(rate.low, least.low), high=max(rate.high, most.high)), left_open


def _curve_groups(rows: pd.DataFrame, leader: Factor) -> dict[str, pd.DataFrame]:
    """All baits, and those without and with a leader where both were fished long enough."""
    parts = {group: rows[leader.labels == group] for group in leader.groups}
    enough = len(parts) == 2 and all(part["hours"].sum() >= LEAST_HOURS for part in parts.values())
    return {"all": rows, **(parts if enough else {})}


def lives_of(rows: pd.DataFrame, causes: Iterable[str]) -> Lives:
    """The curves of some baits; `causes` are numbered from 1 in their order."""
    codes = {cause: code for code, cause in enumerate(["", *causes])}
    return lives_to_first_gap(
        rows["time"],
        rows["cause"].map(codes),
        entry=rows["entry"],
        weight=rows["count"],
        trip=rows["trip_number"],
        causes=range(1, len(codes)),
    )


def lives_to_first_gap(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    entry: ArrayLike,
    weight: ArrayLike,
    trip: ArrayLike,
    causes: Sequence[int],
) -> Lives:
    """The curves of records (arrays (n,), see `survival.cumulative_incidence`) up to their first gap.

    With late entry no curve goes beyond a time at which no unit is at risk: nobody knows how many units with
    the same start the later records stand for.
    Raises ValueError as `cumulative_incidence` does.
    """
    arrays = [np.asarray(values, dtype=np.float64) for values in (time, cause, entry, weight, trip)]
    gap = follow_up(arrays[0], arrays[1], entry=arrays[2], weight=arrays[3]).first_gap()
    if gap is not None:
        arrays = [values[np.asarray(time, dtype=np.float64) <= gap] for values in arrays]
    times, codes, entries, weights, trips = arrays
    return Lives(
        records=follow_up(times, codes, entry=entries, weight=weights),
        survival=kaplan_meier(times, codes > 0, entry=entries, weight=weights, cluster=trips),
        incidence=cumulative_incidence(times, codes, entry=entries, weight=weights, causes=causes),
    )


def well_followed_to(records: FollowUp, least: int) -> float:
    """The last time that a record ends before fewer than `least` units are at risk, in half units from 1 up.

    The last time of all where so many are at risk at no end, or at every end. Rounded down, never up.
    """
    times = np.unique(records.time)
    few = np.flatnonzero(records.at_risk(times) < least)
    last = float(times[few[0] - 1]) if len(few) and few[0] > 0 else float(times[-1])
    return math.floor(last * 2) / 2 if last >= 1 else last
