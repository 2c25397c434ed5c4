"""Trips: the bait-hours and the fish of each, by what was fished, where, and what was caught.

A trip is the day and its `trip`, or the day and its water where no trip is written. A row belongs to several
groups, those of a factor at a time: all baits, its build, the build's coat, its water, its angler, its
habitat tags. The months of the year that are fished say how far the season ahead reaches.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchwater.ledger import rows_by
from benchwater.ledger.fish import fish_standard, is_count_in_doubt
from benchwater.plugin import Bench, Cell
from benchwater.plugin.season import Season
from benchwater.statistics.rates import dispersion, more_exposure
from benchwater.units import figures
from benchwater.words import counted

ALL, NO_COAT = "all", "no coat"
FACTORS = (ALL, "build", "coat", "water", "angler", "habitat")
_NAMED_BY = {"trip": True, "water": True, "build": False, "angler": False}
_COLUMNS = (*_NAMED_BY, "habitat")
_GROUP = ["factor", "group", "trip"]
_NO_TRIP = -1
MOST_TRIPS = 100
_NO_ROWS = np.zeros(0, dtype=np.int64)
_Amounts = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Trips:
    """Hours and fish of every trip, by group.

    `table` has one row for each trip of each group that has hours, in order of the fishing log:

    | column | meaning |
    |---|---|
    | `factor` | `all`, `build`, `coat`, `water`, `angler` or `habitat` |
    | `group` | the group: `all`, a build, a coat or `no coat`, a water, an angler, a habitat tag |
    | `trip` | the number of the trip, from 0 |
    | `day` | datetime64, the day of the trip |
    | `hours` | bait-hours, above 0 |
    | `fish` | fish of all species |

    `species` has the same rows, and the fish of one species in each column, named as first written.
    `places` are the positions of the rows of each factor and group. `zero_trips` counts trips without a fish,
    `without_hours` the fish whose build has no hours on their trip: these are in no group.
    """

    table: pd.DataFrame
    species: pd.DataFrame
    places: Mapping[tuple[str, str], NDArray[np.int64]]
    zero_trips: int
    without_hours: int

    def groups(self, factor: str) -> list[str]:
        """The groups of a factor that have hours."""
        groups = self.table.loc[self.table["factor"] == factor, "group"]
        return [str(group) for group in groups.unique()]

    def species_names(self) -> list[str]:
        """The species caught, as first written."""
        return [str(name) for name in self.species.columns]

    def of(self, factor: str, group: str) -> pd.DataFrame:
        """The rows of the table for one group."""
        return self.table.iloc[self.places.get((factor, group), _NO_ROWS)]

    def amounts(self, factor: str, group: str, species: str = ALL) -> tuple[_Amounts, _Amounts]:
        """The fish (of one species, or of all) and the hours of each trip of one group."""
        own = self.places.get((factor, group), _NO_ROWS)
        fish = self.table["fish"] if species == ALL else self.species[species]
        return fish.to_numpy()[own], self.table["hours"].to_numpy()[own]


def hours_words(hours: float) -> str:
    """Return `34 hours`, `2.3 hours` or `1 hour`."""
    text = f"{round(hours, 6):.0f}" if hours >= 10 else figures(hours, significant=2)
    return f"{text} {'hour' if text == '1' else 'hours'}"


@dataclass(frozen=True, slots=True)
class MoreFishing:
    """What would tell twice the rate from chance: hours and trips, as long as those so far."""

    hours: float
    trips: float

    @property
    def text(self) -> str:
        """`about 1,400 more hours (169 trips)`."""
        trips = counted(max(1, math.ceil(self.trips)), "trip")
        return f"about {float(f'{self.hours:.2g}'):,.0f} more hours ({trips})"

    @property
    def numbers(self) -> dict[str, Cell]:
        """What stands beside the hours in a finding."""
        return {"trips": self.trips, "ratio": 2.0, "power": 0.8}

    @property
    def too_long(self) -> bool:
        """Whether nobody would wait for it."""
        return self.trips > MOST_TRIPS


def more_fishing(by_trip: pd.DataFrame, exposures: tuple[float, float]) -> MoreFishing | None:
    """The fishing that would settle a comparison of two sides; None without an event or where none is needed.

    `by_trip` has the events and the hours of each trip, which scatter as they may; `exposures` are the hours
    of both sides.
    """
    events, hours = (by_trip[name].to_numpy(dtype=np.float64) for name in by_trip)
    if not events.sum():
        return None
    more = more_exposure(float(events.sum()), exposures, design_effect=dispersion(events, hours))
    return MoreFishing(more, more / float(hours.mean())) if more else None


def trip_names(fishing: pd.DataFrame) -> "pd.Series[str]":
    """The trip of each row: the day and its `trip`, or the day and its water where no trip is written."""
    trip, water = (_plain_words(fishing[name]) for name in ("trip", "water"))
    named = np.where(trip != "", trip, "at " + water)
    of_row, days = pd.factorize(fishing["date"].dt.normalize())
    return pd.Series(days.strftime("%Y-%m-%d ").to_numpy(object)[of_row] + named, fishing.index)


def trips_of(
    fishing: pd.DataFrame, catch: pd.DataFrame, bench: Bench, factors: Collection[str] = FACTORS
) -> Trips:
    """Assign every stretch of fishing and every fish of these log rows to its trip and its groups.

    `factors` are those to group by, `build` among them.

    A fish belongs to the trip and the water that it names; where several are left, its build and its angler
    decide. Words are compared whatever their case. Rows of more fish than can be believed are left out
    (`fish.is_count_in_doubt`).
    """
    catch = catch[~is_count_in_doubt(catch)]
    hours = fishing["fished_h"] * fishing["count"]
    fished = _sum_equal_rows(fishing[hours > 0], hours[hours > 0], _COLUMNS)
    caught = _sum_equal_rows(catch, catch["count"], (*_COLUMNS, "species")).reset_index(names="row")
    name = fished["trip_key"].where(fished["trip_key"] != "", "at " + fished["water_key"])
    fished["trip"] = fished.groupby(["day", name], sort=False).ngroup()
    caught["trip"] = _trips_of_fish(fished, caught)
    by_trip = _members(fished, bench, factors).groupby(_GROUP, sort=False)
    table = by_trip.agg(day=("day", "first"), hours=("amount", "sum")).reset_index()
    landed = _members(caught, bench, factors).merge(table[_GROUP].reset_index(names="place"), on=_GROUP)
    counted = caught["row"].isin(landed.loc[landed["factor"] == "build", "row"])
    first_of: dict[str, str] = {}
    words = caught.loc[counted, "species"].unique()
    names = {word: first_of.setdefault(fish_standard(word).key, word) for word in words}
    landed = landed[landed["row"].isin(caught.loc[counted, "row"])]
    landed = landed.assign(name=landed["species"].map(names))
    species = landed.groupby(["place", "name"])["amount"].sum().unstack()
    species = species.reindex(index=table.index, columns=[*first_of.values()]).fillna(0.0)
    for factor in ("water", "angler"):
        spelt = fished.drop_duplicates(f"{factor}_key").set_index(f"{factor}_key")[factor]
        table["group"] = table["group"].where(table["factor"] != factor, table["group"].map(spelt))
    table = table.astype({"factor": "category", "group": "category"}).assign(fish=species.sum(axis=1))
    without_fish = set(fished["trip"]) - set(caught["trip"])
    places = rows_by(table, "factor", "group")
    without_group = round(caught.loc[~counted, "amount"].sum())
    return Trips(table, species, places, len(without_fish), without_group)


def _sum_equal_rows(rows: pd.DataFrame, amounts: "pd.Series[float]", columns: Sequence[str]) -> pd.DataFrame:
    """One row for all rows of one day with equal columns, in order of first appearance, with `amount`.

    `trip_key` and so on are the words to compare: without case and spaces, empty where missing.
    """
    words = rows[[*columns]].assign(day=rows["date"].dt.normalize())
    group = words.groupby(["day", *columns], observed=True, sort=False, dropna=False).ngroup()
    of_row, _ = pd.factorize(group)
    first = np.flatnonzero(~group.duplicated())
    summed = words.iloc[first].reset_index(drop=True).astype(dict.fromkeys(columns, object))
    keys = {f"{column}_key": _plain_words(summed[column]) for column in _NAMED_BY}
    return summed.assign(**keys, amount=np.bincount(of_row, amounts, len(first)))


def _plain(word: str) -> str:
    return " ".join(word.split()).casefold()


@cache
def _plain_tags(tags: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(map(_plain, tags)))


def _plain_words(words: "pd.Series[Any]") -> NDArray[np.object_]:
    """Each word without case and spaces, empty where it is missing."""
    of_row, different = pd.factorize(words)
    return np.array([*map(_plain, different), ""], dtype=object)[of_row]


def _trips_of_fish(fished: pd.DataFrame, caught: pd.DataFrame) -> "pd.Series[int]":
    """The trip of each catch, or `_NO_TRIP`.

    Of the stretches of its day, a catch keeps those that name what it names, column by column. Where none
    does, it keeps those that name no trip or no water, but all of them whatever their build and angler.
    """
    stretches = len(fished)
    trips, row = fished["trip"].to_numpy(), np.arange(stretches)
    days = pd.factorize(pd.concat([fished["day"], caught["day"]]))[0]
    path, wanted = days[:stretches], days[stretches:]
    for column, must in _NAMED_BY.items():
        keys = np.concatenate([fished[f"{column}_key"], caught[f"{column}_key"], [""]])
        codes, words = pd.factorize(keys)
        any_word, no_word, width = len(words), codes[-1], len(words) + 1
        asked = codes[stretches:-1]
        exact, named = path * width + codes[row], wanted * width + asked
        found = (asked != no_word) & np.isin(named, exact)
        instead = np.where((asked == no_word) | (not must), any_word, no_word)
        wanted = np.where(found, named, wanted * width + instead)
        path, row = np.concatenate([exact, path * width + any_word]), np.tile(row, 2)
        kept = np.isin(path, wanted)
        row, places = row[kept], pd.factorize(np.concatenate([path[kept], wanted]))[0]
        path, wanted = places[: len(row)], places[len(row) :]
    of_path = pd.Series(trips[row]).groupby(path).agg(["min", "max"])
    only = of_path.loc[of_path["min"] == of_path["max"], "min"]
    return pd.Series(wanted, caught.index).map(only).fillna(_NO_TRIP).astype(int)


def _members(rows: pd.DataFrame, bench: Bench, factors: Collection[str]) -> pd.DataFrame:
    """Each row once for every group that it belongs to, with `factor` and `group`."""
    build = rows["build"]
    coats = {name: each.coat or NO_COAT for name, each in bench.builds.items()}
    groups = {
        ALL: build.where(build.isna(), ALL),
        "build": build,
        "coat": build.map(coats),
        "water": rows["water_key"].where(rows["water_key"] != ""),
        "angler": rows["angler_key"].where(rows["angler_key"] != ""),
        "habitat": rows["habitat"].map(_plain_tags, na_action="ignore"),
    }
    parts = [rows.assign(factor=factor, group=groups[factor]) for factor in FACTORS if factor in factors]
    if "habitat" in factors:
        parts[-1] = parts[-1].explode("group")
    return pd.concat(parts, ignore_index=True).dropna(subset="group")


def months_ahead(season: Season, until: date) -> tuple[date, ...]:
    """The first days of the months to be fished from the season's end to `until`.

    These are the months of the year from the first that any season was fished in to the last, or to the
    month of `until` where that is later in the season. Empty where no hour of fishing is logged.
    """
    fished = _fished(season)
    if not fished:
        return ()
    last = max(*fished, _place(season, until.month))
    months, month = [], season.end.replace(day=1)
    while month <= until:
        if fished[0] <= _place(season, month.month) <= last:
            months.append(month)
        month = _next(month)
    return tuple(months)


def usual_end(season: Season) -> date | None:
    """The last day usually fished of the season after this one; None where no hour of fishing is logged."""
    fished = _fished(season)
    if not fished:
        return None
    month = season.bench.season_of(season.end - timedelta(days=1))[1].replace(day=1)
    for _ in range(fished[-1] + 1):
        month = _next(month)
    return month - timedelta(days=1)


def _fished(season: Season) -> list[int]:
    """The places in the season, from 0, of the months of the year with hours of fishing, in order."""
    if not season.holds("fishing"):
        return []
    rows = season.log("fishing")
    months = rows.loc[rows["fished_h"] > 0, "date"].dt.month.unique()
    return sorted(_place(season, int(month)) for month in months)


def _place(season: Season, month: int) -> int:
    return (month - season.bench.season_start[0]) % 12


def _next(month: date) -> date:
    return (month + timedelta(days=31)).replace(day=1)
