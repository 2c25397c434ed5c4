"""Castings and coatings row by row, what a good casting weighs, and which baits hold lead."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger import computed_once, log_table, midnight, rows_by
from benchwater.plugin.bench import Bench, Build, Water
from benchwater.plugin.season import Season
from benchwater.statistics.uncertainty import (
    PieceScatter,
    mean_piece_mass,
    pooled_scatter,
    reading_step,
    rectangular_uncertainty,
)

if TYPE_CHECKING:
    import pandas as pd

FEWEST_WEIGHED = 3
OUNCE_G = 28.349523125
FEWEST_ALIKE, ALIKE, NEARLY_ALL = 5, 1.5, 0.9
# By how many times masses look too heavy or too light, and the unit that they then are in.
MISTAKEN = {OUNCE_G: "grams", 16 * OUNCE_G: "grams", 1000.0: "grams", 1 / OUNCE_G: "ounces"}

FloatArray = NDArray[np.float64]
Piece = tuple[str, str]
Cast = tuple[Piece, str]
Verdict = Literal["forbidden", "allowed", "not known"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CastingMass:
    """The mass of a casting of one cavity in one material, in g, as the books take it.

    `weighed` pieces of this season have the mean `mass_g`; where 0, they were too few or none, and it is the
    nominal mass. `u` is the standard uncertainty of the mean, `scatter` that of one casting about it, and
    `step` the scale's (as `reading_step` finds it), 0 where none was weighed.
    """

    mold: str
    cavity: str
    mass_g: float
    u: float
    scatter: float
    step: float
    weighed: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Weighed:
    """Castings of one cavity and material: the step of their scale, and what those of this season weighed."""

    step: float
    nets: FloatArray
    counts: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherUnit:
    """Nearly all weighed castings look as if weighed in `unit`: they are `times` as heavy as stated.

    `rows` of the log with so many `castings`. None of their masses is used.
    """

    rows: int
    castings: int
    times: float
    unit: str


def other_unit(season: Season) -> OtherUnit | None:
    """Whether masses up to the report's end were read in another unit than they were weighed in.

    They were where there are FEWEST_ALIKE weighed rows of good castings or more, and NEARLY_ALL of them are
    off by one same factor of MISTAKEN, to within ALIKE times. A project choice, no source.
    """
    table = _poured(season)
    weighed = table[(table["outcome"] == "good") & (table["ratio"] > 0)]
    if len(weighed) < FEWEST_ALIKE:
        return None
    ratio = weighed["ratio"].to_numpy()
    for factor, unit in MISTAKEN.items():
        near = np.abs(np.log(ratio / factor)) < np.log(ALIKE)
        if near.mean() >= NEARLY_ALL:
            pieces, times = round(weighed["count"].sum()), float(np.median(ratio))
            return OtherUnit(rows=len(weighed), castings=pieces, times=times, unit=unit)
    return None


@computed_once
def castings(season: Season) -> "pd.DataFrame":
    """The pour log up to the report's end: a row is the castings of one cavity and outcome, as written.

    | column | meaning |
    |---|---|
    | `date` | when they were poured |
    | `mold`, `cavity`, `outcome` | categories; the outcome is good, reject or blank |
    | `material` | category: what the row names, else the mold's usual material |
    | `insert` | category: what the cavity takes, missing where it takes none |
    | `count` | pieces |
    | `mass_g` | their mass as weighed, inserts included; nan where not weighed |
    | `insert_g` | mass of the insert in one casting; 0 without one, or where bench.toml does not state it |
    | `net_mass_g` | `mass_g` less the inserts; nan where nothing is left, or `other_unit` |
    """
    table = _poured(season).drop(columns="ratio")
    return table.assign(net_mass_g=np.nan) if other_unit(season) is not None else table


@computed_once
def _poured(season: Season) -> "pd.DataFrame":
    """The columns of `castings`, and `ratio`, the mass of a casting over the stated one, inserts included."""
    import pandas as pd

    table = log_table(season, "pour", ("mold", "cavity", "outcome", "material"), ("count", "mass_g"))
    bench = season.bench
    items = list(bench.items)
    material = table["material"].cat.set_categories(items).cat.codes.to_numpy(dtype=np.int32, copy=True)
    insert, insert_g = np.full(len(table), -1, dtype=np.int32), np.zeros(len(table))
    stated_g = np.zeros(len(table))
    for (mold, cavity), rows in rows_by(table, "mold", "cavity").items():
        name, stated_g[rows] = bench.cavity(mold, cavity).insert, bench.cavity(mold, cavity).mass_g
        material[rows[material[rows] < 0]] = items.index(bench.molds[mold].material)
        if name is not None:
            insert[rows], insert_g[rows] = items.index(name), bench.items[name].mass_g or 0.0
    mass, whole = table["mass_g"].to_numpy(), (stated_g + insert_g) * table["count"].to_numpy()
    net = mass - insert_g * table["count"].to_numpy()
    return table.assign(
        material=pd.Categorical.from_codes(material, categories=pd.Index(items, dtype="str")),
        insert=pd.Categorical.from_codes(insert, categories=pd.Index(items, dtype="str")),
        insert_g=insert_g,
        net_mass_g=np.where(net > 0, net, np.nan),
        ratio=np.divide(mass, whole, out=np.full(len(table), np.nan), where=whole > 0),
    )


@computed_once
def coatings(season: Season) -> "pd.DataFrame":
    """The finishing log up to the report's end: a row is the pieces of one cavity dipped in one coat.

    | column | meaning |
    |---|---|
    | `date` | when they were coated |
    | `mold`, `cavity`, `coat` | categories |
    | `count`, `rejects` | pieces dipped, and those of them to strip or scrap |
    | `cure_temp_c` | temperature of the cure, nan where not recorded |
    """
    return log_table(season, "finishing", ("mold", "cavity", "coat"), ("count", "rejects", "cure_temp_c"))


@dataclass(slots=True)
class Castings:
    """The castings of one cavity: good ones by material, and rejects; warm-up fills are in neither."""

    good_of: dict[str, int] = field(default_factory=dict)
    rejects: int = 0

    @property
    def good(self) -> int:
        """Good castings of any material."""
        return sum(self.good_of.values())


@computed_once
def castings_made(season: Season, since: datetime = datetime.min) -> dict[Piece, Castings]:
    """The castings of every cavity of the bench up to the report's end, none where none were poured."""
    molds = season.bench.molds.values()
    made = {(mold.name, cavity): Castings() for mold in molds for cavity in mold.cavities}
    table = castings(season)
    table = table[table["date"] >= since]
    count = table["count"].to_numpy()
    for (mold, cavity, outcome, material), rows in rows_by(
        table, "mold", "cavity", "outcome", "material"
    ).items():
        cast, pieces = made[mold, cavity], round(count[rows].sum())
        if outcome == "good":
            cast.good_of[material] = pieces
        elif outcome == "reject":
            cast.rejects += pieces
    return made


