"""The numbers of the section: catch rates by group, and the comparisons of builds and of waters."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache

from benchwater.ledger import computed_once, midnight, sum_in_order
from benchwater.ledger.trips import ALL, Trips, trips_of
from benchwater.plugin import Season, Span
from benchwater.statistics.rates import RatioOfTotals, ratio_of_totals

from .catch_rates import RateContrast, contrast_rates

LEAST_TRIPS, MOST_COMPARED = 5, 12
FACTORS, COMPARED = (ALL, "build", "water", "habitat", "coat"), ("build", "water")
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
        rows = self.trips.of(factor, group, species)
        return ratio_of_totals(rows["fish"], rows["hours"])

    def _groups(self, factor: str, most: int | None = None) -> list[str]:
        """The groups of a factor (the `most` ones fished longest), the highest rate first."""
        groups = self.trips.groups(factor)
        fished = {group: sum_in_order(self.trips.of(factor, group)["hours"]) for group in groups}
        kept = sorted(fished, key=lambda group: (-fished[group], group))[:most]
        return sorted(kept, key=lambda group: -self.rate(factor, group).ratio)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CatchRates:
    """Rates of a span by group, its number of trips, and comparisons, the clearest first; none where thin."""

    rates: Rates
    trips: int
    contrasts: Sequence[RateContrast]

    @property
    def thin(self) -> bool:
        """Whether the trips are too few to compare anything."""
        return self.trips < LEAST_TRIPS


def compute(season: Season, span: Span) -> CatchRates | None:
    """The numbers of the section; None where no hours of fishing were logged in the span."""
    rates = Rates(_trips_in(season, span.start, span.end))
    if rates.trips.table.empty:
        return None
    trips = rates.rate(ALL, ALL).units
    compared = {
        factor: {group: rates.trips.of(factor, group) for group in rates.groups(factor, MOST_COMPARED)}
        for factor in COMPARED
    }
    contrasts = contrast_rates(compared, within=["build"]) if trips >= LEAST_TRIPS else []
    return CatchRates(rates=rates, trips=trips, contrasts=contrasts)


def fish_per_hour(season: Season, span: Span) -> tuple[float | None, int]:
    """Fish per bait-hour of the span's trips, None without any, and the number of trips."""
    trips = _trips_in(season, min(season.start, span.start), season.end).of(ALL, ALL)
    inside = trips[(trips["day"] >= midnight(span.start)) & (trips["day"] < midnight(span.end))]
    if inside.empty:
        return None, 0
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
