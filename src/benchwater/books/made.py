"""What a bench has made: castings by cavity, their mass and yield, coats that held, and finished baits."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby

from benchwater.books.log_rows import log_rows
from benchwater.plugin.bench import Build
from benchwater.plugin.season import Season

Piece = tuple[str, str]
Steps = list[tuple[datetime, float]]

_COAT_COLUMNS = ("mold", "cavity", "coat", "count", "rejects")
_POUR_COLUMNS = ("date", "mold", "cavity", "outcome", "count")


@dataclass(slots=True)
class Castings:
    """The castings of one cavity: good ones by material, and rejects; warm-up fills are in neither."""

    good_of: dict[str, int] = field(default_factory=dict)
    rejects: int = 0

    @property
    def good(self) -> int:
        """Good castings of any material."""
        return sum(self.good_of.values())


def castings_made(season: Season) -> dict[Piece, Castings]:
    """The castings of every cavity of the bench up to the report's end, none where none were poured."""
    bench = season.bench
    made = {(mold.name, cavity): Castings() for mold in bench.molds.values() for cavity in mold.cavities}
    columns = ("mold", "cavity", "outcome", "count", "material")
    for mold, cavity, outcome, count, poured in log_rows(season, "pour", *columns):
        cast = made[mold, cavity]
        if outcome == "good":
            material = bench.material_of(mold, poured if isinstance(poured, str) else None)
            cast.good_of[material] = cast.good_of.get(material, 0) + count
        elif outcome == "reject":
            cast.rejects += count
    return made


def coats_made(season: Season) -> dict[tuple[str, str, str], tuple[int, int]]:
    """By mold, cavity and coat: the pieces that came out good, and those to strip or scrap."""
    made: defaultdict[tuple[str, str, str], tuple[int, int]] = defaultdict(lambda: (0, 0))
    for mold, cavity, coat, count, rejects in log_rows(season, "finishing", *_COAT_COLUMNS):
        good, bad = made[mold, cavity, coat]
        made[mold, cavity, coat] = good + count - rejects, bad + rejects
    return dict(made)


def spoilt_share(season: Season, insert: str) -> float:
    """The share of the inserts in rejects that are lost with them, 0 to 1.

    From the inventory: those `discarded` over those in rejects up to the day of the last such row; where none
    was discarded, those not `recovered`. Without a row of either kind every one counts as lost.
    """
    rows = list(log_rows(season, "inventory", "date", "item", "move", "amount"))
    thrown, saved = (
        [(when, amount) for when, item, move, amount in rows if (item, move) == (insert, word)]
        for word in ("discarded", "recovered")
    )
    last = max((when for when, _ in thrown or saved), default=None)
    if last is None:
        return 1.0
    rejects = sum(
        count
        for when, mold, cavity, outcome, count in log_rows(season, "pour", *_POUR_COLUMNS)
        if outcome == "reject"
        and season.bench.cavity(mold, cavity).insert == insert
        and when.date() <= last.date()
    )
    amount = float(sum(amount for _, amount in thrown or saved))
    share = min(1.0, amount / rejects) if rejects else 1.0
    return share if thrown else 1.0 - share


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
            coats = [(when, good / alike) for when, good in _coats(season, build)] if build in coated else []
            made[build.name] = _whichever_is_more(coats, seen.get(build.name, []))
        else:
            alike = sum(_body(each) == _body(build) for each in builds if each not in coated)
            made[build.name] = [(when, good / alike) for when, good in _cast(season, build)]
    return made


def made_between(steps: Iterable[tuple[datetime, float]], start: datetime, end: datetime) -> float:
    """How many were made from `start` up to, not including, `end`."""
    return sum((number for when, number in steps if start <= when < end), 0.0)


def _body(build: Build) -> Piece | None:
    """The casting that carries a bait: its head, or the trailer of one without."""
    return build.head or build.trailer


def _coats(season: Season, build: Build) -> Iterator[tuple[datetime, int]]:
    for when, mold, cavity, coat, count, rejects in log_rows(season, "finishing", "date", *_COAT_COLUMNS):
        if (mold, cavity) == _body(build) and coat == build.coat:
            yield when, count - rejects


def _cast(season: Season, build: Build) -> Iterator[tuple[datetime, int]]:
    for when, mold, cavity, outcome, count in log_rows(season, "pour", *_POUR_COLUMNS):
        if (mold, cavity) == _body(build) and outcome == "good":
            yield when, count


def _seen_on_the_water(season: Season) -> dict[str, Steps]:
    """By build: new tags, and untagged baits once those of one moment and all that ended before exceed them.

    Rows of one moment have no order: as many of them as one row or several equal ones name were different
    baits, and so were all that ended; a bait kept in one row may be the one that ended in another.
    """
    seen: defaultdict[str, Steps] = defaultdict(list)
    alive: set[tuple[str, str]] = set()
    ended: defaultdict[str, int] = defaultdict(int)
    untagged: defaultdict[str, int] = defaultdict(int)
    columns = ("date", "build", "bait", "fate", "count")
    alike = ("fished_h", "cause", "water", "angler", "trip", "habitat", "leader")
    for when, rows in groupby(log_rows(season, "fishing", *columns, *alike), key=lambda row: row[0]):
        here: defaultdict[str, Counter[str]] = defaultdict(Counter)
        over: Counter[str] = Counter()
        for _, build, tag, fate, count, *words in rows:
            if isinstance(tag, str):
                if (build, tag) not in alive:
                    seen[build].append((when, 1.0))
                alive.add((build, tag))
                if fate != "kept":
                    alive.discard((build, tag))
            else:
                here[build][f"{fate} {words}"] += count
                over[build] += count if fate != "kept" else 0
        for build, counts in here.items():
            new = max(0, ended[build] + max(over[build], *counts.values()) - untagged[build])
            untagged[build] += new
            ended[build] += over[build]
            if new:
                seen[build].append((when, float(new)))
    return dict(seen)


def _whichever_is_more(one: Steps, other: Steps) -> Steps:
    """Steps of the larger of two running totals."""
    steps: Steps = []
    totals, so_far = [0.0, 0.0], 0.0
    for when, which, number in sorted([(w, 0, n) for w, n in one] + [(w, 1, n) for w, n in other]):
        totals[which] += number
        if max(totals) > so_far:
            steps.append((when, max(totals) - so_far))
            so_far = max(totals)
    return steps
