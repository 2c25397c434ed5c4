"""Pieces: bare castings, coated heads and dressed baits on hand, by what the four logs say came and went.

Poured good, a casting is bare; coated, it leaves the bare ones for those of its coat; a bait lost or worn
takes its head (in its coat) and its trailer with it. No log says which build a piece will become, so builds
of the same head and coat share what there is. Where more went than came, the rest was there before the logs
began: each stock opens with the fewest pieces that keep it from ever falling below none.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from benchwater.ledger import rows_by
from benchwater.ledger.castings import castings
from benchwater.ledger.log_columns import FloatArray, Moments, grouped, moments, numbers, words
from benchwater.plugin.bench import Build
from benchwater.plugin.season import Season
from benchwater.statistics.stock_level import share_out

Casting = tuple[str, str]
Body = tuple[str, str, str | None]

_WORK = POURED, COATED, DRESSED, ENDED = range(4)


@dataclass(frozen=True, slots=True)
class Pieces:
    """What is there at the report's end.

    `bodies` are bare castings (coat None) and coated ones; those on baits count too. `fitted` is how much of
    each fitting sits on baits that are still there. `earlier` is the part of the bodies made before the logs.
    """

    bodies: Mapping[Body, int]
    fitted: Mapping[str, float]
    earlier: Mapping[Body, int]


@dataclass(frozen=True, slots=True)
class Shares:
    """Baits on hand by build (none where it has no casting); castings lacking, by casting and build."""

    on_hand: Mapping[str, int]
    lacking: Mapping[Casting, Mapping[str, int]]


@dataclass(slots=True)
class _Stock:
    amount: float = 0.0
    earlier: float = 0.0

    def move(self, amount: float) -> None:
        self.amount += amount
        if self.amount < 0:
            self.earlier, self.amount = self.earlier - self.amount, 0.0


def body_of(build: Build) -> Body | None:
    """The casting a build is built on, in its coat: its head, or its trailer where it has none."""
    casting = build.head or build.trailer
    return None if casting is None else (*casting, build.coat)


def trailer_of(build: Build) -> Casting | None:
    """The trailer a build carries besides its body."""
    return build.trailer if build.head is not None else None


def pieces_on_hand(season: Season) -> Pieces:
    """The pieces on hand at the report's end, from every row before it.

    A piece rejected at its coat is taken to be stripped and bare again, unless its oven was at least as hot
    as its metal melts: then it is gone. Whatever comes and goes on one day is taken in the order of the work.
    """
    bodies: defaultdict[Body, _Stock] = defaultdict(_Stock)
    fitted: defaultdict[str, _Stock] = defaultdict(_Stock)
    for mold in season.bench.molds.values():
        for cavity in mold.cavities:
            bodies[mold.name, cavity, None].move(0)
    for kept, moves in _moves_of_each(season).items():
        stock = fitted[kept] if isinstance(kept, str) else bodies[kept]
        for amount in moves:
            stock.move(amount)
    return Pieces(
        bodies={body: round(stock.amount) for body, stock in bodies.items()},
        fitted={item: stock.amount for item, stock in fitted.items()},
        earlier={body: round(stock.earlier) for body, stock in bodies.items() if stock.earlier},
    )


def share_pieces(pieces: Pieces, targets: Sequence[tuple[Build, int]]) -> Shares:
    """Give every build its share of the pieces towards its target of baits, and say which castings lack.

    Coated ones go to the builds of their head and coat. Bare castings serve heads still to be coated,
    trailers (one for each bait of the target: those on baits are among the castings) and bare builds; where
    they do not go round, each gets in proportion, and what nobody needs is left to the bare builds.
    """
    by_body: defaultdict[Body, list[tuple[str, int]]] = defaultdict(list)
    claims: defaultdict[Casting, list[tuple[str, int]]] = defaultdict(list)
    for build, target in targets:
        if (body := body_of(build)) is not None:
            by_body[body].append((build.name, target))
        if (trailer := trailer_of(build)) is not None:
            claims[trailer].append((build.name, target))
    on_hand: dict[str, int] = {}
    for (mold, cavity, coat), builds in by_body.items():
        if coat is not None:
            shares = share_out(pieces.bodies.get((mold, cavity, coat), 0), [target for _, target in builds])
            for (name, target), count in zip(builds, shares, strict=True):
                on_hand[name] = count
                claims[mold, cavity].append((name, max(0, target - count)))
    lacking: dict[Casting, dict[str, int]] = {}
    for mold, cavity in [(mold, cavity) for mold, cavity, coat in pieces.bodies if coat is None]:
        pool, bare = pieces.bodies[mold, cavity, None], by_body[mold, cavity, None]
        asking = [*claims[mold, cavity], *bare]
        asked = [count for _, count in asking]
        got = share_out(pool, asked) if sum(asked) > pool else asked
        spare = share_out(max(0, pool - sum(asked)), [target for _, target in bare])
        for (name, _), count, more in zip(bare, got[len(asking) - len(bare) :], spare, strict=True):
            on_hand[name] = count + more
        lack: Counter[str] = Counter()
        for (name, want), have in zip(asking, got, strict=True):
            lack[name] += want - have
        lacking[mold, cavity] = {name: count for name, count in lack.items() if count > 0}
    return Shares(on_hand, lacking)


class _Moves(NamedTuple):
    """What came of one thing (or went, below 0) in one step of a day's work: `amount` (n,) at `when` (n,)."""

    kept: str | Body
    place: int
    when: Moments
    amount: FloatArray


