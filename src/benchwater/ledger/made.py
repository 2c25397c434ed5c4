"""What a bench has made: coated pieces, the inserts lost in rejects, and dressed baits.

A bait that was bought is none of them, whatever became of it.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil, floor, inf
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger import LEAVING, computed_once, log_table, midnight, rows_by, sum_in_order, sums_by
from benchwater.ledger.castings import Piece, castings, coatings
from benchwater.ledger.pieces import Body, body_of
from benchwater.ledger.stock import stock_movements
from benchwater.plugin.bench import Build
from benchwater.plugin.season import Season
from benchwater.statistics.proportions import unseen

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
_SAME_BAIT = ("fate", "cause", "water", "angler", "trip", "leader")


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """How many of something were made, step by step: `number` (n,) at `when` (n,), in order of time."""

    when: NDArray[np.datetime64]
    number: FloatArray

    def __len__(self) -> int:
        """How many steps."""
        return len(self.when)

    def __iter__(self) -> Iterator[tuple[datetime, float]]:
        """Each step."""
        return iter(zip(self.when.tolist(), self.number.tolist(), strict=True))

    @property
    def total(self) -> float:
        """All of them."""
        return sum_in_order(self.number)

    def between(self, start: datetime, end: datetime) -> float:
        """How many were made from `start` up to, not including, `end`."""
        inside = (self.when >= np.datetime64(start)) & (self.when < np.datetime64(end))
        return sum_in_order(self.number[inside])


NO_STEPS = Steps(np.zeros(0, dtype="datetime64[us]"), np.zeros(0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Dressed:
    """How many baits of a build were dressed, `number`, with its limits, and how many were on the water.

    The limits hold 95 %, or are what the logs allow at all where that is narrower; where nothing limits the
    number it is the least. It is `known` where the logs leave no room for another.
    """

    number: float
    low: float
    high: float
    seen: float
    known: bool


_NONE_DRESSED = Dressed(number=0.0, low=0.0, high=0.0, seen=0.0, known=True)


@computed_once
def coats_made(season: Season, since: datetime = datetime.min) -> dict[tuple[str, str, str], tuple[int, int]]:
    """By mold, cavity and coat, dipped from `since` on: good pieces, and those to strip or scrap."""
    table = coatings(season)
    table = table[table["date"] >= since]
    dipped, bad = table["count"].to_numpy(), table["rejects"].to_numpy()
    return {
        key: (round(dipped[rows].sum() - bad[rows].sum()), round(bad[rows].sum()))
        for key, rows in rows_by(table, "mold", "cavity", "coat").items()
    }


def spoilt_share(season: Season, insert: str) -> float:
    """The share of the inserts in rejects that are lost with them, 0 to 1.

    All but those `recovered`, over those in rejects up to the day of the last such row; all where none was.
    """
    moved = stock_movements(season)
    rows = moved[(moved["item"] == insert) & (moved["kind"] == "recovered")]
    if rows.empty:
        return 1.0
    poured, day_after = castings(season), rows["date"].max().normalize() + np.timedelta64(1, "D")
    in_rejects = (poured["outcome"] == "reject") & (poured["insert"] == insert)
    rejects = float(poured.loc[in_rejects & (poured["date"] < day_after), "count"].sum())
    return max(0.0, 1.0 - sum_in_order(rows["amount"]) / rejects) if rejects else 1.0


@computed_once
def baits_dressed(season: Season, up_to: datetime) -> dict[str, Dressed]:
    """By build: the baits dressed before `up_to`.

    No log says that a bait was dressed. Bounds come from what other rows say: there are as many as must have
    been there (`seen_at_all`), no more than castings, or good pieces with the coat of the build, and together
    as many as the fittings `used` (a fitting is taken to be used on baits only). Rows that allow fewer than
    were on the water are not complete, and bound nothing. A coated build without fittings and trailer is done
    with its coat.

    Where the bounds differ, the share of dressed baits that were on the water tells: it is taken from the
    builds whose number is known, and a build of which s were seen has about s / share, all of this season: of
    an earlier one every bait may have been seen by now. What was not seen is
    then beta-negative binomial (`unseen`). Without a build that tells, the number is the least that the logs
    allow, and its limits are the bounds.
    """
    on_water, at_all = seen_on_the_water(season), seen_at_all(season)
    fewest = {name: at_all.get(name, NO_STEPS).between(datetime.min, up_to) for name in season.bench.builds}
    seen = {
        name: min(number, on_water.get(name, NO_STEPS).between(datetime.min, up_to))
        for name, number in fewest.items()
    }
    bounds = _bounds(season, fewest, up_to)
    start = midnight(season.start)
    earlier = baits_dressed(season, start) if start < up_to else dict.fromkeys(bounds, _NONE_DRESSED)
    known = [
        name for name, (low, high) in bounds.items() if high - low < 1 and high > 0 and earlier[name].known
    ]
    fished = sum(seen[name] - earlier[name].seen for name in known)
    there = sum(bounds[name][0] - earlier[name].number for name in known)
    found = {}
    for name, (low, high) in bounds.items():
        before, number, limits = earlier[name], low, (low, high if high < inf else low)
        met, is_known = seen[name] - before.seen, high - low < 1
        if not is_known and fished > 0 and met > 0:
            hidden = unseen(met, fished, max(0.0, there - fished))
            number = min(max(low, before.number + met * there / fished), high)
            limits = max(low, before.low + met + hidden[0]), min(high, before.high + met + hidden[1])
        least, most = min(limits[0], number), max(limits[1], number)
        found[name] = Dressed(number=number, low=least, high=most, seen=seen[name], known=is_known)
    return found


@computed_once
def dressing_steps(season: Season) -> dict[str, Steps]:
    """By build: when the baits dressed up to the report's end were, as near as the logs say.

    The steps are those of the build's coats, or of its baits seen where these are more, scaled to the number
    of `baits_dressed`.
    """
    seen, found = seen_at_all(season), {}
    for name, dressed in baits_dressed(season, midnight(season.end)).items():
        build = season.bench.builds[name]
        coated = _done(season, build) if build.coat else NO_STEPS
        steps = _larger_total(coated, seen.get(name, NO_STEPS))
        scale = dressed.number / steps.total if steps.total else 0.0
        found[name] = Steps(steps.when, steps.number * scale)
    return found


def _bounds(season: Season, seen: Mapping[str, float], up_to: datetime) -> dict[str, tuple[float, float]]:
    """The fewest and the most baits of each build that were dressed before `up_to`; inf where nothing limits.

    Sums over builds, of what was coated, cast and used, are narrowed down to each build by what the others
    must have taken of them at least, and can have taken at most.
    """
    builds = season.bench.builds
    low, high = dict(seen), dict.fromkeys(builds, inf)
    sums: list[tuple[Mapping[str, float], float, bool]] = []
    cast, dipped = castings(season), coatings(season)
    cast = cast[(cast["outcome"] == "good") & (cast["date"] < up_to)]
    dipped = dipped[dipped["date"] < up_to]
    good = sums_by(cast, "count", "mold", "cavity")
    coated = sums_by(
        dipped.assign(good=dipped["count"] - dipped["rejects"]), "good", "mold", "cavity", "coat"
    )
    by_body: dict[Piece, dict[str, Build]] = {}
    for name, build in builds.items():
        if (piece := build.head or build.trailer) is not None:
            by_body.setdefault(piece, {})[name] = build
    for body, of_body in by_body.items():
        sums.append((dict.fromkeys(of_body, 1.0), good.get(body, 0.0), False))
        coats = {build.coat for build in of_body.values()} if season.holds("finishing") else set()
        for coat in sorted(filter(None, coats)):
            of_coat = {name: build for name, build in of_body.items() if build.coat == coat}
            (first, *others) = of_coat.values()
            done = not (others or first.fittings or first.trailer)
            sums.append((dict.fromkeys(of_coat, 1.0), coated.get((*body, coat), 0.0), done))
    for item, amount in _fittings_used(season, up_to).items():
        of_item = {name: build.fittings[item] for name, build in builds.items() if item in build.fittings}
        sums.append((of_item, amount, True))
    complete = [each for each in sums if sum(n * seen[name] for name, n in each[0].items()) <= each[1] + 1e-9]
    for _ in range(len(builds) + 1):
        before = dict(low), dict(high)
        for takes, total, exact in complete:
            for name, each in takes.items():
                others_low, others_high = (
                    sum(n * limit[other] for other, n in takes.items() if other != name)
                    for limit in (low, high)
                )
                high[name] = max(low[name], min(high[name], floor((total - others_low) / each + 1e-9)))
                if exact and others_high < inf:
                    least = ceil((total - others_high) / each - 1e-9)
                    low[name] = min(high[name], max(low[name], least))
        if before == (low, high):
            break
    return {name: (low[name], high[name]) for name in builds}


def _fittings_used(season: Season, up_to: datetime) -> dict[str, float]:
    """What was `used` before `up_to` of each fitting that a build takes, where any row ever says so."""
    rows = log_table(season, "inventory", ("item", "move"), ("amount",))
    fittings = {item for build in season.bench.builds.values() for item in build.fittings}
    rows = rows[(rows["move"] == "used") & rows["item"].isin(fittings)]
    before = rows["amount"].where(rows["date"] < up_to, 0.0)
    return sums_by(rows.assign(amount=before), "amount", "item")


@computed_once
def seen_on_the_water(season: Season) -> dict[str, Steps]:
    """By build: the different baits that must have been on the water, when they first were.

    Each tag counts once, and anew after its bait ended; untagged baits count where those of one moment and
    all that ended exceed those met before.
    """
    import pandas as pd

    table = log_table(season, "fishing", ("build", "bait", *_SAME_BAIT), ("count", "fished_h"))
    if table.empty:
        return {}
    habitat = pd.factorize(season.log("fishing")["habitat"].to_numpy(dtype=object))[0]
    table = table.assign(habitat=habitat, ended=table["fate"] != "kept")
    tagged = table["bait"].notna()
    new = pd.concat([_new_tags(table[tagged]), _new_untagged(table[~tagged])])
    new = new.sort_values("date", kind="stable")
    when, number = new["date"].to_numpy(dtype="datetime64[us]"), new["number"].to_numpy()
    return {build: Steps(when[rows], number[rows]) for build, rows in rows_by(new, "build").items()}


def _new_tags(rows: "pd.DataFrame") -> "pd.DataFrame":
    """Each tag of a build once, and anew after its bait ended; the rows are those that name a tag."""
    new = rows["ended"].groupby([rows["build"], rows["bait"]], observed=True).shift(fill_value=True)
    return rows.loc[new, ["build", "date"]].assign(number=1.0)


def _new_untagged(rows: "pd.DataFrame") -> "pd.DataFrame":
    """Baits of each build that must be different ones; the rows are those that name no tag.

    Rows of one moment have no order: as many of them as one row or several equal ones name were different
    baits, and so were all that ended; a bait kept in one row may be the one that ended in another.
    """
    codes = {name: rows[name].cat.codes for name in ("build", *_SAME_BAIT)}
    equal = rows.assign(**codes).groupby(["date", "fished_h", "habitat", *codes], sort=False, dropna=False)
    count = equal["count"].transform("sum")
    ended = rows["count"].where(rows["ended"], 0.0)
    moments = rows.assign(most=count, over=ended).groupby(["build", "date"], observed=True)
    found = moments.agg({"most": "max", "over": "sum"}).reset_index()
    most, over = np.maximum(found["most"], found["over"]).tolist(), found["over"].tolist()
    number = np.zeros(len(found))
    for at in rows_by(found, "build").values():
        met = gone = 0.0
        for row in at.tolist():
            number[row] = max(0.0, gone + most[row] - met)
            met, gone = met + number[row], gone + over[row]
    return found.assign(number=number).loc[number > 0, ["build", "date", "number"]]


@computed_once
def seen_at_all(season: Season) -> dict[str, Steps]:
    """By build: the fewest baits that must have been dressed, when they show: on the water, gone or counted.

    Those on the water, and those lost, worn, given, sold or discarded with the ones counted, were dressed or
    `received`. What the first count of a build shows may be from before the logs: it counts as far as pieces
    with its coat came out good, and not at all where another build takes the same pieces. Later ones count in
    full what they show beyond the first.
    """
    moves = log_table(season, "builds", ("build", "move"), ("amount",))
    fished = log_table(season, "fishing", ("build", "fate"), ("count",))
    found, users = dict(seen_on_the_water(season)), Counter(map(body_of, season.bench.builds.values()))
    for name, rows in rows_by(moves, "build").items():
        build = season.bench.builds[name]
        events = [
            (when, _ORDER[move], amount)
            for when, move, amount in moves.iloc[rows][["date", "move", "amount"]].itertuples(index=False)
        ]
        gone = fished[(fished["build"] == name) & (fished["fate"] != "kept")]
        events += [(when, _GONE, n) for when, n in sums_by(gone, "count", "date").items()]
        events += [(when, _SEEN, n) for when, n in found.get(name, NO_STEPS)]
        found[name] = _fewest(
            sorted((np.datetime64(when, "D"), order, float(n)) for when, order, n in events),
            _done(season, build) if users[body_of(build)] == 1 else NO_STEPS,
        )
    return found


_CAME, _SEEN, _GONE, _COUNTED = range(4)
_ORDER = {"received": _CAME, "counted": _COUNTED, **dict.fromkeys(LEAVING, _GONE)}


def _fewest(events: Sequence[tuple[np.datetime64, int, float]], pieces: Steps) -> Steps:
    """The fewest baits that must have been dressed, from what came, showed, went and was counted."""
    steps: list[tuple[np.datetime64, float]] = []
    total = came = seen = gone = 0.0
    of_shown = of_seen = of_total = 0.0
    is_counted = False
    for day, order, number in events:
        came += number * (order == _CAME)
        seen += number * (order == _SEEN)
        gone += number * (order == _GONE)
        shown = gone + number * (order == _COUNTED) - came
        least = of_total + max(shown - of_shown, seen - came - of_seen)
        if order == _COUNTED and not is_counted:
            made = pieces.between(datetime.min, (day + 1).astype("datetime64[us]").item())
            least = min(shown, max(total, made))
        if least > total:
            steps.append((day, least - total))
            total = least
        if order == _COUNTED and not is_counted:
            is_counted, of_total, of_shown, of_seen = True, total, shown, seen - came + number
    return Steps(
        np.array([day for day, _ in steps], dtype="datetime64[us]"), np.array([each for _, each in steps])
    )


@computed_once
def _pieces_done(season: Season) -> dict[Body, Steps]:
    """When castings came out good, bare ones (coat None) and coated ones."""
    cast, dipped = castings(season), coatings(season)
    cast = cast[cast["outcome"] == "good"]
    dipped = dipped.assign(count=dipped["count"] - dipped["rejects"])
    found: dict[Body, Steps] = {}
    for table, keys in (cast, ("mold", "cavity")), (dipped, ("mold", "cavity", "coat")):
        when, number = table["date"].to_numpy(), table["count"].to_numpy()
        for (mold, cavity, *coat), rows in rows_by(table, *keys).items():
            found[mold, cavity, coat[0] if coat else None] = Steps(when[rows], number[rows])
    return found


def _done(season: Season, build: Build) -> Steps:
    """The pieces that came out good for a build: with its coat, or as cast for one without."""
    body = body_of(build)
    return NO_STEPS if body is None else _pieces_done(season).get(body, NO_STEPS)


def _larger_total(one: Steps, other: Steps) -> Steps:
    """Steps of the larger of two running totals."""
    when, number = np.concatenate([one.when, other.when]), np.concatenate([one.number, other.number])
    of_other = np.arange(len(when)) >= len(one)
    order = np.lexsort((number, of_other, when))
    number, of_other = number[order], of_other[order]
    totals = (np.cumsum(np.where(these, number, 0.0)) for these in (~of_other, of_other))
    most = np.maximum.accumulate(np.concatenate([[0.0], np.maximum(*totals)]))
    more = most[1:] > most[:-1]
    return Steps(when[order][more], np.diff(most)[more])
