"""Compare groups of baits: ratios of loss rates, log-rank tests, and what may confound each ratio."""

import contextlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from benchwater.ledger.bait_lives import UNKNOWN, Factor, sides
from benchwater.statistics.interval import holm_adjusted
from benchwater.statistics.rates import RateRatio, rate_ratio

from .stratified_rates import CommonRateRatio, common_rate_ratio
from .survival import LogRank, log_rank

Flags = NDArray[np.bool_]
Counts = NDArray[np.int64]
Hours = NDArray[np.float64]

LEAST_HOURS, LEAST_ENDS, CLEAR = 5.0, 5, 0.05
CAUSES_COMPARED = {"leader": ("", "bite off"), "guard": ("", "snag"), "habitat": ("", "snag")}
LEAST_INFORMATION, LEAST_LEFT = 0.25, 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedRates:
    """Events and exposure of two groups, the `crude` ratio of their rates, and the one `within` strata."""

    events: tuple[int, int]
    exposure: tuple[float, float]
    crude: RateRatio
    within: CommonRateRatio

    @property
    def excess(self) -> float:
        """The events that the first group would not have had at the second's rate."""
        return self.events[0] - self.exposure[0] * self.crude.rate2

    @property
    def worse_throughout(self) -> bool:
        """Whether both intervals, crude and within strata, put the first group's rate above the second's."""
        return self.crude.low > 1 and self.within.low is not None and self.within.low > 1


@dataclass(frozen=True, slots=True, kw_only=True)
class StratifiedComparison:
    """Two groups compared within the levels of another factor.

    `within` is the ratio of their rates there. `information` is the share of the crude ratio's information
    that is left: 1 where both groups are spread over the factor in the same way, 0 where they share no level.
    `only` names the one level that holds all of the first, and of the second group; None for several.
    """

    within: CommonRateRatio
    information: float
    only: tuple[str | None, str | None]

    @property
    def apart(self) -> bool:
        """Whether the groups hardly share a level: less than a quarter of the information is left."""
        return self.information < LEAST_INFORMATION or self.within.ratio is None

    def explains(self, crude: RateRatio) -> bool:
        """Whether the ratio within levels is less than half of the crude one on the log scale."""
        if self.within.ratio is None or crude.ratio == 1:
            return False
        whole, left = _log(crude.ratio), _log(self.within.ratio)
        return left * math.copysign(1.0, whole) < LEAST_LEFT * abs(whole)


@dataclass(frozen=True, slots=True)
class Contrast:
    """One group's rate of losses (by one cause, or all where `cause` is empty) against another's.

    `here` and `there` mark the rows of `group` and `against`. `confounder` names the first other factor that
    may explain the difference, and `stratified` compares the groups within it; empty and None without one.
    """

    factor: str
    group: str
    against: str
    cause: str
    rates: ComparedRates
    here: Flags
    there: Flags
    p_adjusted: float = 1.0
    confounder: str = ""
    stratified: StratifiedComparison | None = None

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
    """The log-rank test over all groups of one factor."""

    factor: str
    test: LogRank
    p_adjusted: float


@dataclass(frozen=True, slots=True)
class _Levels:
    """The level of each row (rows,) as a place in `names`, which are sorted."""

    codes: NDArray[np.intp]
    names: tuple[str, ...]

    @classmethod
    def of(cls, labels: "pd.Series[Any]") -> "_Levels":
        """Rows without a label are of the level UNKNOWN."""
        codes, names = pd.factorize(labels.astype(object).fillna(UNKNOWN), sort=True)
        return cls(codes, tuple(names))


