"""Trips: the hours and the fish of each, by what was fished, where, and what was caught.

A trip is the day and its `trip`, or the day and its water where no trip is written. A row belongs to several
groups, those of a factor at a time: all baits, its build, the build's coat, its water, its habitat tags.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from benchwater.ledger.log_columns import (
    Codes,
    Flags,
    FloatArray,
    Moments,
    Rows,
    Words,
    alike,
    as_words,
    factorized,
)
from benchwater.plugin.bench import Bench

if TYPE_CHECKING:
    import pandas as pd

ALL, NO_COAT = "all", "no coat"
_SORTING = ("trip", "water", "build", "angler", "habitat")
_TELLING = {"trip": True, "water": True, "build": False, "angler": False}
_NOWHERE = -1

_GroupsOf = Callable[[Any], Iterable[str]]
_Told = dict[str, Codes]
_Places = dict[str, int]


class Trips(NamedTuple):
    """Trips of one group, all arrays (n,): their number, each once, their fish and their hours."""

    number: Rows
    fish: FloatArray
    hours: FloatArray

    def take(self, rows: Rows) -> "Trips":
        """Some of them, in that order."""
        return Trips(self.number[rows], self.fish[rows], self.hours[rows])


def shared(one: Trips, other: Trips) -> tuple[Trips, Trips]:
    """The trips that both have, in the order of the first."""
    _, of_one, of_other = np.intersect1d(one.number, other.number, assume_unique=True, return_indices=True)
    order = np.argsort(of_one)
    return one.take(of_one[order]), other.take(of_other[order])


class _Alike(NamedTuple):
    """Rows of one day that say the same, once (n,): what they say by column, and their amounts together."""

    day: Moments
    said: dict[str, Words]
    amount: FloatArray


class _Effort(NamedTuple):
    """The hours of one factor by group and trip, those of the group at a place from `ends[place]` on.

    `trip` and `hours` (k,) are in order of the group's first rows of each. `places` are by what a group is
    found by, `names` as it is written.
    """

    places: _Places
    names: tuple[str, ...]
    ends: Rows
    trip: Rows
    hours: FloatArray


class _Landed(NamedTuple):
    """Fish (m,) of the groups of one factor: the row of each in its `_Effort`, and its species."""

    row: Rows
    species: Codes
    fish: FloatArray


class TripBook(NamedTuple):
    """Hours and fish, trip by trip, of every group that was fished.

    `days` (trips,) is when each trip was, `species` those caught, as first written. `zero_trips` are the
    trips without a fish, `without_hours` the fish whose build has no hours on their trip: these are in no
    group.
    """

    days: Moments
    species: tuple[str, ...]
    zero_trips: int
    without_hours: int
    efforts: Mapping[str, _Effort]
    landed: Mapping[str, _Landed]

    def groups(self, factor: str) -> tuple[str, ...]:
        """The groups of a factor that have hours."""
        return self.efforts[factor].names

    def of(self, factor: str, group: str, species: str = ALL) -> Trips:
        """The trips of a group in order of its rows, with its fish of one species, or of all."""
        effort, landed = self.efforts[factor], self.landed[factor]
        at = effort.names.index(group)
        begin, end = effort.ends[at : at + 2].tolist()
        own = (landed.row >= begin) & (landed.row < end)
        if species != ALL:
            own &= landed.species == self.species.index(species)
        fish = _sums(landed.row[own] - begin, landed.fish[own], end - begin)
        return Trips(effort.trip[begin:end], fish, effort.hours[begin:end])


def keep_trips(fishing: "pd.DataFrame", catch: "pd.DataFrame", bench: Bench) -> TripBook:
    """Put every stretch of fishing and every fish of these rows to its trip and its groups.

    A fish is of the trip and the water that it names; its build and its angler tell which where several are
    left. A word is the same whatever its case.
    """
    hours = (fishing["fished_h"] * fishing["count"]).to_numpy(dtype=np.float64)
    fished = _summed_alike(fishing[hours > 0], hours[hours > 0], _SORTING)
    caught = _summed_alike(catch, catch["count"].to_numpy(dtype=np.float64), (*_SORTING, "species"))
    places: dict[str, _Places] = {column: {"": 0} for column in _TELLING}
    known, asked = (
        {column: _coded(each.said[column], places[column]) for column in _TELLING}
        for each in (fished, caught)
    )
    day = as_words(np.concatenate([fished.day, caught.day])).codes
    trip, days = _trips(fished.day, known, places)
    of_fish = _told_apart(day[: len(trip)], known, day[len(trip) :], asked, trip)
    factors, fish = _factors(bench), caught.amount
    efforts = {
        factor: _effort(fished.said[column], groups_of, trip, fished.amount)
        for factor, (column, groups_of) in factors.items()
    }
    found = {
        factor: _found(efforts[factor], caught.said[column], groups_of, of_fish)
        for factor, (column, groups_of) in factors.items()
    }
    spelt: dict[str, str] = {}
    for water in fished.said["water"].names:
        spelt.setdefault(plainly(water), water)
    efforts["water"] = efforts["water"]._replace(names=tuple(spelt[key] for key in efforts["water"].places))
    counted = np.zeros(len(fish), dtype=bool)
    counted[found["build"][0]] = True
    species, kind = _species(caught.said["species"], counted)
    return TripBook(
        days=days,
        species=species,
        zero_trips=len(days) - len(np.unique(of_fish[of_fish != _NOWHERE])),
        without_hours=round(fish[~counted].sum()),
        efforts=efforts,
        landed={
            factor: _Landed(at[counted[rows]], kind[rows[counted[rows]]], fish[rows[counted[rows]]])
            for factor, (rows, at) in found.items()
        },
    )


def plainly(cell: object) -> str:
    """A word without its case and spaces; empty for none."""
    return " ".join(cell.split()).casefold() if isinstance(cell, str) else ""


def _summed_alike(rows: "pd.DataFrame", amounts: FloatArray, columns: Sequence[str]) -> _Alike:
    day = rows["date"].to_numpy(dtype="datetime64[D]")
    said = {column: factorized(rows[column]) for column in columns}
    of_row, first = alike(as_words(day), *said.values())
    return _Alike(
        day=day[first],
        said={column: word.take(first) for column, word in said.items()},
        amount=_sums(of_row, amounts, len(first)),
    )


def _sums(of_row: Rows | Codes, values: FloatArray, size: int) -> FloatArray:
    return np.asarray(np.bincount(of_row, values, size), dtype=np.float64)


def _coded(said: Words, places: _Places) -> Codes:
    """What each row says (n,) by its place, 0 where that is nothing; new words get the next ones."""
    to = [places.setdefault(plainly(name), len(places)) for name in said.names]
    return np.array([*to, 0], dtype=np.int32)[said.codes]


def _trips(day: Moments, told: _Told, places: Mapping[str, _Places]) -> tuple[Rows, Moments]:
    """The trip of each row of fishing (n,), in order of their first rows, and the day of each trip."""
    names: _Places = {}
    of_trip, of_water = (
        np.array([names.setdefault(f"{at}{word}", len(names)) for word in places[column]], dtype=np.int32)
        for column, at in (("trip", ""), ("water", "at "))
    )
    name = np.where(told["trip"] > 0, of_trip[told["trip"]], of_water[told["water"]])
    trip, first = alike(as_words(day), as_words(name))
    return trip.astype(np.int64), day[first]


def _told_apart(day: Codes, known: _Told, day_of_fish: Codes, asked: _Told, trip: Rows) -> Rows:
    """The trip of each catch (m,), or `_NOWHERE`.

    `known` is what the rows of fishing (n,) say, each of a `trip`. Of those of its day, a catch is left with
    the ones that say what it says, column by column; where none does, with those that say nothing of trip or
    water, but with all whatever they say of build and angler.
    """
    left, node = np.arange(len(trip)), day.astype(np.int64)
    at = day_of_fish.astype(np.int64)
    for column, must in _TELLING.items():
        width = int(max(known[column].max(initial=0), asked[column].max(initial=0))) + 2
        every = width - 1
        same, whole = node * width + known[column][left], node * width + every
        wanted = at * width + asked[column]
        met = np.isin(wanted, same)
        instead = at * width + (0 if must else every)
        at = np.where(asked[column] == 0, at * width + every, np.where(met, wanted, instead))
        left, node = np.tile(left, 2), np.concatenate([same, whole])
        some = np.isin(node, at)
        codes = as_words(np.concatenate([node[some], at])).codes.astype(np.int64)
        left, node, at = left[some], codes[: some.sum()], codes[some.sum() :]
    size = int(max(node.max(initial=-1), at.max(initial=-1))) + 1
    least, most = np.full(size, len(trip)), np.full(size, _NOWHERE)
    np.minimum.at(least, node, trip[left])
    np.maximum.at(most, node, trip[left])
    return np.where(least[at] == most[at], most[at], _NOWHERE)


def _factors(bench: Bench) -> dict[str, tuple[str, _GroupsOf]]:
    """By factor the column that tells, and the groups that what it says stands for."""
    return {
        ALL: ("build", lambda build: [ALL]),
        "build": ("build", lambda build: [build]),
        "coat": ("build", lambda build: [bench.builds[build].coat or NO_COAT]),
        "water": ("water", lambda water: filter(None, [plainly(water)])),
        "habitat": ("habitat", lambda tags: dict.fromkeys(map(plainly, tags))),
    }


def _members(said: Words, groups_of: _GroupsOf, places: _Places) -> tuple[Rows, Rows]:
    """The rows, each once for every group it belongs to, and that group's place; new ones get the next."""
    of_word = [[places.setdefault(key, len(places)) for key in groups_of(name)] for name in said.names]
    many = np.array([*map(len, of_word), 0])
    flat = np.array([place for several in of_word for place in several], dtype=np.int64)
    each = many[said.codes]
    rows = np.repeat(np.arange(len(each)), each)
    nth = np.arange(len(rows)) - np.repeat(np.cumsum(each) - each, each)
    return rows, flat[(np.cumsum(many) - many)[said.codes[rows]] + nth]


