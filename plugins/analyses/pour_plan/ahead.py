"""The season ahead: its losses from every season logged, the work in evenings, and what is said of them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, floor, isnan

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchwater.ledger import LOSSES
from benchwater.ledger.fills import pour_rows
from benchwater.ledger.trips import months_ahead, trip_names
from benchwater.plugin import Action, Cell, Finding, Season, Span
from benchwater.plugin.bench import Bench
from benchwater.statistics.rates import dispersion
from benchwater.statistics.stock_level import GammaRate, less_sure, predictive_quantile, shared_rate
from benchwater.words import MONTHS, counted, day_words, listed, make_finding

from .compute import Fished, Outlook, Plan, cannot_be_made, make_plan
from .findings import cost_words, make_action, packs

FloatArray = NDArray[np.float64]
AGE_WEIGHT = 0.7
USUAL_SPREAD, SPREAD_WEIGHT = 0.3, 2.0
USUAL_FILLS, USUAL_COATED, USUAL_DAYS = 20, 20, 7
METHODS = (
    "Losses of the season ahead: each build's from every season logged, one of n years ago counted as "
    f"{AGE_WEIGHT:g} to the power of n of it (a power prior, Ibrahim & Chen 2000, Statistical Science "
    "15:46-60; the weight is a project choice, no source), with a gamma prior that the builds share (Clayton "
    "& Kaldor 1987, Biometrics 43:671-681). The rate is less sure by the scatter of trips (Pearson's "
    "chi-square over its degrees of freedom) and by what seasons differ: the moment estimate (the principle "
    f"of DerSimonian & Laird 1986, Controlled Clinical Trials 7:177-188), drawn to {100 * USUAL_SPREAD:g} % "
    f"as by {SPREAD_WEIGHT:g} seasons more (project choice, no source), as few seasons hardly tell. A "
    "bad season hits all builds at once; the promise takes them as independent, so that it holds more often "
    "(Esary, Proschan & Walkup 1967, Annals of Mathematical Statistics 38:1466-1474).",
    "Hours: `planned_hours` a month where bench.toml states them, else those of a month of fishing in the "
    "seasons logged, over the months of the year from the first to the last that is fished. Stock, targets, "
    "fills and parts are made as for the month ahead.",
    "Evenings: as many fills, and as many coated pieces, as the median evening of the logs, and as many "
    "days apart where so many days are left; counted back from the first "
    "day of the first month to be fished. Order by: the lead time before the first of them.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Evening:
    """One evening of work: the latest day for it, what is done (`pour` or `coat`), and how much by name."""

    by: date
    work: str
    amounts: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seasons:
    """What earlier seasons tell: how many, bait-hours a build and month, and how much seasons differ.

    `spread` is the standard deviation of a season's rate of loss over its mean; `scatter` how many times
    the losses of trips vary as widely as Poisson's.
    """

    number: int
    months: float
    hours: Mapping[str, float]
    spread: float
    scatter: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonAhead:
    """The plan of a season ahead: `months` are the first days of those to be fished, up to `until`.

    `losses` are those of all builds together, with 95 % limits. `order_by` is by item to buy.
    """

    plan: Plan
    seasons: Seasons
    months: Sequence[date]
    until: date
    losses: tuple[float, int, int]
    evenings: Sequence[Evening]
    order_by: Mapping[str, date | None]

    @property
    def hours(self) -> float:
        """Bait-hours foreseen."""
        return sum(need.outlook.hours for need in self.plan.needs)

    def count(self, work: str) -> int:
        """How many evenings of that work."""
        return sum(evening.work == work for evening in self.evenings)


def plan_ahead(season: Season, span: Span, until: date) -> SeasonAhead | None:
    """The plan from the span's end to `until`; None where no month of that is fished."""
    months = months_ahead(season, until)
    if not months:
        return None
    outlooks, fished, seasons = _foresee(season, len(months))
    plan = make_plan(season, span, (outlooks, fished))
    evenings = _evenings(season, plan, max(months[0], season.end))
    first = evenings[0].by if evenings else max(months[0], season.end)
    leads = {part.item.name: part.item.lead_time_d for part in plan.to_buy}
    return SeasonAhead(
        plan=plan,
        seasons=seasons,
        months=months,
        until=until,
        losses=_all_losses(outlooks, seasons),
        evenings=evenings,
        order_by={
            name: None if days is None else first - timedelta(days=ceil(days)) for name, days in leads.items()
        },
    )


