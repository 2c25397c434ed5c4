"""How much of the metal poured became good castings, and how much of it was skimmed or thrown away."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger import midnight
from benchwater.ledger.casting_masses import casting_mass
from benchwater.ledger.fills import poured_in
from benchwater.ledger.log_columns import factorized, group_by, in_days, moments, numbers
from benchwater.ledger.movements import net_amount
from benchwater.ledger.poured import castings
from benchwater.ledger.stock_books import Book
from benchwater.plugin.season import Season, Span
from benchwater.statistics.clustered import clustered_wilson_interval, design_effect
from benchwater.statistics.interval import Interval
from benchwater.statistics.uncertainty import combined_uncertainty

FACTOR = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MoldYield:
    """What one mold gave: pieces, and the mass of all castings poured, blank fills with them.

    `first_pass` is the share of good castings among good and rejected ones, None where there were only blank
    fills; `metal` the mass of the good ones over all that was poured, None for a mold not of metal.
    """

    mold: str
    good: int
    rejects: int
    blanks: int
    poured_g: float | None
    first_pass: Interval | None
    metal: Interval | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Dross:
    """What of a metal was discarded, as a share of what was melted: what was cast, and what was discarded."""

    item: str
    discarded: float
    melted: float
    rows: int
    share: Interval


def mold_yields(season: Season, span: Span, books: Mapping[str, Book]) -> list[MoldYield]:
    """The yield of every mold poured in the span, in the order of the bench.

    A reject or blank casting is taken to weigh what a good one of its cavity does, without its insert. The
    limits allow for castings of one fill being alike, and of unlike mass.
    """
    if not season.holds("pour"):
        return []
    rows = poured_in(season, span)[["mold", "cavity", "outcome", "material", "count", "key"]]
    found = []
    for mold in season.bench.molds:
        own = rows[rows["mold"] == mold]
        if own.empty:
            continue
        count = own["count"].to_numpy(dtype=np.float64)
        outcome, fill = factorized(own["outcome"]), own["key"].to_numpy()
        good, blank = outcome.are("good"), outcome.are("blank")
        castings_of = group_by(factorized(own["cavity"]), factorized(own["material"]))
        kinds = [(cavity, season.bench.material_of(mold, named)) for cavity, named in castings_of.keys]
        masses = np.array(
            [casting_mass(season, (mold, cavity), material).mass_g for cavity, material in kinds]
        )[castings_of.of_row]
        is_metal = all(season.bench.items[material].kind == "metal" for _, material in kinds)
        judged = ~blank
        found.append(
            MoldYield(
                mold=mold,
                good=round(count[good].sum()),
                rejects=round(count[outcome.are("reject")].sum()),
                blanks=round(count[blank].sum()),
                poured_g=float((count * masses).sum()) if is_metal else None,
                first_pass=_share(good[judged], count[judged], np.ones(judged.sum()), fill[judged]),
                metal=_share(good, count, masses, fill) if is_metal else None,
            )
        )
    return found


def dross_rates(season: Season, span: Span, books: Mapping[str, Book]) -> list[Dross]:
    """The dross of every metal kept by mass that was both poured and discarded in the span.

    melted = castings of any outcome, blank fills with them, + discarded. Sprues are melted along and weighed
    nowhere, so that the share of all metal melted is lower than this: it reads high.
    Expanded uncertainty (k = 2) of discarded / melted by the law of propagation: JCGM 100:2008, 5.1.2.
    """
    inside = in_days(moments(season, "pour"), span.start, span.end)
    poured = castings(season).take(inside)
    cast: dict[str, Counter[tuple[str, str]]] = {}
    for what, count in poured.sums(numbers(season, "pour", "count")[inside]).items():
        cast.setdefault(what.material, Counter())[what.piece] += round(count)
    found = []
    for name, pieces in cast.items():
        book = books[name]
        moved = book.ledger.between(midnight(span.start), midnight(span.end))
        thrown = moved.of_kind("discarded")
        discarded = -net_amount(thrown)
        if book.item.kind != "metal" or book.item.unit != "g" or discarded <= 0:
            continue
        masses = {piece: casting_mass(season, piece, name) for piece in pieces}
        amount = sum(count * masses[piece].mass_g for piece, count in pieces.items())
        amount_u = combined_uncertainty([count * masses[piece].u for piece, count in pieces.items()])
        melted = amount + discarded
        discarded_u = combined_uncertainty(thrown.u)
        share = discarded / melted
        spread = FACTOR * sqrt((amount * discarded_u) ** 2 + (discarded * amount_u) ** 2) / melted**2
        limits = Interval(
            estimate=share, low=max(0.0, share - spread), high=min(1.0, share + spread), level=0.95
        )
        found.append(Dross(item=name, discarded=discarded, melted=melted, rows=len(thrown), share=limits))
    return found


def _share(
    good: NDArray[np.bool_], count: NDArray[np.float64], mass: NDArray[np.float64], fill: NDArray[np.int64]
) -> Interval | None:
    """The share of the good by mass, all arrays by row (n,), as of so many castings of the mean mass.

    The design effect is that of the fills, and no less than that of unequal weights, n sum(w**2) / sum(w)**2
    (Kish 1965, Survey Sampling; from memory).
    """
    pieces, total = float(count.sum()), float((count * mass).sum())
    if pieces == 0 or total <= 0:
        return None
    weight = count * mass * pieces / total
    unequal = max(1.0, pieces * float((count * mass**2).sum()) / total**2)
    done, poured = np.bincount(fill, weight * good), np.bincount(fill, weight)
    effect = design_effect(np.minimum(done, poured), poured, at_least=unequal)
    return clustered_wilson_interval(min(float(done.sum()), pieces), pieces, effect)