def compare_baits(rows: pd.DataFrame, factors: Sequence[Factor]) -> tuple[list[Contrast], list[str]]:
    """Every comparison, lowest p-value first, and the names of factors with too little to compare.

    `rows` as `bait_lives.rows_in_use` or `bait_lives.sum_equal_rows` returns them.

    Groups are compared from LEAST_HOURS each and LEAST_ENDS losses together. p-values are adjusted over all
    tests (Holm 1979); two names for one test count once. Confounders are sought for what is clear.
    """
    levels = {factor.name: _Levels.of(factor.labels) for factor in factors}
    levels["angler"] = _Levels.of(rows["angler"])
    hours = rows["hours"].to_numpy()
    ended = {"": rows["ended"].to_numpy()}
    for cause in {cause for causes in CAUSES_COMPARED.values() for cause in causes if cause}:
        ended[cause] = np.where(rows["cause"] == cause, ended[""], 0)
    found: list[Contrast] = []
    for factor in factors:
        strata = levels["leader" if factor.name in {"habitat", "water"} else "habitat"]
        groups = sides(rows, factor) if factor.one_by_one else []
        for cause in CAUSES_COMPARED.get(factor.name, ("",)):
            for group, against, *masks in groups:
                here, there = (each.to_numpy(dtype=bool) for each in masks)
                enough = min(hours[here].sum(), hours[there].sum()) >= LEAST_HOURS
                if enough and ended[cause][here | there].sum() >= LEAST_ENDS:
                    rates = compare_rates(ended[cause], hours, here, there, strata.codes)
                    found.append(Contrast(factor.name, group, against, cause, rates, here, there))
    skipped = [f.name for f in factors if f.one_by_one and f.name not in {c.factor for c in found}]
    tests = {c.test: c.rates.crude.p_central for c in found}
    adjusted = dict(zip(tests, holm_adjusted(list(tests.values())).tolist(), strict=True))
    contrasts = [replace(c, p_adjusted=adjusted[c.test]) for c in found]
    contrasts = [
        _with_confounder(c, factors, levels, ended[c.cause], hours) if c.clear else c for c in contrasts
    ]
    return sorted(contrasts, key=lambda c: float(f"{c.rates.crude.p_central:.10g}")), skipped


def compare_rates(
    events: ArrayLike, exposure: ArrayLike, first: ArrayLike, second: ArrayLike, strata: ArrayLike
) -> ComparedRates:
    """Compare the records marked `first` with those marked `second`, all arrays of shape (n,).

    `events` and `exposure` of each record; `first` and `second` masks that share no record; `strata` labels
    (text or numbers). Strata that lack exposure in a group are left out of `within`. For methods, errors and
    sources see `rates.rate_ratio` and `stratified_rates.common_rate_ratio`.
    """
    (x1, x2), (t1, t2), _ = _sums_by_stratum(events, exposure, first, second, strata)
    both = (t1 > 0) & (t2 > 0)
    totals = (int(x1.sum()), int(x2.sum()))
    exposures = (float(t1.sum()), float(t2.sum()))
    return ComparedRates(
        events=totals,
        exposure=exposures,
        crude=rate_ratio(totals[0], exposures[0], totals[1], exposures[1]),
        within=common_rate_ratio(x1[both], t1[both], x2[both], t2[both]),
    )


def compare_within(
    events: ArrayLike,
    exposure: ArrayLike,
    first: ArrayLike,
    second: ArrayLike,
    levels: ArrayLike,
    *,
    names: Sequence[str] | None = None,
    limits: bool = True,
) -> StratifiedComparison | None:
    """Compare the records marked `first` with those marked `second` within `levels` of another factor.

    Arrays (n,) as in `compare_rates`; `levels` may be places in `names`. Without `limits` the ratio `within`
    has none: `apart` and `explains` do not need them. None where only one level has exposure: there is
    nothing to confound. The information of a stratum on the ratio of two rates is t1 t2 / (t1 + t2), the
    weight that Mantel and Haenszel give it (Rothman and Greenland, Modern Epidemiology, chapter on stratified
    analysis; from memory); comparing a crude ratio with the one within strata is that chapter's way to judge
    confounding. The two bounds, a quarter of the information and half of the logarithm, are this project's
    own choice. Raises ValueError as `compare_rates` does.
    """
    (x1, x2), (t1, t2), labels = _sums_by_stratum(events, exposure, first, second, levels)
    if int((t1 + t2 > 0).sum()) < 2:
        return None
    both = (t1 > 0) & (t2 > 0)
    left = float((t1[both] * t2[both] / (t1 + t2)[both]).sum())
    whole = float(t1.sum() * t2.sum() / (t1.sum() + t2.sum()))
    shown = labels if names is None else [names[place] for place in labels]
    only = [str(shown[np.argmax(hours)]) if int((hours > 0).sum()) == 1 else None for hours in (t1, t2)]
    return StratifiedComparison(
        within=common_rate_ratio(x1[both], t1[both], x2[both], t2[both], limits=limits),
        information=left / whole if whole > 0 else 0.0,
        only=(only[0], only[1]),
    )


