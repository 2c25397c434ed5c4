"""Pieces on hand: bare castings, coated heads and dressed baits, by what four logs say came and went.

A good casting is bare; a coat moves it from the bare ones to those of its coat; a bait lost or worn takes its
head (in its coat) and its trailer with it. No log says which build a piece will become, so builds of the same
head and coat share what there is. Where more went than came, the rest was there before the logs began: each
stock opens with the fewest pieces that keep it from ever falling below 0.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from benchwater.plugin.bench import Build
from benchwater.plugin.season import Season
from benchwater.statistics.stock_level import share_out

Casting = tuple[str, str]
Body = tuple[str, str, str | None]

SOFTENING_MARGIN_C = 10.0
"""How far below the start of melting a cure must stay. A project choice, no published source: an oven's
own thermostat swings by about as much."""

POURED, COATED, DRESSED, ENDED = range(4)
_STOCK = ["mold", "cavity", "coat", "item"]
_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True)
class Pieces:
    """The pieces on hand at the report's end.

    `bodies` are castings, bare (coat None) and coated, those on baits too. `fitted` is how much of each
    fitting is on baits that are still there. `earlier` is the part of the bodies made before the logs began.
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
    by_stock: defaultdict[Any, list[float]] = defaultdict(list)
    for (*key, _, _), amount in zip(steps.index, steps.tolist(), strict=True):
        by_stock[tuple(key)].append(amount)
    for mold, cavity, coat, item in moves[_STOCK].drop_duplicates().itertuples(index=False):
        stock = fitted[item] if item else bodies[mold, cavity, coat or None]
        for amount in by_stock[mold, cavity, coat, item]:
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


def piece_moves(season: Season) -> pd.DataFrame:
    """What came to each stock of pieces, and went from it, by day and step of the day's work.

    | column | meaning |
    |---|---|
    | `mold`, `cavity` | the casting; empty for a fitting |
    | `coat` | the casting's coat; empty where it is bare, and for a fitting |
    | `item` | the fitting; empty for a casting |
    | `day` | datetime64, the start of the day |
    | `step` | 0 poured, 1 coated, 2 dressed, 3 lost or worn |
    | `amount` | pieces, or the fitting's unit; above 0 came, below 0 went |

    A row may have the amount 0. A stock's first rows are in the order of the logs.
    """
    parts = [*_poured(season), *_coated(season), *_dressed(season), *_ended(season)]
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


def _ended(season: Season) -> Iterator[pd.DataFrame]:
    """What lost and worn baits took with them: body, fittings and trailer; amount 0 for kept baits."""
    if not season.holds("fishing"):
        return
    parts: list[tuple[str, str, str, str, str, float]] = []
    for name, build in season.bench.builds.items():
        body, trailer = body_of(build), trailer_of(build)
        if body is not None:
            parts.append((name, body[0], body[1], body[2] or "", "", 1.0))
        parts += [(name, "", "", "", item, each) for item, each in build.fittings.items()]
        if trailer is not None:
            parts.append((name, *trailer, "", "", 1.0))
    rows = season.log("fishing")
    gone = _by_day(rows, ENDED, -rows["count"].where(rows["fate"] != "kept", 0), ("build",))
    gone = gone[["build", "day", "step", "amount"]].astype({"build": object})
    taken = gone.merge(pd.DataFrame(parts, columns=["build", *_STOCK, "each"], dtype=object), on="build")
    yield taken.assign(amount=(taken["amount"] * taken["each"]).astype(float))


def softens(cure_c: float, melts_c: float) -> bool:
    """Whether a cure comes within SOFTENING_MARGIN_C of `melts_c`, where the alloy begins to melt.

    The solidus, and not the liquidus, is what counts: a part with a little liquid in it already slumps
    (Callister, Materials Science and Engineering, on hot shortness; from memory).
    """
    return cure_c > melts_c - SOFTENING_MARGIN_C - _ROUNDING
