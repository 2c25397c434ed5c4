"""Rates and costs of each season up to one day of the year, compared, and rates before and after a change."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd

from benchwater.ledger import LOSSES, computed_once, midnight
from benchwater.ledger.castings import castings_made
from benchwater.ledger.costs import bait_costs, season_facts
from benchwater.ledger.fills import poured_in
from benchwater.ledger.made import baits_dressed
from benchwater.ledger.trips import trip_names, trips_of
from benchwater.plugin import Season, Span
from benchwater.statistics.interval import Interval, holm_adjusted
from benchwater.statistics.proportions import design_effect
from benchwater.statistics.rates import ratio_of_totals

from .ratios import Comparison, level_change, ratio_of_estimates

LEAST_UNITS, LEAST_EVENTS, LEVEL = 3, 5, 0.05
MOST_SEASONS, MOST_GROUPS = 5, 6
ALL = "all"
BAD, ENDED, FISH, COST = "bad castings", "baits ended", "fish", "cost of a bait"
_LOGS = ("pour", "finishing", "inventory", "builds", "fishing")
_NO_UNITS = pd.DataFrame({"day": pd.Series(dtype="datetime64[us]"), "events": 0.0, "exposure": 0.0})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measure:
    """What a season gives of a question: a rate of events over exposure, or what a bait costs to make.

    `group` is a cause or a build, or `all`; `unit` the canonical unit of `found`, None where there is too
    little; `n` counts events or castings. A rate has `units`, with `day`, `events` and `exposure`.
    """

    name: str
    group: str
    unit: str
    n: int
    found: Interval | None
    units: pd.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeasonComparison:
    """One measure this season against an earlier one; `found` is None where either has too little."""

    now: Measure
    then: Measure
    season: str
    against: str
    found: Comparison | None
    p_adjusted: float | None

    @property
    def told(self) -> bool:
        """Whether it tells a difference that chance would hardly give."""
        return self.p_adjusted is not None and self.p_adjusted < LEVEL


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChangeEffect:
    """One measure before and after a dated change, each as events over exposure."""

    what: str
    on: date
    measure: Measure
    before: float | None
    after: float | None
    found: Comparison | None


def _rate_of(name: str, group: str, unit: str, units: pd.DataFrame) -> Measure:
    """Events over exposure; not known with fewer than `LEAST_UNITS` units."""
    found = (
        ratio_of_totals(units["events"], units["exposure"]).interval if len(units) >= LEAST_UNITS else None
    )
    n = int(units["events"].sum())
    return Measure(name=name, group=group, unit=unit, n=n, found=found, units=units)


@computed_once
def rates(season: Season, start: date, end: date) -> tuple[Measure, ...]:
    """The rates of the days from `start` up to `end`; none without a row of them."""
    span = Span(name="season", label="", start=start, end=end)
    held = [len(season.rows(kind, span)) for kind in ("pour", "fishing") if season.holds(kind)]
    return tuple(_rates(season, span)) if any(held) else ()


def _rates(season: Season, span: Span) -> Iterator[Measure]:
    if season.holds("pour"):
        rows = poured_in(season, span)
        rows = rows[rows["castings"] > 0].assign(day=rows["date"].dt.normalize())
        sums = rows.groupby("session", observed=True).agg(
            day=("day", "min"), events=("rejects", "sum"), exposure=("castings", "sum")
        )
        yield _rate_of(BAD, ALL, "1", sums.reset_index(drop=True))
    if season.holds("fishing"):
        yield from _on_the_water(season, span)


def _on_the_water(season: Season, span: Span) -> Iterator[Measure]:
    rows = season.rows("fishing", span)
    ended = rows["fate"].isin(LOSSES)
    causes = rows["cause"].astype("str").where(ended)
    trips, _ = pd.factorize(trip_names(rows), sort=True)
    first = np.unique(trips, return_index=True)[1]
    days, hours = rows["date"].dt.normalize().iloc[first], (rows["fished_h"] * rows["count"]).fillna(0.0)
    by_trip = pd.DataFrame({"day": days.to_numpy(), "exposure": np.bincount(trips, hours, len(first))})
    for group in (ALL, *_most_usual(season, "cause")):
        gone = rows["count"].where(ended if group == ALL else causes == group, 0)
        sums = by_trip.assign(events=np.bincount(trips, gone, len(first)).astype(np.int64))
        yield _rate_of(ENDED, group, "1/h", sums[sums["exposure"] > 0].reset_index(drop=True))
    if not season.holds("catch"):
        return
    catch = trips_of(rows, season.rows("catch", span), season.bench, (ALL, "build"))
    fished = set(catch.groups("build"))
    builds = [name for name in _most_usual(season, "build") if name in fished]
    for factor, group in ((ALL, ALL), *(("build", name) for name in builds)):
        found = catch.of(factor, group)
        units = pd.DataFrame({"day": found["day"], "events": found["fish"], "exposure": found["hours"]})
        yield _rate_of(FISH, group, "fish/h", units)


def _most_usual(season: Season, column: str) -> list[str]:
    """The words most often written in a column of the fishing log, in all seasons, in alphabetical order."""
    words = season.log("fishing")[column].dropna().astype("str")
    return sorted(words[words != ""].value_counts().head(MOST_GROUPS).index)


def _costs(season: Season, start: date, end: date, poured: pd.DataFrame) -> Iterator[Measure]:
    """What a bait of each build dressed from `start` up to `end` cost to make, at the prices then.

    Its limits take castings as independent: they are widened by the design effect of the sessions `poured`.
    """
    logs = {kind: season.before(kind, end) for kind in _LOGS}
    then = Season(season.bench, logs, start, end)
    if not then.holds("pour"):
        return
    wider = math.sqrt(design_effect(poured["events"], poured["exposure"], at_least=1.0))
    cast, facts, found = castings_made(then, midnight(start)), season_facts(then), []
    before = baits_dressed(then, midnight(start))
    for name, bait in bait_costs(then, facts).items():
        piece, make = bait.build.head or bait.build.trailer, bait.make
        is_dressed = facts.dressed[name].number > before[name].number
        if is_dressed and piece is not None and cast[piece].good and make is not None:
            low, high = (make.estimate + wider * (each - make.estimate) for each in (make.low, make.high))
            cost = replace(make, low=max(low, bait.material.low if bait.material else 0.0), high=high)
            n = cast[piece].good + cast[piece].rejects
            found.append(Measure(name=COST, group=name, unit="money", n=n, found=cost, units=_NO_UNITS))
    yield from sorted(found, key=lambda each: -each.n)[:MOST_GROUPS]


@computed_once
def compare_seasons(season: Season, span: Span) -> tuple[SeasonComparison, ...]:
    """This season against each of the last `MOST_SEASONS` that hold rows, up to the same day of the year."""
    earlier = [
        (then, f"{start:%Y}")
        for years in range(1, MOST_SEASONS + 1)
        for start, end in [(_years_before(span.start, years), _years_before(span.end, years))]
        for then in _measures(season, start, end)
    ]
    if not earlier:
        return ()
    now = {(each.name, each.group): each for each in _measures(season, span.start, span.end)}
    found = [
        (now[then.name, then.group], then, against)
        for then, against in earlier
        if (then.name, then.group) in now
    ]
    compared = [_ratio(mine, then) for mine, then, _ in found]
    adjusted: dict[int, float] = {}
    for name in {mine.name for mine, *_ in found}:
        own = {
            place: each.p
            for place, (each, (mine, *_)) in enumerate(zip(compared, found, strict=True))
            if each is not None and mine.name == name
        }
        if own:
            adjusted |= zip(own, holm_adjusted(list(own.values())).tolist(), strict=True)
    return tuple(
        SeasonComparison(
            now=mine,
            then=then,
            season=f"{span.start:%Y}",
            against=against,
            found=comparison,
            p_adjusted=adjusted.get(place),
        )
        for place, ((mine, then, against), comparison) in enumerate(zip(found, compared, strict=True))
    )


def _ratio(now: Measure, then: Measure) -> Comparison | None:
    """This season over the other; None where either has too little to compare."""
    if now.found is None or then.found is None or min(now.n, then.n) < LEAST_EVENTS:
        return None
    return ratio_of_estimates(now.found, then.found)


def _measures(season: Season, start: date, end: date) -> Iterator[Measure]:
    """The rates and costs of a season; none of a season without a row."""
    seen = [each for each in rates(season, start, end) if len(each.units)]
    yield from seen
    for poured in (each.units for each in seen if each.name == BAD):
        yield from _costs(season, start, end, poured)


def _years_before(day: date, years: int) -> date:
    """The same day of an earlier year; 28 February stands for the 29th."""
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return day.replace(year=day.year - years, day=28)


@computed_once
def judge_changes(season: Season, span: Span) -> tuple[ChangeEffect, ...]:
    """Each dated change of the season on each measure of all groups together, its p-values adjusted."""
    effects: list[ChangeEffect] = []
    for change in season.bench.changes:
        if not span.start < change.on < span.end:
            continue
        first = len(effects)
        for measure in rates(season, span.start, span.end):
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
        judged = {place: each.found for place, each in enumerate(effects) if place >= first and each.found}
        if judged:
            adjusted = holm_adjusted([found.p for found in judged.values()]).tolist()
            for (place, found), p in zip(judged.items(), adjusted, strict=True):
                effects[place] = replace(effects[place], found=replace(found, p=p))
    return tuple(effects)


def _rate(units: pd.DataFrame) -> float | None:
    exposure = float(units["exposure"].sum())
    return float(units["events"].sum()) / exposure if exposure else None
