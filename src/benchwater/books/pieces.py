"""Pieces: bare castings, coated heads and dressed baits on hand, by what the four logs say came and went.

Poured good, a casting is bare; coated, it leaves the bare ones for those of its coat; a bait lost or worn
takes its head (in its coat) and its trailer with it. No log says which build a piece will become, so builds
of the same head and coat share what there is. Where more went than came, the rest was there before the logs
began: each stock opens with the fewest pieces that keep it from ever falling below none.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from benchwater.books.log_rows import log_rows, number_or_nan
from benchwater.mathematics.stock_level import share_out
from benchwater.plugin.bench import Build
from benchwater.plugin.season import Season

Casting = tuple[str, str]
Body = tuple[str, str, str | None]

POURED, COATED, DRESSED, ENDED = range(4)


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
    for _, _, kept, amount in sorted(_moves(season), key=lambda move: move[:2]):
        (fitted[kept] if isinstance(kept, str) else bodies[kept]).move(amount)
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


def _moves(season: Season) -> Iterator[tuple[date, int, str | Body, float]]:
    """Day, place in the day's work, what is kept, and how much of it came or went."""
    bench = season.bench
    columns = ("date", "mold", "cavity", "outcome", "count")
    for when, mold, cavity, outcome, count in log_rows(season, "pour", *columns):
        if outcome == "good":
            yield when.date(), POURED, (mold, cavity, None), count
    dips = ("date", "mold", "cavity", "coat", "count", "rejects", "cure_temp_c")
    for when, mold, cavity, coat, count, rejects, cure_c in log_rows(season, "finishing", *dips):
        melts_c = bench.items[bench.molds[mold].material].melts_c
        melted = melts_c is not None and number_or_nan(cure_c) >= melts_c
        yield when.date(), COATED, (mold, cavity, None), -(count if melted else count - rejects)
        yield when.date(), COATED, (mold, cavity, coat), count - rejects
    used = {item for build in bench.builds.values() for item in build.fittings}
    for when, item, move, amount in log_rows(season, "inventory", "date", "item", "move", "amount"):
        if move == "used" and item in used:
            yield when.date(), DRESSED, item, amount
    for when, name, fate, count in log_rows(season, "fishing", "date", "build", "fate", "count"):
        if fate != "kept":
            build = bench.builds[name]
            body, trailer = body_of(build), trailer_of(build)
            if body is not None:
                yield when.date(), ENDED, body, -count
            if trailer is not None:
                yield when.date(), ENDED, (*trailer, None), -count
            for item, each in build.fittings.items():
                yield when.date(), ENDED, item, -count * each