def _foresee(season: Season, months: int) -> tuple[list[Outlook], Fished, Seasons]:
    """The outlook of each build for so many months of fishing, from every season logged.

    A season of n years ago counts AGE_WEIGHT to the power of n: a power prior (Ibrahim & Chen 2000,
    Statistical Science 15:46-60; from memory). The season ahead has a rate of its own.
    """
    bench, rows = season.bench, season.log("fishing")
    builds = list(bench.builds)
    rows = rows.assign(
        place=rows["build"].astype("str").map({name: place for place, name in enumerate(builds)}),
        hours=(rows["fished_h"] * rows["count"]).fillna(0.0),
        ended=rows["count"].where(rows["fate"].isin(LOSSES), 0),
        year=[bench.season_of(day)[0].year for day in rows["date"].dt.date],
    ).dropna(subset=["place"])
    years = sorted(rows["year"].unique())
    ended, hours = (
        rows.pivot_table(index="year", columns="place", values=name, aggfunc="sum")
        .reindex(index=years, columns=range(len(builds)))
        .fillna(0.0)
        .to_numpy()
        for name in ("ended", "hours")
    )
    weights = AGE_WEIGHT ** (years[-1] - np.array(years, dtype=np.float64))
    lost, used = weights @ ended, weights @ hours
    prior = shared_rate(lost, used)
    if prior is not None:
        prior = less_sure(prior, int((used > 0).sum()))
    seasons = _compare(rows, years, ended, hours, weights, builds)
    outlooks = []
    for place, (name, build) in enumerate(bench.builds.items()):
        monthly = seasons.hours[name] if build.planned_hours is None else build.planned_hours
        why = cannot_be_made(build, bench)
        ahead = 0.0 if why else max(0.0, monthly * months)
        rate = prior.after(float(lost[place]), float(used[place])) if prior is not None else None
        outlooks.append(Outlook(build, ahead, _wider(rate, ahead, weights, seasons) if rate else None, why))
    gone = rows.groupby("build", observed=True)["ended"].sum()
    days = rows.loc[rows["ended"] > 0, "date"].dt.normalize().nunique()
    fished = Fished(
        ended={name: int(gone.get(name, 0)) for name in builds},
        hours=dict(zip(builds, hours.sum(axis=0).tolist(), strict=True)),
        days=days,
    )
    return outlooks, fished, seasons


def _compare(
    rows: pd.DataFrame,
    years: Sequence[int],
    ended: FloatArray,
    hours: FloatArray,
    weights: FloatArray,
    builds: Sequence[str],
) -> Seasons:
    """How much seasons and trips differ, beyond what builds were fished in them.

    The variance between seasons is the moment estimate (DerSimonian & Laird 1986, Controlled Clinical Trials
    7:177-188, its principle; from memory), drawn to USUAL_SPREAD as by SPREAD_WEIGHT degrees of freedom
    more (project choice, no source): two or three seasons hardly tell.
    """
    rate = _over(ended.sum(axis=0), hours.sum(axis=0))
    expected = hours @ rate
    of_season = dict(zip(years, _over(ended.sum(axis=1), expected), strict=True))
    by_trip = rows.assign(
        expected=rows["hours"] * rate[rows["place"].astype(int)] * rows["year"].map(of_season),
        trip=trip_names(rows),
    )
    trips = by_trip.groupby("trip")[["ended", "expected"]].sum()
    scatter = dispersion(trips["ended"], trips["expected"])
    surplus = ((ended.sum(axis=1) - expected) ** 2 - scatter * expected).sum()
    between = len(ended) * max(0.0, float(_over(surplus, (expected**2).sum())))
    variance = (SPREAD_WEIGHT * USUAL_SPREAD**2 + between) / (SPREAD_WEIGHT + len(ended) - 1)
    fished = rows[rows["hours"] > 0]
    months = fished.groupby("year")["date"].agg(lambda days: days.dt.to_period("M").nunique())
    fished_months = months.reindex(list(years)).fillna(0).to_numpy()
    monthly = weights @ hours / (weights @ fished_months)
    return Seasons(
        number=len(ended),
        months=float(fished_months.sum()),
        hours=dict(zip(builds, monthly.tolist(), strict=True)),
        spread=float(np.sqrt(variance)),
        scatter=scatter,
    )


