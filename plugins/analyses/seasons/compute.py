"""Rates of each season up to the same day of the year, compared, and rates before and after a change."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from benchwater.ledger.fills import poured_in
from benchwater.ledger.trips import trip_names, trips_of
from benchwater.plugin import Season, Span
from benchwater.statistics.comparisons import Comparison, level_change, ratio_of_ratios
from benchwater.statistics.interval import holm_adjusted
from benchwater.statistics.rates import RatioOfTotals, ratio_of_totals

LEAST_UNITS, LEAST_EVENTS = 3, 5
MOST_SEASONS, MOST_GROUPS = 5, 6
ALL = "all"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measure:
    """Events over exposure by unit: `units` has the columns `day`, `events` and `exposure`.

    `name` is what is counted, `unit` the canonical unit of its rate, `group` a cause or a build, or `all`.
    """

    name: str
    group: str
    unit: str
    units: pd.DataFrame

    def rate(self) -> RatioOfTotals | None:
        """Events over exposure; None with fewer than `LEAST_UNITS` units or `LEAST_EVENTS` events."""
        if len(self.units) < LEAST_UNITS or self.units["events"].sum() < LEAST_EVENTS:
            return None
        return ratio_of_totals(self.units["events"], self.units["exposure"])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeasonComparison:
    """One measure this season against an earlier one; `found` is None where either has too little."""

    now: Measure
    then: Measure
    season: str
    against: str
    rates: tuple[RatioOfTotals, RatioOfTotals] | None
    found: Comparison | None
    p_adjusted: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChangeEffect:
    """One measure before and after a dated change, each as events over exposure."""

    what: str
    on: date
    measure: Measure
    before: float | None
    after: float | None
    found: Comparison | None


def measures(season: Season, start: date, end: date) -> Iterator[Measure]:
    """The measures of the days from `start` up to `end`."""
    span = Span(name="season", label="", start=start, end=end)
    if season.holds("pour"):
        rows = poured_in(season, span)
        rows = rows[rows["castings"] > 0].assign(day=rows["date"].dt.normalize())
        sums = rows.groupby("session", observed=True).agg(
            day=("day", "min"), events=("rejects", "sum"), exposure=("castings", "sum")
        )
        yield Measure(name="bad castings", group=ALL, unit="1", units=sums.reset_index(drop=True))
    if season.holds("fishing"):
        yield from _on_the_water(season, span)


def _on_the_water(season: Season, span: Span) -> Iterator[Measure]:
    rows = season.rows("fishing", span)
    ended = rows["fate"].isin(["lost", "worn"])
    causes = rows["cause"].astype("str").where(ended)
    by_trip = rows.assign(
        day=rows["date"].dt.normalize(),
        trip=trip_names(rows),
        hours=(rows["fished_h"] * rows["count"]).fillna(0.0),
    )
    usual = [str(cause) for cause in causes.value_counts().head(MOST_GROUPS).index if cause]
    for group in (ALL, *sorted(usual)):
        told = ended if group == ALL else causes == group
        sums = (
            by_trip.assign(gone=rows["count"].where(told, 0))
            .groupby("trip")
            .agg(day=("day", "min"), events=("gone", "sum"), exposure=("hours", "sum"))
        )
        units = sums[sums["exposure"] > 0].reset_index(drop=True)
        yield Measure(name="baits ended", group=group, unit="1/h", units=units)
    if not season.holds("catch"):
        return
    trips = trips_of(season.rows("fishing", span), season.rows("catch", span), season.bench)
    for factor, group in [
        (ALL, ALL),
        *(("build", name) for name in sorted(trips.groups("build"))[:MOST_GROUPS]),
    ]:
        found = trips.of(factor, group)
        units = pd.DataFrame({"day": found["day"], "events": found["fish"], "exposure": found["hours"]})
        yield Measure(name="fish", group=group, unit="fish/h", units=units)


def compare_seasons(season: Season, span: Span) -> tuple[SeasonComparison, ...]:
    """This season against each of the last `MOST_SEASONS` that hold rows, up to the same day of the year."""
    now = {(each.name, each.group): each for each in measures(season, span.start, span.end)}
    found = []
    for years in range(1, MOST_SEASONS + 1):
        start, end = _years_before(span.start, years), _years_before(span.end, years)
        for then in measures(season, start, end):
            key = then.name, then.group
            if key in now and len(then.units):
                rates = now[key].rate(), then.rate()
                found.append((now[key], then, f"{span.start:%Y}", f"{start:%Y}", rates))
    compared = [None if None in rates else ratio_of_ratios(*rates) for *_, rates in found]  # type: ignore[arg-type]
    known = [each.p for each in compared if each is not None]
    adjusted = iter(holm_adjusted(known).tolist() if known else [])
    return tuple(
        SeasonComparison(
            now=mine,
            then=then,
            season=label,
            against=against,
            rates=None if rates[0] is None or rates[1] is None else (rates[0], rates[1]),
            found=comparison,
            p_adjusted=None if comparison is None else next(adjusted),
        )
        for (mine, then, label, against, rates), comparison in zip(found, compared, strict=True)
    )


def _years_before(day: date, years: int) -> date:
    """The same day of an earlier year; 28 February stands for the 29th."""
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return day.replace(year=day.year - years, day=28)


def judge_changes(season: Season, span: Span) -> tuple[ChangeEffect, ...]:
    """Each dated change of the season on each measure of all groups together."""
    effects = []
    for change in season.bench.changes:
        if not span.start < change.on < span.end:
            continue
        for measure in measures(season, span.start, span.end):
            if measure.group != ALL and measure.group not in change.groups:
                continue
            units = measure.units
            after = (units["day"] >= pd.Timestamp(change.on)).to_numpy(bool)
            effects.append(
                ChangeEffect(
                    what=change.what,
                    on=change.on,
                    measure=measure,
                    before=_rate(units[~after]),
                    after=_rate(units[after]),
                    found=level_change(
                        units["events"].to_numpy(np.float64),
                        units["exposure"].to_numpy(np.float64),
                        ((units["day"] - pd.Timestamp(change.on)) / timedelta(days=1)).to_numpy(np.float64),
                        after,
                    ),
                )
            )
    return tuple(effects)


def _rate(units: pd.DataFrame) -> float | None:
    exposure = float(units["exposure"].sum())
    return float(units["events"].sum()) / exposure if exposure else None
