"""What a bench has made: castings by cavity, their mass and yield, coats that held, and finished baits."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from benchwater.ledger import sum_in_order
from benchwater.ledger.castings import Piece, castings
from benchwater.ledger.log_columns import (
    NO_ROWS,
    NOT_RECORDED,
    FloatArray,
    Moments,
    Rows,
    alike,
    as_words,
    grouped,
    moments,
    numbers,
    words,
)
from benchwater.plugin.bench import Build
from benchwater.plugin.season import Season

_SAME_BAIT = ("fate", "cause", "water", "angler", "trip", "habitat", "leader")


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """How many of something were made, step by step: `number` (n,) at `when` (n,), in order of time."""

    when: Moments
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


def coats_made(season: Season) -> dict[tuple[str, str, str], tuple[int, int]]:
    """By mold, cavity and coat: the pieces that came out good, and those to strip or scrap."""
    coated = grouped(season, "finishing", "mold", "cavity", "coat")
    bad = coated.sums(numbers(season, "finishing", "rejects"))
    return {
        key: (round(dipped - bad[key]), round(bad[key]))
        for key, dipped in coated.sums(numbers(season, "finishing", "count")).items()
    }


def spoilt_share(season: Season, insert: str) -> float:
    """The share of the inserts in rejects that are lost with them, 0 to 1.

    From the inventory: those `discarded` over those in rejects up to the day of the last such row; where none
    was discarded, those not `recovered`. Without a row of either kind every one counts as lost.
    """
    moved = grouped(season, "inventory", "item", "move").rows
    thrown, saved = (moved.get((insert, word), NO_ROWS) for word in ("discarded", "recovered"))
    rows = thrown if len(thrown) else saved
    if not len(rows):
        return 1.0
    last = moments(season, "inventory")[rows].max().astype("datetime64[D]")
    table = castings(season)
    in_rejects = (table["outcome"] == "reject") & (table["insert"] == insert)
    by_then = in_rejects & (table["date"] < last + np.timedelta64(1, "D"))
    rejects = table.loc[by_then, "count"].sum()
    amount = sum_in_order(numbers(season, "inventory", "amount")[rows])
    share = min(1.0, amount / float(rejects)) if rejects else 1.0
    return share if len(thrown) else 1.0 - share


def baits_made(season: Season) -> dict[str, Steps]:
    """By build: when so many baits were made, in order of time.

    No log says that a bait was finished, so those nearest to it tell, whichever tells of more by then: pieces
    with the build's own coat that came out good, and baits seen on the water (each tag once, and anew after
    its bait ended; of the untagged as many as must be different ones). A build that neither log could tell
    of, as it is not kept or the build has no coat, counts with its good castings. Pieces that could become
    several builds alike are shared equally.
    """
    builds, fished = season.bench.builds.values(), season.holds("fishing")
    coated = [build for build in builds if build.coat is not None and season.holds("finishing")]
    seen = _seen_on_the_water(season)
    made = {}
    for build in builds:
        if fished or build in coated:
            alike = sum((_body(each), each.coat) == (_body(build), build.coat) for each in coated) or 1
            coats = _coats(season, build, alike) if build in coated else NO_STEPS
            made[build.name] = _whichever_is_more(coats, seen.get(build.name, NO_STEPS))
        else:
            alike = sum(_body(each) == _body(build) for each in builds if each not in coated)
            made[build.name] = _cast(season, build, alike)
    return made


def _body(build: Build) -> Piece | None:
    """The casting that carries a bait: its head, or the trailer of one without."""
    return build.head or build.trailer


def _coats(season: Season, build: Build, alike: int) -> Steps:
    body = _body(build)
    coated = grouped(season, "finishing", "mold", "cavity", "coat").rows
    rows = NO_ROWS if body is None else coated.get((*body, build.coat), NO_ROWS)
    dipped, bad = (numbers(season, "finishing", column)[rows] for column in ("count", "rejects"))
    return Steps(moments(season, "finishing")[rows], (dipped - bad) / alike)


def _cast(season: Season, build: Build, alike: int) -> Steps:
    poured, body = castings(season), _body(build)
    if body is None:
        return NO_STEPS
    good = (poured["mold"] == body[0]) & (poured["cavity"] == body[1]) & (poured["outcome"] == "good")
    rows = poured[good]
    return Steps(rows["date"].to_numpy(), rows["count"].to_numpy() / alike)


def _seen_on_the_water(season: Season) -> dict[str, Steps]:
    """By build: new tags, and untagged baits where those of one moment and all that ended exceed them."""
    builds = words(season, "fishing", "build")
    found = {}
    for build in builds.names:
        rows = np.flatnonzero(builds.are(build))
        tagged = words(season, "fishing", "bait").codes[rows] != NOT_RECORDED
        tags, others = _new_tags(season, rows[tagged]), _new_untagged(season, rows[~tagged])
        when = np.concatenate([tags.when, others.when])
        order = np.argsort(when, kind="stable")
        found[build] = Steps(when[order], np.concatenate([tags.number, others.number])[order])
    return found


def _new_tags(season: Season, rows: Rows) -> Steps:
    """Each tag once, and anew after its bait ended; the rows are those of one build that name a tag."""
    tags = words(season, "fishing", "bait").codes[rows]
    kept = words(season, "fishing", "fate").are("kept")[rows]
    order = np.argsort(tags, kind="stable")
    goes_on = np.zeros(len(rows), dtype=bool)
    goes_on[order[1:]] = (tags[order[1:]] == tags[order[:-1]]) & kept[order[:-1]]
    return Steps(moments(season, "fishing")[rows[~goes_on]], np.ones(int((~goes_on).sum())))


def _new_untagged(season: Season, rows: Rows) -> Steps:
    """Baits that must be different ones; the rows are those of one build that name no tag.

    Rows of one moment have no order: as many of them as one row or several equal ones name were different
    baits, and so were all that ended; a bait kept in one row may be the one that ended in another.
    """
    when, count = moments(season, "fishing")[rows], numbers(season, "fishing", "count")[rows]
    ends = np.where(words(season, "fishing", "fate").are("kept")[rows], 0.0, count)
    at = as_words(when)
    told = [words(season, "fishing", column).take(rows) for column in _SAME_BAIT]
    same, first = alike(at, as_words(numbers(season, "fishing", "fished_h")[rows]), *told)
    most = np.zeros(len(at.names))
    np.maximum.at(most, at.codes[first], np.bincount(same, count, len(first)))
    over = np.bincount(at.codes, ends, len(at.names))
    steps, met, ended = [], 0.0, 0.0
    for moment, there in enumerate(np.maximum(most, over).tolist()):
        new = max(0.0, ended + there - met)
        met, ended = met + new, ended + over[moment]
        steps.append(new)
    number = np.array(steps)
    return Steps(np.unique(when)[number > 0], number[number > 0])


def _whichever_is_more(one: Steps, other: Steps) -> Steps:
    """Steps of the larger of two running totals."""
    when, number = np.concatenate([one.when, other.when]), np.concatenate([one.number, other.number])
    of_other = np.arange(len(when)) >= len(one)
    order = np.lexsort((number, of_other, when))
    number, of_other = number[order], of_other[order]
    totals = (np.cumsum(np.where(these, number, 0.0)) for these in (~of_other, of_other))
    most = np.maximum.accumulate(np.concatenate([[0.0], np.maximum(*totals)]))
    more = most[1:] > most[:-1]
    return Steps(when[order][more], np.diff(most)[more])
