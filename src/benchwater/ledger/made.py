"""What a bench has made: coated pieces, the inserts lost in rejects, and finished baits."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger import computed_once, log_table, rows_by, sum_in_order
from benchwater.ledger.castings import Piece, castings, coatings
from benchwater.ledger.stock import stock_movements
from benchwater.plugin.bench import Build
from benchwater.plugin.season import Season

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


@computed_once
def coats_made(season: Season) -> dict[tuple[str, str, str], tuple[int, int]]:
    """By mold, cavity and coat: the pieces that came out good, and those to strip or scrap."""
    table = coatings(season)
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
def baits_made(season: Season) -> dict[str, Steps]:
    """By build: when so many baits were made, in order of time.

    No log says that a bait was finished, so the nearest ones count, whichever has more by then: pieces with
    the build's own coat that came out good, and baits seen on the water (each tag once, and anew after its
    bait ended; of the untagged as many as must be different ones). A build that neither log could show, as it
    is not kept or the build has no coat, counts with its good castings. Builds made of the same pieces share
    them equally.
    """
    builds, fished = season.bench.builds.values(), season.holds("fishing")
    coated = [build for build in builds if build.coat is not None and season.holds("finishing")]
    seen = _seen_on_the_water(season)
    made = {}
    for build in builds:
        if fished or build in coated:
            sharing = sum((_body(each), each.coat) == (_body(build), build.coat) for each in coated) or 1
            coats = _coats(season, build, sharing) if build in coated else NO_STEPS
            made[build.name] = _larger_total(coats, seen.get(build.name, NO_STEPS))
        else:
            sharing = sum(_body(each) == _body(build) for each in builds if each not in coated)
            made[build.name] = _cast(season, build, sharing)
    return made


def _body(build: Build) -> Piece | None:
    """The casting that carries a bait: its head, or the trailer of one without."""
    return build.head or build.trailer


def _coats(season: Season, build: Build, sharing: int) -> Steps:
    table, body = coatings(season), _body(build)
    if body is None:
        return NO_STEPS
    rows = table[(table["mold"] == body[0]) & (table["cavity"] == body[1]) & (table["coat"] == build.coat)]
    return Steps(rows["date"].to_numpy(), (rows["count"] - rows["rejects"]).to_numpy() / sharing)


def _cast(season: Season, build: Build, sharing: int) -> Steps:
    table, body = castings(season), _body(build)
    if body is None:
        return NO_STEPS
    good = (table["mold"] == body[0]) & (table["cavity"] == body[1]) & (table["outcome"] == "good")
    rows = table[good]
    return Steps(rows["date"].to_numpy(), rows["count"].to_numpy() / sharing)


def _seen_on_the_water(season: Season) -> dict[str, Steps]:
    """By build: new tags, and untagged baits where those of one moment and all that ended exceed them."""
    import pandas as pd

    table = log_table(season, "fishing", ("build", "bait", *_SAME_BAIT), ("count", "fished_h"))
    if table.empty:
        return {}
    habitat = pd.factorize(season.log("fishing")["habitat"].to_numpy(dtype=object))[0]
    table = table.assign(habitat=habitat, ended=table["fate"] != "kept")
    tagged = table["bait"].notna()
    new = pd.concat([_new_tags(table[tagged]), *_new_untagged(table[~tagged])])
    new = new.sort_values("date", kind="stable")
    when, number = new["date"].to_numpy(dtype="datetime64[us]"), new["number"].to_numpy()
    return {build: Steps(when[rows], number[rows]) for build, rows in rows_by(new, "build").items()}


def _new_tags(rows: "pd.DataFrame") -> "pd.DataFrame":
    """Each tag of a build once, and anew after its bait ended; the rows are those that name a tag."""
    new = rows["ended"].groupby([rows["build"], rows["bait"]], observed=True).shift(fill_value=True)
    return rows.loc[new, ["build", "date"]].assign(number=1.0)


def _new_untagged(rows: "pd.DataFrame") -> Iterator["pd.DataFrame"]:
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
    for at in rows_by(found, "build").values():
        most, over = found["most"].to_numpy()[at], found["over"].to_numpy()[at]
        steps, met, gone = [], 0.0, 0.0
        for there, over_now in zip(np.maximum(most, over).tolist(), over.tolist(), strict=True):
            new = max(0.0, gone + there - met)
            met, gone = met + new, gone + over_now
            steps.append(new)
        number = np.array(steps)
        yield found.loc[at[number > 0], ["build", "date"]].assign(number=number[number > 0])


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
