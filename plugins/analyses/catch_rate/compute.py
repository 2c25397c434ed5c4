"""The numbers of the section: catch rates by group, and the comparisons of builds and of waters."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache

import pandas as pd

from benchwater.ledger import LEAVING, computed_once, midnight, recent, sum_in_order
from benchwater.ledger.fish import is_count_in_doubt
from benchwater.ledger.log_rows import LeftOpen, left_open, rows_left_open
from benchwater.ledger.trips import ALL, Trips, trips_of
from benchwater.plugin import Season, Span
from benchwater.statistics.rates import RatioOfTotals, ratio_of_totals

from .catch_rates import RateContrast, contrast_rates

LEAST_TRIPS, MOST_COMPARED = 5, 12
FACTORS, COMPARED = (ALL, "build", "water", "habitat", "coat", "angler"), ("build", "water")
PER_HOUR = "fish/h"


class Rates:
    """The catch rates of the groups of trips, each computed once."""

    def __init__(self, trips: Trips) -> None:
        """`trips` are those of the span."""
        self.trips = trips
        self.rate = cache(self._rate)
        self.groups = cache(self._groups)

    def _rate(self, factor: str, group: str, species: str = ALL) -> RatioOfTotals:
        """Fish per hour of a group, of one species or of all."""
        return ratio_of_totals(*self.trips.amounts(factor, group, species))

    def _groups(self, factor: str, most: int | None = None) -> list[str]:
        """The groups of a factor (the `most` ones fished longest), the highest rate first.

        Anglers only with LEAST_TRIPS trips each, and where there are two: a few bad days are nobody's fault.
        """
        groups = self.trips.groups(factor)
        if factor == "angler":
            groups = [name for name in groups if self.rate(factor, name).units >= LEAST_TRIPS]
            groups = groups if len(groups) > 1 else []
        fished = {group: sum_in_order(self.trips.amounts(factor, group)[1]) for group in groups}
        kept = sorted(fished, key=lambda group: (-fished[group], group))[:most]
        return sorted(kept, key=lambda group: -self.rate(factor, group).ratio)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CatchRates:
    """Rates of a span by group, its number of trips, and comparisons, the clearest first; none where thin.

    `best` is the clearest lead of a build that fell behind none; `doubt` names the factor, `angler` or
    `habitat`, within which the limits of that lead do not leave out equal rates; empty where they do.
    `recent` has the fish and the hours of each build in the last two months, which `months` names.
    `doubted` holds rows of the catch log with more fish than can be believed: they are in no rate.
    `left_open` is there where rows set aside could move the rate of all out of its interval. Only of a whole
    `season` is advice drawn.
    """

    season: bool
    rates: Rates
    trips: int
    contrasts: Sequence[RateContrast]
    best: RateContrast | None
    doubt: str
    months: str
    recent: Mapping[str, tuple[int, float]]
    doubted: pd.DataFrame
    left_open: LeftOpen | None

    @property
    def thin(self) -> bool:
        """Whether the trips are too few to compare anything, or rows set aside could decide the rate."""
        return self.trips < LEAST_TRIPS or self.left_open is not None


def compute(season: Season, span: Span) -> CatchRates | None:
    """The numbers of the section; None where no fish log is kept or no hours were logged in the span."""
    if not season.holds("catch"):
        return None
    rates = Rates(_trips_in(season, span.start, span.end))
    if rates.trips.table.empty:
        return None
    catch = season.rows("catch", span)
    table, months = rates.trips.table, recent(season, "fishing")
    late = table["day"].between(midnight(months.start), midnight(months.end), inclusive="left")
    sums = table[late & (table["factor"] == "build")].groupby("group", observed=True)[["fish", "hours"]].sum()
    trips = rates.rate(ALL, ALL).units
    open_by = _left_open(season, span, rates.rate(ALL, ALL))
    compared = {
        factor: {group: rates.trips.of(factor, group) for group in rates.groups(factor, MOST_COMPARED)}
        for factor in COMPARED
    }
    contrasts = contrast_rates(compared, within=["build"]) if trips >= LEAST_TRIPS and open_by is None else []
    builds = [each for each in contrasts if each.factor == "build" and each.clear]
    beaten = {each.against for each in builds}
    best = next((each for each in builds if each.group not in beaten), None)
    return CatchRates(
        season=span.name == "season",
        rates=rates,
        trips=trips,
        contrasts=contrasts,
        best=best,
        doubt=_doubt(season, span, best) if best else "",
        months=months.label,
        recent={str(build): (int(fish), float(hours)) for build, fish, hours in sums.itertuples()},
        doubted=catch[is_count_in_doubt(catch)],
        left_open=open_by,
    )


def _left_open(season: Season, span: Span, rate: RatioOfTotals) -> LeftOpen | None:
    """What rows set aside leave of a rate: from all of their hours and no fish to all fish and no hours."""
    baits = rows_left_open(season, "fishing", span, ("count", "fished_h"))
    baits = baits[~baits["fate"].isin(LEAVING)]
    fish = rows_left_open(season, "catch", span)
    least = rate.total_y / (rate.total_x + float((baits["count"] * baits["fished_h"]).sum()))
    most = (rate.total_y + float(fish["count"].sum())) / rate.total_x
    refused = pd.concat([rows[["column", "value", "reason", "count"]] for rows in (baits, fish)])
    return left_open(refused, rate, least, most)


def _doubt(season: Season, span: Span, lead: RateContrast) -> str:
    """The first factor within which the lead of a build may be chance: trips split by angler, by habitat."""
    fishing, catch = (season.rows(kind, span) for kind in ("fishing", "catch"))
    for factor in ("angler", "habitat"):
        trips = trips_of(_split(fishing, factor), _split(catch, factor), season.bench, ["build"])
        builds = {build: trips.of("build", build) for build in (lead.group, lead.against)}
        within = contrast_rates({"build": builds}, within=["build"])
        if fishing[factor].astype("str").nunique() > 1 and not (
            within and within[0].group == lead.group and within[0].low > 1
        ):
            return factor
    return ""


def _split(rows: pd.DataFrame, factor: str) -> pd.DataFrame:
    """The rows with trips of their own for each word of the factor."""
    trip, water, word = (rows[name].astype(object).map(str) for name in ("trip", "water", factor))
    return rows.assign(trip=trip + " " + water + " " + word)


def fish_per_hour(season: Season, span: Span) -> tuple[float | None, int]:
    """Fish per hour of a bait, None without a fish log or without hours, and the number of trips."""
    if not season.holds("catch"):
        return None, 0
    trips = _trips_in(season, min(season.start, span.start), season.end).of(ALL, ALL)
    inside = trips[trips["day"].between(midnight(span.start), midnight(span.end), inclusive="left")]
    if inside.empty:
        return None, 0
    if _left_open(season, span, ratio_of_totals(inside["fish"], inside["hours"])) is not None:
        return None, len(inside)
    return float(inside["fish"].sum()) / sum_in_order(inside["hours"]), len(inside)


@computed_once
def _trips_in(season: Season, start: date, end: date) -> Trips:
    span = Span(name="season", label="", start=start, end=end)
    return trips_of(season.rows("fishing", span), season.rows("catch", span), season.bench)


def printable_limits(rate: RatioOfTotals) -> tuple[float, float | None]:
    """The limits; 0 or None in place of one more than a hundred times off the rate, which says nothing."""
    if rate.ratio == 0:
        return rate.low, rate.high
    low = rate.low if rate.low > rate.ratio / 100 else 0.0
    return low, rate.high if rate.high < 100 * rate.ratio else None