def casting_mass(season: Season, piece: Piece, material: str) -> CastingMass:
    """The mass of a casting of that cavity in that material, cast or not."""
    known = _casting_masses(season).get((piece, material))
    return known if known is not None else _nominal(season.bench, piece, 0.0)


@computed_once
def _casting_masses(season: Season) -> Mapping[Cast, CastingMass]:
    """The mass of every casting that was weighed.

    Castings of one mold in one material are trimmed by one hand, and taken to scatter alike for their mass.
    """
    by_mold: defaultdict[tuple[str, str], dict[Piece, _Weighed]] = defaultdict(dict)
    for (piece, material), rows in _weighed(season).items():
        by_mold[piece[0], material][piece] = rows
    masses: dict[Cast, CastingMass] = {}
    for (_, material), cavities in by_mold.items():
        scatter = pooled_scatter((rows.nets, rows.counts) for rows in cavities.values() if rows.nets.size)
        for piece, rows in cavities.items():
            masses[piece, material] = _mass(season.bench, piece, rows, scatter)
    return masses


def _weighed(season: Season) -> dict[Cast, _Weighed]:
    weighed: dict[Cast, _Weighed] = {}
    table = castings(season)
    readings, nets, counts = (table[name].to_numpy() for name in ("mass_g", "net_mass_g", "count"))
    of_use = np.isfinite(nets) & (table["outcome"] == "good").to_numpy()
    recent = (table["date"] >= midnight(season.start)).to_numpy()
    for (mold, cavity, material), rows in rows_by(table, "mold", "cavity", "material").items():
        used = rows[of_use[rows]]
        if used.size:
            stated, now = season.bench.items[material].resolution, used[recent[used]]
            step = reading_step(readings[used], stated, (1.0, OUNCE_G))
            found = _Weighed(step=step, nets=nets[now], counts=counts[now])
            weighed[(mold, cavity), material] = found
    return weighed


