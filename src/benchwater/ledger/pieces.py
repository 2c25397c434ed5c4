"""Pieces on hand: bare castings, coated heads and dressed baits, by what four logs say came and went.

A good casting is bare; a coat moves it from the bare ones to those of its coat; a bait that is gone (lost,
worn, given, sold or discarded) takes its head (in its coat) and its trailer with it, one received brings
them. No log says which build a piece will become, so builds of the same head and coat share what there is.
Where a maker counts finished baits there are that many; once every build of a coated head is counted on a
day, no other such head is there. Where more went than came, the rest was there before the logs began: each
stock opens with the fewest pieces that keep it from ever falling below 0.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from benchwater.ledger import LEAVING, log_table
from benchwater.plugin.bench import Bench, Build
from benchwater.plugin.season import Season
from benchwater.statistics.stock_level import share_out

Casting = tuple[str, str]
Body = tuple[str, str, str | None]

SOFTENING_MARGIN_C = 10.0
"""How far below the start of melting a cure must stay. A project choice, no published source: an oven's
own thermostat swings by about as much."""

POURED, COATED, DRESSED, GONE, COUNTED = range(5)
_STOCK = ["mold", "cavity", "coat", "item"]
_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True)
class Pieces:
    """The pieces on hand at the report's end.

    `bodies` are castings, bare (coat None) and coated, those on baits too. `fitted` is how much of each
    fitting is on baits that are still there. `earlier` is the part of the bodies made before the logs began.
    `counted` are finished baits by build, where the maker counted them: the last count, and what came and
    went since.
    """

    bodies: Mapping[Body, int]
    fitted: Mapping[str, float]
    earlier: Mapping[Body, int]
    counted: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Shares:
    """Baits on hand by build (none where it has no casting); castings lacking, by casting and build."""

    on_hand: dict[str, int]
    lacking: dict[Casting, dict[str, int]]


@dataclass(slots=True)
class _Stock:
    amount: float = 0.0
    earlier: float = 0.0

    def move(self, amount: float) -> None:
        self.amount += amount
        self.count(0.0)

    def count(self, amount: float, *, all_of_it: bool = False) -> None:
        """Set to the amount, or raise to it where it is not `all_of_it`."""
        self.earlier += max(0.0, amount - self.amount)
        self.amount = amount if all_of_it else max(self.amount, amount)


def body_of(build: Build) -> Body | None:
    """The casting a build is built on, in its coat: its head, or its trailer where it has none."""
    casting = build.head or build.trailer
    return None if casting is None else (*casting, build.coat)


def trailer_of(build: Build) -> Casting | None:
    """The trailer a build carries besides its body."""
    return build.trailer if build.head is not None else None


def pieces_on_hand(season: Season) -> Pieces:
    """The pieces on hand at the report's end, from every row before it.

    A piece rejected at its coat is stripped and bare again, unless its oven was at least as hot as its metal
    melts: then it is gone. What comes and goes on one day does so in the order of the work.
    """
    bodies: defaultdict[Body, _Stock] = defaultdict(_Stock)
    fitted: defaultdict[str, _Stock] = defaultdict(_Stock)
    for mold in season.bench.molds.values():
        for cavity in mold.cavities:
            bodies[mold.name, cavity, None].move(0)
    moves = piece_moves(season)
    steps = moves.groupby([*_STOCK, "day", "step"], observed=True)["amount"].sum()
    by_stock: defaultdict[Any, list[tuple[Any, int, float, bool]]] = defaultdict(list)
    for (*key, day, step), amount in zip(steps.index, steps.tolist(), strict=True):
        by_stock[tuple(key)].append((day, step, amount, False))
    for key, day, amount, all_of_it in _counts(season):
        by_stock[key].append((day, COUNTED, amount, all_of_it))
    for key in dict.fromkeys([*moves[_STOCK].itertuples(index=False, name=None), *by_stock]):
        mold, cavity, coat, item = key
        stock = fitted[item] if item else bodies[mold, cavity, coat or None]
        for _, step, amount, all_of_it in sorted(by_stock[key]):
            if step == COUNTED:
                stock.count(amount, all_of_it=all_of_it)
            else:
                stock.move(amount)
    return Pieces(
        bodies={body: round(stock.amount) for body, stock in bodies.items()},
        fitted={item: stock.amount for item, stock in fitted.items()},
        earlier={body: round(stock.earlier) for body, stock in bodies.items() if stock.earlier},
        counted=_counted_now(season),
    )


class Claims:
    """Which builds draw on the pieces of each casting, so that one casting can be shared out by itself."""

    def __init__(self, builds: Iterable[Build]) -> None:
        self._with_body: defaultdict[Casting, dict[str | None, list[str]]] = defaultdict(dict)
        self._with_trailer: defaultdict[Casting, list[str]] = defaultdict(list)
        for build in builds:
            if (body := body_of(build)) is not None:
                self._with_body[body[0], body[1]].setdefault(body[2], []).append(build.name)
            if (trailer := trailer_of(build)) is not None:
                self._with_trailer[trailer].append(build.name)

    def share(
        self, pieces: Pieces, casting: Casting, targets: Mapping[str, int]
    ) -> tuple[dict[str, int], dict[str, int]]:
        """Baits on hand of the builds on that casting, and how many of it each build lacks.

        Finished baits that were counted are their build's. Coated ones go to the builds of their head and
        coat. Bare castings serve heads still to be coated, trailers (one for each bait of the target: those
        on baits are among the castings) and bare builds; where they do not go round, each gets in proportion,
        and what nobody needs is left to the bare builds that were not counted.
        """
        asking = [(name, targets[name]) for name in self._with_trailer[casting]]
        on_hand: dict[str, int] = {}
        for coat, names in self._with_body[casting].items():
            if coat is not None:
                sure = [pieces.counted.get(name, 0) for name in names]
                rest = max(0, pieces.bodies.get((*casting, coat), 0) - sum(sure))
                wanted = [targets[name] for name in names]
                open_ = [max(0, target - count) for target, count in zip(wanted, sure, strict=True)]
                given = share_out(rest, open_ if sum(open_) else wanted)
                for name, count, more in zip(names, sure, given, strict=True):
                    on_hand[name] = count + more
                    asking.append((name, max(0, targets[name] - on_hand[name])))
        names = self._with_body[casting].get(None, [])
        sure = [pieces.counted.get(name, 0) for name in names]
        pool = max(0, pieces.bodies.get((*casting, None), 0) - sum(sure))
        bare = [(name, max(0, targets[name] - count)) for name, count in zip(names, sure, strict=True)]
        asking += bare
        asked = [count for _, count in asking]
        got = share_out(pool, asked) if sum(asked) > pool else asked
        for name, counted, count in zip(names, sure, got[len(asking) - len(bare) :], strict=True):
            on_hand[name] = counted + count
        uncounted = [(name, target) for name, target in bare if name not in pieces.counted]
        spare = share_out(max(0, pool - sum(asked)), [target for _, target in uncounted])
        for (name, _), more in zip(uncounted, spare, strict=True):
            on_hand[name] += more
        lack: Counter[str] = Counter()
        for (name, want), have in zip(asking, got, strict=True):
            lack[name] += want - have
        return on_hand, {name: count for name, count in lack.items() if count > 0}


def share_pieces(pieces: Pieces, targets: Sequence[tuple[Build, int]]) -> Shares:
    """Give every build its share of the pieces towards its target of baits, and say which castings lack."""
    claims, wanted = Claims(build for build, _ in targets), {build.name: target for build, target in targets}
    shares = Shares({}, {})
    for mold, cavity in [(mold, cavity) for mold, cavity, coat in pieces.bodies if coat is None]:
        on_hand, lacking = claims.share(pieces, (mold, cavity), wanted)
        shares.on_hand.update(on_hand)
        shares.lacking[mold, cavity] = lacking
    return shares


def piece_moves(season: Season) -> pd.DataFrame:
    """What came to each stock of pieces, and went from it, by day and step of the day's work.

    | column | meaning |
    |---|---|
    | `mold`, `cavity` | the casting; empty for a fitting |
    | `coat` | the casting's coat; empty where it is bare, and for a fitting |
    | `item` | the fitting; empty for a casting |
    | `day` | datetime64, the start of the day |
    | `step` | 0 poured, 1 coated, 2 dressed or received as a bait, 3 gone with a bait |
    | `amount` | pieces, or the fitting's unit; above 0 came, below 0 went |

    A row may have the amount 0. A stock's first rows are in the order of the logs.
    """
    parts = [*_poured(season), *_coated(season), *_dressed(season), *_gone(season), *_dealt(season)]
    columns = [*_STOCK, "day", "step", "amount"]
    return pd.concat(parts, ignore_index=True)[columns] if parts else pd.DataFrame(columns=columns)


def _by_day(
    rows: pd.DataFrame, step: int, amount: "pd.Series[float]", columns: Sequence[str]
) -> pd.DataFrame:
    """Amounts (one a row) summed by day and the named columns; the other columns of a stock are empty."""
    moved = rows[[*columns]].assign(day=rows["date"].dt.normalize(), amount=amount)
    by = [*columns, "day"]
    sums = moved.groupby(by, observed=True, sort=False)["amount"].sum().reset_index()
    return sums.assign(step=step, **dict.fromkeys(set(_STOCK) - set(columns), ""))


def _poured(season: Season) -> Iterator[pd.DataFrame]:
    if season.holds("pour"):
        rows = season.log("pour")
        rows = rows[rows["outcome"] == "good"]
        yield _by_day(rows, POURED, rows["count"], ("mold", "cavity"))


def _coated(season: Season) -> Iterator[pd.DataFrame]:
    if season.holds("finishing"):
        bench, rows = season.bench, season.log("finishing")
        melts_c = {name: bench.items[mold.material].melts_c for name, mold in bench.molds.items()}
        limits_c = {name: np.inf if melts is None else melts for name, melts in melts_c.items()}
        melted = rows["cure_temp_c"] >= rows["mold"].map(limits_c).astype(float)
        good = rows["count"] - rows["rejects"]
        yield _by_day(rows, COATED, -good.where(~melted, rows["count"]), ("mold", "cavity"))
        yield _by_day(rows, COATED, good, ("mold", "cavity", "coat"))


def _dressed(season: Season) -> Iterator[pd.DataFrame]:
    if season.holds("inventory"):
        rows = season.log("inventory")
        fittings = {item for build in season.bench.builds.values() for item in build.fittings}
        rows = rows[(rows["move"] == "used") & rows["item"].isin(fittings)]
        yield _by_day(rows, DRESSED, rows["amount"], ("item",))


def _gone(season: Season) -> Iterator[pd.DataFrame]:
    """What baits took with them that are gone by the fishing log; amount 0 for kept baits."""
    if season.holds("fishing"):
        rows = season.log("fishing")
        gone = -rows["count"].where(rows["fate"] != "kept", 0)
        yield _with_parts(season, _by_day(rows, GONE, gone, ("build",)))


def _dealt(season: Season) -> Iterator[pd.DataFrame]:
    """What baits brought and took with them by the inventory log."""
    if season.holds("builds"):
        rows = season.log("builds")
        came = rows[rows["move"] == "received"]
        yield _with_parts(season, _by_day(came, DRESSED, came["amount"], ("build",)))
        gone = rows[rows["move"].isin(LEAVING)]
        yield _with_parts(season, _by_day(gone, GONE, -gone["amount"], ("build",)))


def _parts(build: Build) -> Iterator[tuple[tuple[str, str, str, str], float]]:
    """The stock of each part of a bait, and how many of it one bait takes."""
    body, trailer = body_of(build), trailer_of(build)
    if body is not None:
        yield (body[0], body[1], body[2] or "", ""), 1.0
    for item, each in build.fittings.items():
        yield ("", "", "", item), each
    if trailer is not None:
        yield (*trailer, "", ""), 1.0


def _with_parts(season: Season, baits: pd.DataFrame) -> pd.DataFrame:
    """Amounts of baits by day as amounts of their parts."""
    parts = [
        (name, *stock, each) for name, build in season.bench.builds.items() for stock, each in _parts(build)
    ]
    baits = baits[["build", "day", "step", "amount"]].astype({"build": object})
    taken = baits.merge(pd.DataFrame(parts, columns=["build", *_STOCK, "each"], dtype=object), on="build")
    return taken.assign(amount=(taken["amount"] * taken["each"]).astype(float))


def _counts(season: Season) -> Iterator[tuple[tuple[str, str, str, str], Any, float, bool]]:
    """For each day of a count, the least that was there of each stock, and whether it was all of it."""
    if not season.holds("builds"):
        return
    rows, builds = season.log("builds"), season.bench.builds
    rows = rows[rows["move"] == "counted"]
    rows = rows.assign(day=rows["date"].dt.normalize()).drop_duplicates(["build", "day"], keep="last")
    of_body: defaultdict[Body | None, set[str]] = defaultdict(set)
    for name, build in builds.items():
        of_body[body_of(build)].add(name)
    for day, of_day in rows.groupby("day"):
        counted = dict(zip(of_day["build"], of_day["amount"], strict=True))
        least: Counter[tuple[str, str, str, str]] = Counter()
        for name, number in counted.items():
            for stock, each in _parts(builds[name]):
                least[stock] += number * each
        for stock, number in least.items():
            mold, cavity, coat, _ = stock
            yield stock, day, float(number), bool(coat) and of_body[mold, cavity, coat] <= counted.keys()


def _counted_now(season: Season) -> dict[str, int]:
    """Finished baits by build, where they were counted: the last count, and what came and went since."""
    if not season.holds("builds"):
        return {}
    rows, found = season.log("builds"), {}
    fished = log_table(season, "fishing", ("build", "fate"), ("count",))
    gone = fished[fished["fate"] != "kept"]
    for name, number, date in rows.loc[rows["move"] == "counted", ["build", "amount", "date"]].itertuples(
        index=False
    ):
        after = date.normalize() + np.timedelta64(1, "D")
        later = rows[(rows["build"] == name) & (rows["date"] >= after)]
        came = later.loc[later["move"] == "received", "amount"].sum()
        went = later.loc[later["move"].isin(LEAVING), "amount"].sum()
        lost = gone.loc[(gone["build"] == name) & (gone["date"] >= after), "count"].sum()
        found[name] = max(0, int(number + came - went - lost))
    return found


def softens(cure_c: float, melts_c: float) -> bool:
    """Whether a cure comes within SOFTENING_MARGIN_C of `melts_c`, where the alloy begins to melt.

    The solidus, and not the liquidus, is what counts: a part with a little liquid in it already slumps
    (Callister, Materials Science and Engineering, on hot shortness; from memory).
    """
    return cure_c > melts_c - SOFTENING_MARGIN_C - _ROUNDING


def cures_that_melt(bench: Bench) -> dict[str, str]:
    """Each build whose coat, at its coolest, cures where its head softens; from where both do, in words."""
    found = {}
    for build in bench.builds.values():
        cure = bench.items[build.coat].cure if build.coat else None
        alloy = bench.items[bench.material_of(build.head[0])] if build.head else None
        start = None if cure is None else cure.min_temp_c
        melts = None if alloy is None or alloy.kind != "metal" else alloy.melts_c
        if start is not None and alloy is not None and melts is not None and softens(start, melts):
            heat, end = bench.show(start, "degC"), bench.show(melts, "degC")
            found[build.name] = f"{build.coat} cures from {heat}, {alloy.name} melts from {end}"
    return found
