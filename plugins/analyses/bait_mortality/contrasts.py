"""Compare groups of baits: ratios of loss rates with trips as the unit, log-rank tests, what is in doubt."""

import contextlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchwater.ledger.bait_lives import UNKNOWN, Factor, sides
from benchwater.statistics.interval import benjamini_hochberg_adjusted, holm_adjusted
from benchwater.statistics.permutations import sign_flip_p

from .survival import LogRank, log_rank
from .trip_rates import TripComparison

Flags = NDArray[np.bool_]

LEAST_HOURS, LEAST_ENDS, CLEAR = 5.0, 5, 0.05
CAUSES_COMPARED = {"leader": ("", "bite off"), "guard": ("", "snag"), "habitat": ("", "snag")}
QUESTIONS = (("leader", "bite off"), ("guard", "snag"), ("habitat", "snag"))
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
    limits: tuple[float, float] = (0.0, math.inf)
    p_adjusted: float = 1.0
    alpha: float = CLEAR
    adjusted: tuple[float, float] = (0.0, math.inf)
    bounds: tuple[float, float] | None = None
    doubt: Doubt | None = None
    advised: bool = False

    @property
    def name(self) -> str:
        """The factor, and the cause where it is one: `leader, bite offs`."""
        return f"{self.factor}, {self.cause}s" if self.cause else self.factor

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
    months = (rows["date"].dt.year * 12 + rows["date"].dt.month).to_numpy()
    hours, trips = rows["hours"].to_numpy(), rows["trip_number"].to_numpy()
    ended = {"": rows["ended"].to_numpy()}
    for cause in {cause for causes in CAUSES_COMPARED.values() for cause in causes if cause}:
        ended[cause] = np.where(rows["cause"] == cause, ended[""], 0)
    found: list[Contrast] = []
    for factor in factors:
        groups = sides(rows, factor) if factor.one_by_one else []
        for cause in CAUSES_COMPARED.get(factor.name, ("",)):
            for group, against, *masks in groups:
                here, there = (each.to_numpy(dtype=bool) for each in masks)
                enough = min(hours[here].sum(), hours[there].sum()) >= LEAST_HOURS
                if enough and ended[cause][here | there].sum() >= LEAST_ENDS:
                    found.append(
                        Contrast(
                            factor=factor.name,
                            group=group,
                            against=against,
                            cause=cause,
                            here=here,
                            there=there,
                            rates=TripComparison(ended[cause], hours, here, there, trips),
                        )
                    )
    skipped = [f.name for f in factors if f.one_by_one and f.name not in {c.factor for c in found}]
    tests = {c.test: c.rates.p for c in found}
    adjusted = dict(zip(tests, benjamini_hochberg_adjusted(list(tests.values())).tolist(), strict=True))
    clear = sum(p < CLEAR for p in adjusted.values())
    asked = {
        question: len({c.test for c in found if (c.factor, c.cause) == question}) for question in QUESTIONS
    }
    unknown = np.where(rows["cause"] == UNKNOWN, ended[""], 0)
    contrasts: list[Contrast] = []
    for c in found:
        limits, p = c.rates.limits(), adjusted[c.test]
        made = replace(c, limits=limits, adjusted=limits, p_adjusted=p)
        question = (c.factor, c.cause)
        allowed = ERROR_OF_A_LOOK / (len(QUESTIONS) * asked[question]) if question in asked else 0.0
        answered = limits[0] > 1 and any(
            _rates_until(month, c, ended[c.cause], hours, trips, months).p < allowed
            for month in np.unique(months)
        )
        if made.clear or answered:
            bounds = _bounds(c, ended[c.cause], unknown, hours, trips)
            doubt = _doubt(c, factors, rows, ended[c.cause], unknown, bounds)
            alpha = CLEAR * clear / len(tests) if made.clear else CLEAR
            adjusted_limits, advised = c.rates.limits(alpha), answered and doubt is None
            made = replace(
                made, alpha=alpha, adjusted=adjusted_limits, bounds=bounds, doubt=doubt, advised=advised
            )
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
        part = np.append(kept, False)[codes] & (count > 0)
        if kept.sum() < 2 or ended[part].sum() < LEAST_ENDS:
            continue
        with contextlib.suppress(ValueError):
            test = log_rank(time[part], ended[part] > 0, codes[part], entry=entry[part], weight=count[part])
            by_trip = [np.bincount(trips[part], column) for column in test.scores.T]
            by_trip = [column[np.unique(trips[part])] for column in by_trip]
            tests[factor.name] = test, max(test.p, sign_flip_p(np.column_stack(by_trip)))
    adjusted = holm_adjusted([p for _, p in tests.values()]).tolist()
    return [FactorTest(name, *test, p) for (name, test), p in zip(tests.items(), adjusted, strict=True)]


def _rates_until(
    month: int,
    c: Contrast,
    ended: NDArray[Any],
    hours: NDArray[Any],
    trips: NDArray[Any],
    months: NDArray[Any],
) -> TripComparison:
    until = months <= month
    return TripComparison(ended, hours, c.here & until, c.there & until, trips)


def _bounds(
    c: Contrast, ended: NDArray[Any], unknown: NDArray[Any], hours: NDArray[Any], trips: NDArray[Any]
) -> tuple[float, float] | None:
    """The ratio with the losses of unknown cause counted for the second group alone, and the first alone.

    None without such losses. Source: Goetghebeur & Ryan 1995, Biometrika 82:821-833, whose assumptions on
    the missing causes these bounds do without.
    """
    if not c.cause or not unknown[c.here | c.there].any():
        return None
    extremes = (ended + np.where(group, unknown, 0) for group in (c.there, c.here))
    low, high = (TripComparison(each, hours, c.here, c.there, trips).ratio for each in extremes)
    return low, high


def _doubt(
    c: Contrast,
    factors: Sequence[Factor],
    rows: pd.DataFrame,
    ended: NDArray[Any],
    unknown: NDArray[Any],
    bounds: tuple[float, float] | None,
) -> Doubt | None:
    """The first thing that leaves the difference open, if any: another factor, or causes not written.

    A build and what it decides (its coat, its fittings) are not held to confound each other.
    """
    hours, trips = rows["hours"].to_numpy(), rows["trip_number"].to_numpy()
    higher = c.rates.ratio > 1
    own = next(factor for factor in factors if factor.name == c.factor)
    levels: Mapping[str, pd.Series[Any]] = {
        other.name: other.labels
        for other in factors
        if other.name not in {c.factor, "leader material"}
        and not (own.of_build and other.of_build and "build" in {other.name, c.factor})
    } | {"angler": rows["angler"]}
    for name, labels in levels.items():
        names = [*labels.cat.categories, UNKNOWN]
        codes = labels.cat.codes.to_numpy(dtype=np.int64) % len(names)
        if len(np.unique(codes[(hours > 0) & (c.here | c.there)])) < 2:
            continue
        if not _leaves_out_one(TripComparison(ended, hours, c.here, c.there, trips, codes), higher):
            present = (np.unique(codes[(hours > 0) & group]) for group in (c.here, c.there))
            first, second = (str(names[each[0]]) if len(each) == 1 else None for each in present)
            return Doubt(factor=name, only=(first, second))
    if bounds is not None:
        against = ended + np.where(c.there if higher else c.here, unknown, 0)
        if not _leaves_out_one(TripComparison(against, hours, c.here, c.there, trips), higher):
            return Doubt(factor="cause")
    return None


def _leaves_out_one(rates: TripComparison, higher: bool) -> bool:
    return rates.p <= CLEAR and (rates.ratio > 1) == higher