def _mass(bench: Bench, piece: Piece, rows: _Weighed, scatter: PieceScatter) -> CastingMass:
    nominal = _nominal(bench, piece, rows.step)
    if rows.counts.sum() < FEWEST_WEIGHED:
        return nominal
    found = mean_piece_mass(rows.nets, rows.counts, rows.step, scatter, at_most=nominal.u)
    return CastingMass(
        mold=piece[0],
        cavity=piece[1],
        mass_g=found.mean,
        u=found.mean_uncertainty,
        scatter=found.scatter,
        step=rows.step,
        weighed=found.pieces,
    )


def _nominal(bench: Bench, piece: Piece, step: float) -> CastingMass:
    """What the bench says, its tolerance a rectangular half-width that holds for every casting."""
    cavity = bench.cavity(*piece)
    u = rectangular_uncertainty(cavity.tolerance * cavity.mass_g)
    return CastingMass(
        mold=piece[0], cavity=piece[1], mass_g=cavity.mass_g, u=u, scatter=0.0, step=step, weighed=0
    )


@computed_once
def lead_by_build(season: Season) -> dict[str, bool | None]:
    """Whether each build holds lead, by every metal that its head was ever poured from and by its fittings.

    None where that cannot be told: bench.toml does not say of one of them, and none of them is lead.
    """
    metals: defaultdict[Piece, set[str]] = defaultdict(set)
    for mold, cavity, material in rows_by(castings(season), "mold", "cavity", "material"):
        metals[mold, cavity].add(material)
    return {name: _holds_lead(build, season.bench, metals) for name, build in season.bench.builds.items()}


def _holds_lead(build: Build, bench: Bench, poured: Mapping[Piece, set[str]]) -> bool | None:
    metals = poured.get(build.head, {bench.molds[build.head[0]].material}) if build.head else set()
    parts = [bench.items[name] for name in (*metals, *build.fittings)]
    told = [item.holds_lead for item in parts if item.kind == "metal" or item.holds_lead is not None]
    if any(told):
        return True
    return None if None in told else False


def verdict(season: Season, build: str, water: Water) -> Verdict:
    """What the maker's note on a water says of a build; `not known` where its lead or size is not written."""
    lead = lead_by_build(season)[build]
    if lead is False:
        return "allowed"
    recipe = season.bench.builds[build]
    limit = water.no_lead_up_to_g
    size = season.bench.cavity(*recipe.head).mass_g if recipe.head else None
    if water.no_lead_up_to_mm is not None:
        limit, size = water.no_lead_up_to_mm, recipe.length_mm
    if limit is not None and size is not None and size > limit:
        return "allowed"
    return "forbidden" if lead and (limit is None or size is not None) else "not known"