def _moves_of_each(season: Season) -> dict[str | Body, list[float]]:
    """By what is kept: what came or went, added up over each step of each day's work, in that order.

    In one step a thing only comes, or only goes.
    """
    import pandas as pd

    parts: defaultdict[str | Body, list[_Moves]] = defaultdict(list)
    for moves in _moves(season):
        parts[moves.kept].append(moves)
    found = {}
    for kept, several in parts.items():
        days = np.concatenate([moves.when.astype("datetime64[D]").astype(np.int64) for moves in several])
        places = np.repeat([moves.place for moves in several], [len(moves.when) for moves in several])
        step, steps = pd.factorize(days * len(_WORK) + places, sort=True)
        amounts = np.concatenate([moves.amount for moves in several])
        found[kept] = np.bincount(step, amounts, len(steps)).tolist()
    return found


def _moves(season: Season) -> Iterator[_Moves]:
    bench = season.bench
    poured = castings(season)
    poured = poured[poured["outcome"] == "good"]
    when, count = poured["date"].to_numpy(), poured["count"].to_numpy()
    for piece, rows in rows_by(poured, "mold", "cavity").items():
        yield _Moves((*piece, None), POURED, when[rows], count[rows])
    when, dipped, bad, cure_c = (
        moments(season, "finishing"),
        *(numbers(season, "finishing", column) for column in ("count", "rejects", "cure_temp_c")),
    )
    for (mold, cavity, coat), rows in grouped(season, "finishing", "mold", "cavity", "coat").rows.items():
        melts_c = bench.items[bench.molds[mold].material].melts_c
        melted = cure_c[rows] >= (np.inf if melts_c is None else melts_c)
        good = dipped[rows] - bad[rows]
        yield _Moves((mold, cavity, None), COATED, when[rows], -np.where(melted, dipped[rows], good))
        yield _Moves((mold, cavity, coat), COATED, when[rows], good)
    fittings = {item for build in bench.builds.values() for item in build.fittings}
    when, amount = moments(season, "inventory"), numbers(season, "inventory", "amount")
    for (item, move), rows in grouped(season, "inventory", "item", "move").rows.items():
        if move == "used" and item in fittings:
            yield _Moves(item, DRESSED, when[rows], amount[rows])
    when, count = moments(season, "fishing"), numbers(season, "fishing", "count")
    kept = words(season, "fishing", "fate").are("kept")
    for (name,), rows in grouped(season, "fishing", "build").rows.items():
        build, gone = bench.builds[name], rows[~kept[rows]]
        body, trailer = body_of(build), trailer_of(build)
        taken: list[tuple[str | Body | None, float]] = [(body, 1.0), *build.fittings.items()]
        taken += [((*trailer, None), 1.0)] if trailer is not None else []
        for part, each in taken:
            if part is not None:
                yield _Moves(part, ENDED, when[gone], -count[gone] * each)