def log_rank_tests(rows: pd.DataFrame, factors: Sequence[Factor]) -> list[FactorTest]:
    """One test for each factor over its groups with enough bait-hours, p-values adjusted over all of them.

    A factor is left out where no two of its groups were followed at the same hours in use.
    """
    time, entry, count, ended = (rows[name].to_numpy() for name in ("time", "entry", "count", "ended"))
    tests: dict[str, LogRank] = {}
    for factor in factors:
        codes, groups = factor.labels.factorize(sort=True)
        enough = rows["hours"].groupby(codes).sum() >= LEAST_HOURS
        kept = enough.reindex(range(len(groups)), fill_value=False).to_numpy()
        part = np.append(kept, False)[codes]
        if kept.sum() < 2 or ended[part].sum() < LEAST_ENDS:
            continue
        with contextlib.suppress(ValueError):
            tests[factor.name] = log_rank(
                time[part], ended[part] > 0, codes[part], entry=entry[part], weight=count[part]
            )
    adjusted = holm_adjusted([test.p for test in tests.values()]).tolist()
    return [FactorTest(name, test, p) for (name, test), p in zip(tests.items(), adjusted, strict=True)]


def _with_confounder(
    c: Contrast, factors: Sequence[Factor], levels: Mapping[str, _Levels], ended: Counts, hours: Hours
) -> Contrast:
    """The contrast with its first confounder, if it has one, among the other factors and the anglers.

    A build and what it decides (its coat, its fittings) are not held to confound each other.
    """
    own = next(factor for factor in factors if factor.name == c.factor)
    others = [f for f in factors if f.name not in {c.factor, "leader material"}]
    if own.of_build:
        others = [f for f in others if not ("build" in {f.name, c.factor} and f.of_build)]
    for name in (*(other.name for other in others), "angler"):
        records = ended, hours, c.here, c.there, levels[name].codes
        found = compare_within(*records, limits=False)
        if found is not None and (found.apart or found.explains(c.rates.crude)):
            found = compare_within(*records, names=levels[name].names)
            return replace(c, confounder=name, stratified=found)
    return c


def _sums_by_stratum(
    events: ArrayLike, exposure: ArrayLike, first: ArrayLike, second: ArrayLike, strata: ArrayLike
) -> tuple[list[Hours], list[Hours], NDArray[Any]]:
    """Events and exposures by stratum, of both groups each, and the strata's labels.

    Raises ValueError where the groups share a record.
    """
    labels, member = np.unique(np.asarray(strata), return_inverse=True)
    masks = [np.asarray(group, dtype=bool) for group in (first, second)]
    if np.any(masks[0] & masks[1]):
        raise ValueError("the groups compared must not share a record")

    def sums(values: Hours) -> list[Hours]:
        counts = [np.bincount(member[mask], values[mask], len(labels)) for mask in masks]
        return [np.asarray(each, dtype=np.float64) for each in counts]

    x, t = np.asarray(events, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    return sums(x), sums(t), labels


def _log(ratio: float) -> float:
    return math.log(ratio) if ratio > 0 else -math.inf
