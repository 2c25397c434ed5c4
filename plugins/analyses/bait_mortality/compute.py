"""The numbers of the section: baits in use, their survival, what ended them and what groups differ."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchwater.ledger import LEAVING, LOSSES, midnight, recent
from benchwater.ledger.bait_lives import (
    UNKNOWN,
    Factor,
    count_baits,
    count_untagged,
    factors_of,
    rows_in_use,
    sides,
    sum_equal_rows,
)
from benchwater.ledger.log_rows import LeftOpen, left_open, rows_left_open
from benchwater.plugin import Season, Span
from benchwater.statistics.interval import benjamini_hochberg_adjusted, holm_adjusted
from benchwater.statistics.permutations import sign_flip_p
from benchwater.statistics.rates import RatioOfTotals, ratio_of_totals

from .survival import Lives, LogRank, lives_to_first_gap, log_rank
from .trip_rates import TripComparison

Flags = NDArray[np.bool_]

LEAST_HOURS, LEAST_ENDS, CLEAR = 5.0, 5, 0.05
LEAST_BAITS, LEAST_AT_RISK, LEAST_TRIPS = 10, 5, 3
QUESTIONS = {"leader": "bite off", "guard": "snag", "habitat": "snag"}
LOOKS, ERROR_OF_A_LOOK = 12, 0.0097


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What may make a difference besides the groups compared.

    `factor` is another factor within whose levels the 95 % limits do not leave out equal rates, or `cause`
    where losses without a cause written could make up the difference. `only` names the one level that holds
    all of the first, and of the second group; None for several.
    """

    factor: str
    only: tuple[str | None, str | None] = (None, None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contrast:
    """One group's rate of losses (by one cause, or all where `cause` is empty) against another's.

    `here` and `there` mark the rows of `group` and `against`, `limits` are those of their ratio at 95 %.
    `p_adjusted` is over all comparisons. `adjusted` are the limits at level 1 - `alpha`: beside a clear
    difference those for having been selected among all. `bounds` is the ratio if every loss without a cause
    written were of this cause, of the second group alone and of the first alone. `advised` says that one of
    the questions asked beforehand is answered, over all looks of the season.
    """

    factor: str
    group: str
    against: str
    cause: str
    here: Flags
    there: Flags
    rates: TripComparison
    limits: tuple[float, float] = (0.0, inf)
    p_adjusted: float = 1.0
    alpha: float = CLEAR
    adjusted: tuple[float, float] = (0.0, inf)
    bounds: tuple[float, float] | None = None
    doubt: Doubt | None = None
    advised: bool = False

    @property
    def name(self) -> str:
        """The factor, and the cause where it is one: `leader, bite offs`."""
        return f"{self.factor}, {self.cause}s" if self.cause else self.factor

    @property
    def asked(self) -> bool:
        """Whether it was asked beforehand."""
        return QUESTIONS.get(self.factor) == self.cause

    @property
    def clear(self) -> bool:
        """Whether the adjusted p-value rules out equal rates."""
        return self.p_adjusted < CLEAR

    @property
    def test(self) -> tuple[str, frozenset[bytes]]:
        """Equal for contrasts that are one test: the mirror image, or a water that is all of one habitat."""
        return self.cause, frozenset(group.tobytes() for group in (self.here, self.there))


@dataclass(frozen=True, slots=True)
class FactorTest:
    """The log-rank test over all groups of one factor; `p` takes trips as the unit."""

    factor: str
    test: LogRank
    p: float
    p_adjusted: float


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
        """Curves by group: `all`, and without and with a leader where both were fished long enough.

        The causes are numbered from 1 in their order.
        """
        codes = {cause: code for code, cause in enumerate(["", *self.causes])}
        leader = self.factors_of_rows[0]
        parts = {group: self.rows[leader.labels == group] for group in leader.groups}
        if len(parts) < 2 or any(part["hours"].sum() < LEAST_HOURS for part in parts.values()):
            parts = {}
        return {
            name: lives_to_first_gap(
                part["time"],
                part["cause"].map(codes),
                entry=part["entry"],
                weight=part["count"],
                trip=part["trip_number"],
                causes=range(1, len(codes)),
            )
            for name, part in {"all": self.rows, **parts}.items()
        }

    @cached_property
    def horizon_h(self) -> float:
        """How far (hours in use) enough baits were followed."""
        return self.lives["all"].well_followed_to(LEAST_AT_RISK)

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
    loss_rate, open_by = _loss_rate(rows, season, span)
    thin = ends < LEAST_ENDS or baits < LEAST_BAITS or trips < LEAST_TRIPS or open_by is not None
    ended = rows[rows["ended"] > 0].groupby("cause")["ended"].sum().sort_index()
    causes = {str(cause): int(n) for cause, n in ended.sort_values(ascending=False, kind="stable").items()}
    factors = factors_of(rows, season.bench)
    summed, factors_of_sums = sum_equal_rows(rows, factors)
    months = recent(season, "fishing")
    late = summed["date"].between(midnight(months.start), midnight(months.end), inclusive="left")
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
        left_open=open_by,
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
    """Losses per hour, None without hours, and what rows set aside leave of it: all kept, or all lost."""
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
    open_by = left_open(refused, rate, least.ratio, most.ratio)
    if open_by is None:
        return rate, None
    return replace(rate, low=min(rate.low, least.low), high=max(rate.high, most.high)), open_by


def compare_baits(rows: pd.DataFrame, factors: Sequence[Factor]) -> tuple[list[Contrast], list[str]]:
    """Every comparison, lowest p-value first, and the names of factors with too little to compare.

    `rows` as `bait_lives.rows_in_use` or `bait_lives.sum_equal_rows` returns them.

    Groups are compared from LEAST_HOURS each and LEAST_ENDS losses together. p-values are adjusted over all
    tests (Benjamini & Hochberg 1995); two names for one test count once. What is clear has limits for having
    been selected (Benjamini & Yekutieli 2005), and is held against every other factor.

    A report looks every month, so a question is answered where the p-value at the end of any month so far
    is below ERROR_OF_A_LOOK, shared out over the questions and their groups: that gives 5 % over 12 looks
    (Pocock 1977, Biometrika 64:191-199; Lan & DeMets 1983, Biometrika 70:659-663). Once answered it stays
    so, as long as the 95 % limits leave out equal rates, within every other factor too.
    """
    ends = _Ends(rows)
    found: list[Contrast] = []
    for factor in factors:
        groups = sides(rows, factor) if factor.one_by_one else []
        for cause in ("", QUESTIONS[factor.name]) if factor.name in QUESTIONS else ("",):
            for group, against, *masks in groups:
                here, there = (each.to_numpy(dtype=bool) for each in masks)
                enough = min(ends.hours[here].sum(), ends.hours[there].sum()) >= LEAST_HOURS
                if enough and ends.by[cause][here | there].sum() >= LEAST_ENDS:
                    found.append(
                        Contrast(
                            factor=factor.name,
                            group=group,
                            against=against,
                            cause=cause,
                            here=here,
                            there=there,
                            rates=ends.compare(here, there, ends.by[cause]),
                        )
                    )
    skipped = [f.name for f in factors if f.one_by_one and f.name not in {c.factor for c in found}]
    tests = {c.test: c.rates.p for c in found}
    adjusted = dict(zip(tests, benjamini_hochberg_adjusted(list(tests.values())).tolist(), strict=True))
    clear = sum(p < CLEAR for p in adjusted.values())
    asked = Counter(c.factor for c in {c.test: c for c in found if c.asked}.values())
    contrasts: list[Contrast] = []
    for c in found:
        limits, p = c.rates.limits(), adjusted[c.test]
        made = replace(c, limits=limits, adjusted=limits, p_adjusted=p)
        answered = False
        if c.asked and limits[0] > 1:
            answered = ends.once_below(ERROR_OF_A_LOOK / (len(QUESTIONS) * asked[c.factor]), c)
        if made.clear or answered:
            alpha, bounds = CLEAR * clear / len(tests) if made.clear else CLEAR, ends.bounds(c)
            doubt = _doubt(c, factors, rows["angler"], ends)
            made = replace(made, alpha=alpha, adjusted=c.rates.limits(alpha), bounds=bounds, doubt=doubt)
            made = replace(made, advised=answered and doubt is None)
        contrasts.append(made)
    return sorted(contrasts, key=lambda c: float(f"{c.rates.p:.10g}")), skipped


def log_rank_tests(rows: pd.DataFrame, factors: Sequence[Factor]) -> list[FactorTest]:
    """One test for each factor over its groups with enough hours, p-values adjusted over all of them.

    A factor is left out where no two of its groups were followed at the same hours in use. The chi-square
    distribution needs many expected losses (Heinze, Gnant & Schemper 2003, Biometrics 59:1151-1157) and
    takes losses as independent, so the p-value is the larger of its own and that of a permutation, which
    flips the signs of whole trips (`permutations.sign_flip_p`).
    """
    columns = ("time", "entry", "count", "ended", "trip_number")
    time, entry, count, ended, trips = (rows[name].to_numpy() for name in columns)
    tests: dict[str, tuple[LogRank, float]] = {}
    for factor in factors:
        codes, groups = factor.labels.factorize(sort=True)
        enough = rows["hours"].groupby(codes).sum() >= LEAST_HOURS
        kept = enough.reindex(range(len(groups)), fill_value=False).to_numpy()
        part = np.append(kept, False)[codes]
        if kept.sum() < 2 or ended[part].sum() < LEAST_ENDS:
            continue
        test = log_rank(time[part], ended[part] > 0, codes[part], entry=entry[part], weight=count[part])
        if test.df:
            by_trip = [np.bincount(trips[part], column) for column in test.scores.T]
            by_trip = [column[np.unique(trips[part])] for column in by_trip]
            tests[factor.name] = test, max(test.p, sign_flip_p(np.column_stack(by_trip)))
    adjusted = holm_adjusted([p for _, p in tests.values()]).tolist()
    return [FactorTest(name, *test, p) for (name, test), p in zip(tests.items(), adjusted, strict=True)]


class _Ends:
    """The baits ended by row, of every cause together (empty) and of those that are compared."""

    def __init__(self, rows: pd.DataFrame) -> None:
        self.hours, self._trips, ended = (rows[name].to_numpy() for name in ("hours", "trip_number", "ended"))
        self._months = rows["date"].to_numpy().astype("datetime64[M]")
        self.by = {
            cause: np.where(rows["cause"] == cause, ended, 0) for cause in {*QUESTIONS.values(), UNKNOWN}
        }
        self.by[""] = ended

    def compare(
        self, here: Flags, there: Flags, ended: NDArray[Any], strata: NDArray[Any] | None = None
    ) -> TripComparison:
        """The rates of the rows of two groups."""
        return TripComparison(ended, self.hours, here, there, self._trips, strata)

    def once_below(self, allowed: float, c: Contrast) -> bool:
        """Whether the p-value at the end of any month so far is below what is allowed."""
        until = (self._months <= month for month in np.unique(self._months))
        return any(
            self.compare(c.here & each, c.there & each, self.by[c.cause]).p < allowed for each in until
        )

    def bounds(self, c: Contrast) -> tuple[float, float] | None:
        """The ratio with the losses of unknown cause counted for the second group alone, and the first alone.

        None without such losses. Source: Goetghebeur & Ryan 1995, Biometrika 82:821-833, whose assumptions on
        the missing causes these bounds do without.
        """
        if not c.cause or not self.by[UNKNOWN][c.here | c.there].any():
            return None
        low, high = (self.with_unknown(c, group).ratio for group in (c.there, c.here))
        return low, high

    def with_unknown(self, c: Contrast, group: Flags) -> TripComparison:
        """The rates with the losses of unknown cause counted for one group alone."""
        return self.compare(c.here, c.there, self.by[c.cause] + np.where(group, self.by[UNKNOWN], 0))


def _doubt(c: Contrast, factors: Sequence[Factor], anglers: "pd.Series[Any]", ends: _Ends) -> Doubt | None:
    """The first thing that leaves the difference open, if any: another factor, or causes not written.

    A build and what it decides (its coat, its fittings) are not held to confound each other.
    """
    of_build = next(factor.of_build for factor in factors if factor.name == c.factor)
    levels: Mapping[str, pd.Series[Any]] = {
        other.name: other.labels
        for other in factors
        if other.name not in {c.factor, "leader material"}
        and not (of_build and other.of_build and "build" in {other.name, c.factor})
    } | {"angler": anglers}
    higher, fished = c.rates.ratio > 1, ends.hours > 0

    def leaves_out_one(rates: TripComparison) -> bool:
        return rates.p <= CLEAR and (rates.ratio > 1) == higher

    for name, labels in levels.items():
        names = [*labels.cat.categories, UNKNOWN]
        codes = labels.cat.codes.to_numpy(dtype=np.int64) % len(names)
        if len(np.unique(codes[fished & (c.here | c.there)])) < 2:
            continue
        if not leaves_out_one(ends.compare(c.here, c.there, ends.by[c.cause], codes)):
            present = (np.unique(codes[fished & group]) for group in (c.here, c.there))
            first, second = (str(names[each[0]]) if len(each) == 1 else None for each in present)
            return Doubt(factor=name, only=(first, second))
    if c.cause and not leaves_out_one(ends.with_unknown(c, c.there if higher else c.here)):
        return Doubt(factor="cause")
    return None