def _over(amounts: FloatArray, exposures: FloatArray) -> FloatArray:
    """Amounts over exposures, 0 where there is no exposure."""
    return np.divide(amounts, exposures, out=np.zeros_like(exposures), where=exposures != 0)


def _wider(rate: GammaRate, hours: float, weights: FloatArray, seasons: Seasons) -> GammaRate:
    """The rate in a season ahead: its mean, less sure by what trips and seasons differ.

    Squared coefficients of variation add: that of the mean, as trips scatter; that between seasons, of the
    season ahead and of the mean of those logged; and the scatter of the trips ahead beyond Poisson's.
    """
    of_mean = float((weights**2).sum() / weights.sum() ** 2)
    squared = seasons.scatter / rate.shape + seasons.spread**2 * (1 + of_mean)
    if hours > 0:
        squared += (seasons.scatter - 1) / (rate.mean * hours)
    return GammaRate(shape=1 / squared, exposure=1 / squared / rate.mean)


def _all_losses(outlooks: Sequence[Outlook], seasons: Seasons) -> tuple[float, int, int]:
    """The losses of all builds together, with 95 % limits, a bad season being bad for every build."""
    told = [(each.expected, each.rate) for each in outlooks if each.rate is not None and each.expected > 0]
    mean = sum(expected for expected, _ in told)
    if mean == 0:
        return 0.0, 0, 0
    alone = sum(expected**2 * max(0.0, 1 / rate.shape - seasons.spread**2) for expected, rate in told)
    shape = 1 / (alone / mean**2 + seasons.spread**2)
    rate = GammaRate(shape=shape, exposure=shape / mean)
    low, high = (predictive_quantile(rate, 1.0, level) for level in (0.025, 0.975))
    return mean, low, high


