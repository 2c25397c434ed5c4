"""What became of the metal poured: yields by mold, dross, and castings whose mass cannot be theirs."""

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger import midnight, rows_by, sum_in_order
from benchwater.ledger.castings import OUNCE_G, casting_mass, castings, other_unit
from benchwater.ledger.fills import poured_in
from benchwater.ledger.stock import stock_movements
from benchwater.plugin.season import Season, Span
from benchwater.statistics.interval import Interval
from benchwater.statistics.proportions import design_effect, wilson_interval
from benchwater.statistics.uncertainty import combined_uncertainty

from .balance import K

if TYPE_CHECKING:
    import pandas as pd

ODD_FACTOR = 2.0


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


@dataclass(frozen=True, slots=True)
class OddMass:
    """A row of good castings that weigh what no casting of theirs does: `each_g` without the insert, in g."""

    file: str
    line: int
    mold: str
    cavity: str
    pieces: int
    each_g: float
    nominal_g: float


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Weighed rows of good castings that weigh no more than their inserts: what they say is not used.

    The earliest stands at `file` and `line`. `in_ounces` of the `rows` would be right as ounces.
    """

    rows: int
    in_ounces: int
    file: str
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Dross:
    """What of a metal was discarded, as a share of what was melted: what was cast, and what was discarded."""

    item: str
    discarded: float
    melted: float
    rows: int
    share: Interval


def mold_yields(season: Season, span: Span) -> tuple[MoldYield, ...]:
    """The yield of every mold poured in the span, in the order of the bench.

    A reject or blank casting is taken to weigh what a good one of its cavity does, without its insert. The
    limits allow for castings of one fill being alike, and of unlike mass.
    """
    if not season.holds("pour"):
        return ()
    rows, molds = poured_in(season, span), season.bench.molds
    usual = rows["mold"].astype("str").map({name: mold.material for name, mold in molds.items()})
    rows = rows.assign(material=rows["material"].astype("str").fillna(usual))
    count, fill, mass = rows["count"].to_numpy(dtype=np.float64), rows["key"].to_numpy(), np.zeros(len(rows))
    not_metal = set()
    for (mold, cavity, material), own in rows_by(rows, "mold", "cavity", "material").items():
        mass[own] = casting_mass(season, (mold, cavity), material).mass_g
        if season.bench.items[material].kind != "metal":
            not_metal.add(mold)
    good, reject, blank = ((rows["outcome"] == outcome).to_numpy() for outcome in ("good", "reject", "blank"))
    found = []
    of_mold = rows_by(rows, "mold")
    for mold in [name for name in molds if name in of_mold]:
        own = of_mold[mold]
        judged, is_metal = own[~blank[own]], mold not in not_metal
        found.append(
            MoldYield(
                mold=mold,
                good=round(count[own][good[own]].sum()),
                rejects=round(count[own][reject[own]].sum()),
                blanks=round(count[own][blank[own]].sum()),
                poured_g=float((count[own] * mass[own]).sum()) if is_metal else None,
                first_pass=_share(good[judged], count[judged], np.ones(judged.size), fill[judged]),
                metal=_share(good[own], count[own], mass[own], fill[own]) if is_metal else None,
            )
        )
    return tuple(found)


def dross_rates(season: Season, span: Span) -> tuple[Dross, ...]:
    """The dross of every metal kept by mass that was both poured and discarded in the span.

    melted = castings of any outcome, blank fills with them, + discarded. Sprues are melted along and weighed
    nowhere, so the share of all metal melted is lower than this: it reads high.
    Expanded uncertainty (k = 2) of discarded / melted by the law of propagation: JCGM 100:2008, 5.1.2.
    """
    poured, moved = _inside(castings(season), span), _inside(stock_movements(season), span)
    thrown_away, pieces = moved[moved["kind"] == "discarded"], poured["count"].to_numpy()
    found, of_piece = [], rows_by(poured, "material", "mold", "cavity")
    for name in dict.fromkeys(material for material, _, _ in of_piece):
        thrown, item = thrown_away[thrown_away["item"] == name], season.bench.items[name]
        discarded = -sum_in_order(thrown["amount"])
        if item.kind != "metal" or item.unit != "g" or discarded <= 0:
            continue
        counts = {key[1:]: round(pieces[rows].sum()) for key, rows in of_piece.items() if key[0] == name}
        masses = {piece: casting_mass(season, piece, name) for piece in counts}
        amount = sum(count * masses[piece].mass_g for piece, count in counts.items())
        amount_u = combined_uncertainty([count * masses[piece].u for piece, count in counts.items()])
        melted = amount + discarded
        discarded_u = combined_uncertainty(thrown["u"])
        share = discarded / melted
        spread = K * sqrt((amount * discarded_u) ** 2 + (discarded * amount_u) ** 2) / melted**2
        limits = Interval(
            estimate=share, low=max(0.0, share - spread), high=min(1.0, share + spread), level=0.95
        )
        found.append(Dross(item=name, discarded=discarded, melted=melted, rows=len(thrown), share=limits))
    return tuple(found)


def odd_masses(season: Season, span: Span) -> tuple[OddMass, ...]:
    """The span's rows of good castings that weigh more than twice, or less than half, of the nominal mass.

    Most likely another unit was meant, or other pieces were counted than weighed. The factor is a project
    choice, no published source.
    """
    rows = _weighed(season, span)
    rows = rows[rows["net_mass_g"].notna()]
    rows = rows.assign(each=rows["net_mass_g"] / rows["count"], nominal=_nominal(season, rows))
    odd = rows[_is_odd(rows["each"], rows["nominal"])].astype({"count": int})
    columns = ["file", "line", "mold", "cavity", "count", "each", "nominal"]
    return tuple(OddMass(*row) for row in odd[columns].itertuples(index=False, name=None))


def left_out(season: Season, span: Span) -> LeftOut | None:
    """The span's weighed rows of good castings that weigh no more than their inserts, None without any.

    None too where all masses are in doubt, which `other_unit` tells.
    """
    rows = _weighed(season, span)
    rows = rows[rows["net_mass_g"].isna()]
    if rows.empty or other_unit(season) is not None:
        return None
    as_ounces = rows["mass_g"] * OUNCE_G / rows["count"] - rows["insert_g"]
    right = ~_is_odd(as_ounces, _nominal(season, rows))
    return LeftOut(len(rows), int(right.sum()), str(rows["file"].iloc[0]), int(rows["line"].iloc[0]))


def _weighed(season: Season, span: Span) -> "pd.DataFrame":
    """The span's rows of `castings` that are good and were weighed, and where they stand."""
    table = _inside(castings(season), span)
    rows = table[(table["outcome"] == "good") & table["mass_g"].notna()]
    return (
        rows.join(season.log("pour")[["file", "line"]])
        if len(rows)
        else rows.reindex(columns=[*rows, "file", "line"])
    )