def _effort(said: Words, groups_of: _GroupsOf, trip: Rows, hours: FloatArray) -> _Effort:
    places: _Places = {}
    rows, group = _members(said, groups_of, places)
    pair, first = alike(as_words(group), as_words(trip[rows]))
    order = np.argsort(group[first], kind="stable")
    return _Effort(
        places=places,
        names=tuple(places),
        ends=np.searchsorted(group[first][order], np.arange(len(places) + 1)),
        trip=trip[rows[first]][order],
        hours=_sums(pair, hours[rows], len(first))[order],
    )


def _found(effort: _Effort, said: Words, groups_of: _GroupsOf, trip: Rows) -> tuple[Rows, Rows]:
    """Catches (m,), each once for every group with hours on its trip, and the row of these hours."""
    rows, group = _members(said, groups_of, dict(effort.places))
    width = int(effort.trip.max(initial=0)) + 1
    have = np.repeat(np.arange(len(effort.names)), np.diff(effort.ends)) * width + effort.trip
    wanted = np.where(trip[rows] == _NOWHERE, _NOWHERE, group * width + trip[rows])
    order = np.argsort(have)
    at = np.searchsorted(have, wanted, sorter=order)
    inside = at < len(have)
    rows, wanted, at = rows[inside], wanted[inside], order[at[inside]]
    met = have[at] == wanted
    return rows[met], at[met]


def _species(said: Words, counted: Flags) -> tuple[tuple[str, ...], Codes]:
    """The species of the catches that count, as first written, and the place of each catch's (m,) in them."""
    from benchwater.ledger.fish import fish_standard

    names: dict[str, str] = {}
    place = np.zeros(len(said.names) + 1, dtype=np.int32)
    for code in dict.fromkeys(said.codes[counted].tolist()):
        key = fish_standard(said.names[code]).key
        names.setdefault(key, said.names[code])
        place[code] = list(names).index(key)
    return tuple(names.values()), place[said.codes]