def _evenings(season: Season, plan: Plan, first_day: date) -> tuple[Evening, ...]:
    """Evenings of pouring, then of coating, as large and as far apart as those logged."""
    bench = season.bench
    fills, days = _logged_fills(season)
    own = {mold: round(float(each.median())) for mold, each in fills.groupby("mold")["fills"]}
    usual = round(float(fills.groupby("day")["fills"].sum().median())) if len(fills) else USUAL_FILLS
    room = {mold: max(1, usual, own.get(mold, 0)) for mold in bench.molds}
    work = [("pour", amounts) for amounts in _divided(plan.pour.fills, room)]
    coats: dict[str, int] = {}
    for need in plan.to_make:
        if need.build.coat is not None:
            coats[need.build.coat] = coats.get(need.build.coat, 0) + need.to_make
    a_day = USUAL_COATED
    if season.holds("finishing"):
        dipped = season.log("finishing")
        a_day = max(1, round(float(dipped.groupby(dipped["date"].dt.normalize())["count"].sum().median())))
        days |= set(dipped["date"].dt.date)
    work += [("coat", amounts) for amounts in _divided(coats, dict.fromkeys(coats, a_day))]
    gaps = np.diff(np.array(sorted(days), dtype="datetime64[D]")).astype(int)
    apart = max(1, round(float(np.median(gaps)))) if len(gaps) else USUAL_DAYS
    left = (first_day - season.end).days
    every = min(apart, left // len(work)) if work and left else apart
    first = first_day - timedelta(days=every * len(work)) if left else season.end
    return tuple(
        Evening(by=first + timedelta(days=every * place), work=kind, amounts=amounts)
        for place, (kind, amounts) in enumerate(work)
    )


def _logged_fills(season: Season) -> tuple[pd.DataFrame, set[date]]:
    """Fills by `day` and `mold` that gave castings, and the days of pouring.

    Where fills are not numbered they are at least what the castings need.
    """
    rows = pour_rows(season.log("pour"))
    rows = rows[rows["castings"] > 0].assign(day=rows["date"].dt.normalize())
    sums = rows.groupby(["day", "mold"], observed=True).agg(
        fills=("key", "nunique"), made=("castings", "sum")
    )
    sums = sums.reset_index().astype({"mold": "str"})
    size = sums["mold"].map(lambda mold: _castings_a_fill(season.bench, mold))
    sums["fills"] = np.maximum(sums["fills"], np.ceil(sums["made"] / size))
    return sums, set(rows["date"].dt.date)


def _castings_a_fill(bench: Bench, mold: str) -> int:
    return sum(cavity.per_fill for cavity in bench.molds[mold].cavities.values()) or 1


def _divided(amounts: Mapping[str, int], room: Mapping[str, int]) -> list[dict[str, int]]:
    """Amounts by name in evenings that hold so many of each: full ones first, then what is left together."""
    evenings: list[dict[str, int]] = []
    rest: list[tuple[float, str, int]] = []
    for name, amount in amounts.items():
        full, left = divmod(amount, room[name])
        evenings += [{name: room[name]} for _ in range(full)]
        if left:
            rest.append((left / room[name], name, left))
    shared: list[tuple[float, dict[str, int]]] = []
    for share, name, left in sorted(rest, key=lambda each: -each[0]):
        fits = next((place for place, (used, _) in enumerate(shared) if used + share <= 1), None)
        if fits is None:
            shared.append((share, {name: left}))
        else:
            shared[fits] = (shared[fits][0] + share, {**shared[fits][1], name: left})
    return evenings + [each for _, each in shared]


def findings(ahead: SeasonAhead, bench: Bench, span: Span) -> Iterator[Finding]:
    """The work in a sentence, the losses, the evenings, the money, and what is not known."""
    plan = ahead.plan
    yield Finding(
        id="season_plan",
        text=f"{work_text(ahead)} {promise_ahead(ahead, bench, span)}",
        value=float(sum(need.to_make for need in plan.needs)),
        unit="pieces",
        n=plan.ends,
        more={"service_level": plan.level, "sure": plan.sure, "until": ahead.until},
        headline=True,
        ahead=True,
    )
    mean, low, high = ahead.losses
    seasons = counted(ahead.seasons.number, "season")
    text = (
        f"About {mean:.0f} baits (somewhere between {low} and {high}) may go from {when_words(ahead, span)}"
    )
    text += f", by {seasons} and {counted(plan.ends, 'bait')} gone so far."
    if ahead.seasons.number == 1:
        text += " One season cannot show how much seasons differ, so the range is wide."
    more: dict[str, Cell] = {"seasons": ahead.seasons.number, "spread": ahead.seasons.spread}
    more |= {"scatter": ahead.seasons.scatter, "hours": ahead.hours}
    yield make_finding("losses_ahead", text, (mean, low, high), "baits", n=plan.ends, more=more)
    usual = sum(ahead.seasons.hours.values()) * len(ahead.months)
    text = f"This is for {bench.show(ahead.hours, 'h', 0)} of fishing, each bait's counted."
    if ahead.hours > 1.5 * usual > 0:
        text += f" At the pace of {seasons} logged it would be {bench.show(usual, 'h', 0)}: state fewer "
        text += "`planned_hours` in bench.toml if you fish less, and the plan asks for less."
    yield make_finding("hours_ahead", text, (ahead.hours,), "h", more={"usual_h": usual})
    n, first, text = len(ahead.evenings), None, "No evening of work."
    if ahead.evenings:
        first = ahead.evenings[0].by
        text = f"{counted(n, 'evening')} of work, begin {by_words(first, span)}."
    more = {"first_by": first}
    yield make_finding("evenings", text, (float(n),), "pieces", n=n, more=more, quiet=not n)
    yield spend_ahead(ahead, bench)
    for mold in [" ".join(casting) for casting in plan.waiting]:
        text = f"Get {mold} to work first: no bait that needs it is in this plan."
        yield make_finding("mold_first", text, group=mold)
    for name in [part.item.name for part in plan.parts if isnan(part.short)]:
        text = f"How much {name} to buy is not known: it was never counted, or no build gives the grams."
        yield make_finding("not_known", text, group=name)


def actions(ahead: SeasonAhead, span: Span) -> tuple[Action, ...]:
    """Begin in time, where there is anything to make or to buy."""
    plan = ahead.plan
    if not ahead.evenings and not plan.to_buy:
        return ()
    orders = [day for day in ahead.order_by.values() if day is not None]
    text = "Get ready for next season: "
    if plan.to_buy:
        when = f" {by_words(min(orders), span)}" if orders else ""
        text += f"order {listed([part.item.name for part in plan.to_buy], 4)}{when}"
        text += ", and " if ahead.evenings else "."
    if ahead.evenings:
        evenings = counted(len(ahead.evenings), "evening")
        text += f"begin the {evenings} of work {by_words(ahead.evenings[0].by, span)}."
    mean, low, high = ahead.losses
    because = f"About {mean:.0f} baits ({low} to {high}) may go from {when_words(ahead, span)}."
    spared = sum(need.spared(need.to_make) for need in plan.to_make)
    return (make_action("season-ahead", text, because, spared),)


def work_text(ahead: SeasonAhead) -> str:
    """What to pour, coat, dress and buy, in a sentence."""
    plan = ahead.plan
    fills = sum(plan.pour.fills.values())
    coated = sum(need.to_make for need in plan.to_make if need.build.coat is not None)
    made = sum(need.to_make for need in plan.to_make)
    steps = []
    if fills:
        steps.append(f"pour {counted(fills, 'fill')} in {counted(ahead.count('pour'), 'evening')}")
    if coated:
        steps.append(f"coat {counted(coated, 'piece')} in {counted(ahead.count('coat'), 'evening')}")
    if made:
        steps.append(f"dress {counted(made, 'bait')}")
    if plan.to_buy:
        steps.append(f"buy {counted(sum(part.packs or 1 for part in plan.to_buy), 'pack')}")
    text = listed(steps) or "nothing to pour, make or buy: what is on hand lasts"
    return f"{text[0].upper()}{text[1:]}."


def promise_ahead(ahead: SeasonAhead, bench: Bench, span: Span) -> str:
    """How sure it is that no build runs out once that is done."""
    sure = bench.show(floor(100 * ahead.plan.sure) / 100, "1", 0)
    return f"Then it is {sure} sure that no build runs out before {day_words(ahead.until, span.end)}."


def spend_ahead(ahead: SeasonAhead, bench: Bench) -> Finding:
    """What is to be bought, and what that costs; without a value where no price is known."""
    parts = ahead.plan.to_buy
    costs = [part.cost for part in parts if part.cost is not None]
    spend = sum(costs) if costs or not parts else None
    bought = listed([f"{packs(part, bench)} ({cost_words(part, bench)})" for part in parts], 5)
    text = f"{bench.show(spend, 'money')}{' and more' if len(costs) < len(parts) else ''} for {bought}."
    if not parts:
        text = "Nothing is to be bought."
    elif spend is None:
        unpriced = listed([packs(part, bench) for part in parts], 5)
        text = f"Not known is what to pay for {unpriced}: no receipt and no price on the bench."
    more: dict[str, Cell] = {"unpriced": len(parts) - len(costs)}
    return make_finding("spend_ahead", text, (spend,), "money", n=len(parts), more=more, quiet=not parts)


def by_words(day: date, span: Span) -> str:
    """`by 3 January 2027`, or `now`."""
    return f"by {day_words(day, span.end)}" if day > span.end else "now"


def when_words(ahead: SeasonAhead, span: Span) -> str:
    """`March to October 2027`."""
    first, last = ahead.months[0], ahead.until
    start = "" if first.year == last.year else f" {first.year}"
    return f"{MONTHS[first.month - 1]}{start} to {MONTHS[last.month - 1]} {last.year}"
