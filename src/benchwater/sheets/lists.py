"""Compose lists to tick: what to take to a water, what to buy, and the evenings of work ahead."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from benchwater.ledger.castings import verdict
from benchwater.ledger.trips import trip_names, trips_of
from benchwater.plugin.bench import Bench
from benchwater.plugin.season import Season
from benchwater.plugin.section import Section, Table
from benchwater.statistics.rates import ratio_of_totals
from benchwater.statistics.stock_level import joint_stock, less_sure, shared_rate
from benchwater.text import csv_lines
from benchwater.words import counted, day_words

LEAST_FISH = 5
_DOES = {"pour": "{} fills of {}", "coat": "{} pieces with {}"}


class NothingFishedError(ValueError):
    """No row of the fishing log tells what a trip needs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToTake:
    """A build to take: `count` covers the losses of a trip and one to fish; `why` says what it rests on."""

    build: str
    count: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TripBox:
    """What to take to a water, most fish an hour first, and what stays at home and why."""

    water: str
    level: float
    known: bool
    take: tuple[ToTake, ...]
    stay: tuple[str, ...]


def trip_box(season: Season, water: str) -> TripBox:
    """Return the box for a water; of all waters together where the logs hold none of its name.

    The losses of one trip are foretold for all builds jointly at the service level of the plan: no build runs
    out with that probability. A build is on the list if it was fished there. Raises NothingFishedError.
    """
    rows = season.log("fishing") if season.holds("fishing") else None
    if rows is None or rows.empty:
        raise NothingFishedError("no bait was logged as fished yet, so there is nothing to plan a trip by")
    waters = season.bench.waters
    note = next((waters[name] for name in waters if name.casefold() == water.casefold()), None)
    verdicts = {
        name: verdict(season, name, note) if note else "allowed"
        for name in sorted(map(str, rows["build"].dropna().unique()))
    }
    allowed = rows[rows["build"].isin([name for name, said in verdicts.items() if said == "allowed"])]
    there = allowed["water"].astype("str").str.casefold() == water.casefold()
    known = bool(there.any())
    used = allowed[there] if known else allowed
    caught = _fish_an_hour(season, used)
    listed = [
        ToTake(build=name, count=count, why=_why(hours, gone, caught.get(name)))
        for name, hours, gone, count in _losses(used, season.bench.plan.service_level)
    ]
    return TripBox(
        water=water,
        level=season.bench.plan.service_level,
        known=known,
        take=tuple(sorted(listed, key=lambda each: (-caught.get(each.build, (0.0, 0))[0], each.build))),
        stay=tuple(
            f"{name}: {'holds lead, which may not go there' if said == 'forbidden' else 'lead not known'}"
            for name, said in verdicts.items()
            if said != "allowed"
        ),
    )


def _losses(used: pd.DataFrame, level: float) -> list[tuple[str, float, float, int]]:
    """Return for each build its hours, the baits gone, and how many one trip needs.

    That is its losses on one trip at the joint level, and one to fish.
    """
    if used.empty:
        return []
    sums = (
        used.assign(
            build=used["build"].astype("str"),
            hours=used["fished_h"] * used["count"],
            gone=used["count"].where(used["fate"].isin(["lost", "worn"]), 0),
        )
        .groupby("build")[["hours", "gone"]]
        .sum()
    )
    names, hours, gone = list(map(str, sums.index)), sums["hours"].tolist(), sums["gone"].tolist()
    counts = [1] * len(names)
    if (prior := shared_rate(gone, hours)) is not None:
        prior = less_sure(prior, len(names))
        rates = [prior.after(lost, used_h) for lost, used_h in zip(gone, hours, strict=True)]
        trips = int(trip_names(used).nunique())
        counts = [1 + each for each in joint_stock(rates, [each / trips for each in hours], level)]
    return list(zip(names, hours, gone, counts, strict=True))


def _fish_an_hour(season: Season, used: pd.DataFrame) -> dict[str, tuple[float, int]]:
    """Return fish an hour and the fish counted, by build, where at least `LEAST_FISH` were caught."""
    if not season.holds("catch"):
        return {}
    found = trips_of(used, season.log("catch"), season.bench)
    rates = {}
    for build in found.groups("build"):
        rows = found.of("build", build)
        if rows["fish"].sum() >= LEAST_FISH:
            rate = ratio_of_totals(rows["fish"], rows["hours"])
            rates[build] = (rate.ratio, int(rate.total_y))
    return rates


def _why(hours: float, gone: float, caught: tuple[float, int] | None) -> str:
    lost = f"{gone:g} gone in {hours:.3g} h"
    return f"{caught[0]:.2g} fish an hour ({caught[1]} fish), {lost}" if caught else lost


def trip_csv(box: TripBox) -> str:
    """Return the rows of the trip to fill in, a line for each bait taken."""
    head = ("date", "build", "fished", "fate", "cause", "bait", "water", "angler", "leader", "note")
    taken = (each.build for each in box.take for _ in range(each.count))
    rows = (("", build, "", "", "", "", box.water, "", "", "") for build in taken)
    return csv_lines((head, *rows), end="\r\n")


@dataclass(frozen=True, slots=True, kw_only=True)
class Errand:
    """One item to buy: how much, what it costs (empty where not known), and by when to order it."""

    item: str
    much: str
    cost: str
    order_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkLists:
    """The two lists: `errands`, and evenings as (number, latest day, what is done).

    `said` are the sentences of the plan: losses to expect, the work, and how sure it is to do.
    """

    said: tuple[str, ...]
    errands: tuple[Errand, ...]
    total: str
    evenings: tuple[tuple[int, str, str], ...]
    baits: tuple[tuple[str, int], ...]


def work_lists(section: Section, bench: Bench) -> WorkLists:
    """Return the lists of a section `season_ahead` that has a plan."""
    tables = {table.id: table for table in (*section.tables, *section.cards[0].tables)}
    bought = _rows(tables.get("card_shopping"))
    by_evening: dict[int, tuple[str, str, list[str]]] = {}
    for row in _rows(tables["evenings"]):
        day = day_words(row["by"], row["by"].replace(year=1))
        _, _, done = by_evening.setdefault(row["evening"], (day, row["work"], []))
        done.append(_DOES[row["work"]].format(row["amount"], row["what"]))
    costs = [row["cost"] for row in bought if row["cost"] is not None]
    return WorkLists(
        said=tuple(each.text for each in section.findings if each.id in {"season_plan", "losses_ahead"}),
        errands=tuple(
            Errand(
                item=row["item"],
                much=counted(row["packs"], "pack")
                if row["packs"]
                else bench.show(row["needed"] - max(0.0, row["on_hand"]), row["unit"], item=row["item"]),
                cost=bench.show(row["cost"], "money") if row["cost"] is not None else "",
                order_by=day_words(row["order_by"], row["order_by"].replace(year=1))
                if row["order_by"]
                else "",
            )
            for row in bought
        ),
        total=bench.show(sum(costs), "money") if costs else "",
        evenings=tuple(
            (number, day, f"{'Pour' if work == 'pour' else 'Coat'} {' and '.join(done)}")
            for number, (day, work, done) in by_evening.items()
        ),
        baits=tuple((row["build"], row["to_make"]) for row in _rows(tables["demand"]) if row["to_make"]),
    )


def _rows(table: Table | None) -> list[dict[str, Any]]:
    if table is None:
        return []
    names = [column.name for column in table.columns]
    return [dict(zip(names, row, strict=True)) for row in table.rows]