def _inside(table: "pd.DataFrame", span: Span) -> "pd.DataFrame":
    return table[table["date"].between(midnight(span.start), midnight(span.end), inclusive="left")]


def _nominal(season: Season, rows: "pd.DataFrame") -> "pd.Series[float]":
    """The nominal mass in g of a casting of each row."""
    import pandas as pd

    pieces = zip(rows["mold"], rows["cavity"], strict=True)
    return pd.Series([season.bench.cavity(*piece).mass_g for piece in pieces], rows.index, dtype=float)


def _is_odd(each: "pd.Series[float]", nominal: "pd.Series[float]") -> "pd.Series[bool]":
    return (each > ODD_FACTOR * nominal) | (each < nominal / ODD_FACTOR)


def _share(
    good: NDArray[np.bool_], count: NDArray[np.float64], mass: NDArray[np.float64], fill: NDArray[np.int64]
) -> Interval | None:
    """The share of the good by mass, all arrays by row (n,), as of so many castings of the mean mass.

    The design effect is that of the fills, and no less than that of unequal weights, n sum(w**2) / sum(w)**2
    (Kish 1965, Survey Sampling; from memory).
    """
    pieces, total = float(count.sum()), float((count * mass).sum())
    if total == 0:
        return None
    weight = count * mass * pieces / total
    unequal = max(1.0, pieces * float((count * mass**2).sum()) / total**2)
    done, poured = np.bincount(fill, weight * good), np.bincount(fill, weight)
    effect = design_effect(np.minimum(done, poured), poured, at_least=unequal)
    return wilson_interval(min(float(done.sum()), pieces), pieces, effect)
