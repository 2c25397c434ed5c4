"""What a good casting weighs without its insert: by this season's weighed ones, else by the bench."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite

from benchwater.books.log_rows import log_rows, midnight, number_or_nan
from benchwater.books.once import once_a_season
from benchwater.mathematics.uncertainty import rectangular_uncertainty
from benchwater.mathematics.weighing import PieceScatter, mean_piece_mass, pooled_scatter, reading_step
from benchwater.plugin.bench import Bench
from benchwater.plugin.season import Season

FEWEST_WEIGHED = 3
OUNCE_G = 28.349523125

Piece = tuple[str, str]
Poured = tuple[str, str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class CastingMass:
    """The mass of a casting of one cavity in one material, in g, as the books take it.

    `weighed` pieces of this season have the mean `mass_g`; where 0, they were too few or none, and it is the
    nominal mass. `u` is the standard uncertainty of the mean, `scatter` that of one casting about it, and
    `step` the scale's.
    """

    mold: str
    cavity: str
    mass_g: float
    u: float
    scatter: float
    step: float
    weighed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Weighed:
    """The weighed rows of one cavity and material: readings with inserts; net mass and count this season."""

    readings: list[float]
    nets: list[float]
    counts: list[int]

    @property
    def enough(self) -> bool:
        """Whether so many castings were weighed this season that their mean is taken."""
        return sum(self.counts) >= FEWEST_WEIGHED


def net_mass(bench: Bench, piece: Piece, count: int, reading: object) -> float:
    """What so many castings weigh without their inserts, in g; nan where not weighed, or no more than those.

    An insert whose item states no mass is not taken off.
    """
    insert = bench.cavity(*piece).insert
    inserts = count * (bench.items[insert].mass_g or 0.0) if insert is not None else 0.0
    net = number_or_nan(reading) - inserts
    return net if net > 0 else float("nan")


def casting_mass(season: Season, piece: Piece, material: str) -> CastingMass:
    """The mass of a casting of that cavity in that material, cast or not."""
    known = _casting_masses(season).get((*piece, material))
    return known if known is not None else _nominal(season.bench, piece, 0.0)


@once_a_season
def _casting_masses(season: Season) -> Mapping[Poured, CastingMass]:
    """The mass of every casting that was weighed.

    Castings of one mold in one material are trimmed by one hand and taken to scatter alike for their mass.
    """
    alike: defaultdict[tuple[str, str], dict[str, _Weighed]] = defaultdict(dict)
    for (mold, cavity, material), rows in _weighed_rows(season).items():
        alike[mold, material][cavity] = rows
    masses: dict[Poured, CastingMass] = {}
    for (mold, material), cavities in alike.items():
        scatter = pooled_scatter((rows.nets, rows.counts) for rows in cavities.values() if rows.counts)
        for cavity, rows in cavities.items():
            step = reading_step(rows.readings, season.bench.items[material].resolution, (1.0, OUNCE_G))
            masses[mold, cavity, material] = _mass(season.bench, (mold, cavity), rows, scatter, step)
    return masses


def _mass(bench: Bench, piece: Piece, rows: _Weighed, scatter: PieceScatter, step: float) -> CastingMass:
    nominal = _nominal(bench, piece, step)
    if not rows.enough:
        return nominal
    found = mean_piece_mass(rows.nets, rows.counts, step, scatter, at_most=nominal.u)
    return CastingMass(
        mold=piece[0],
        cavity=piece[1],
        mass_g=found.mean,
        u=found.mean_uncertainty,
        scatter=found.scatter,
        step=step,
        weighed=found.pieces,
    )


def _nominal(bench: Bench, piece: Piece, step: float) -> CastingMass:
    """What the bench says, its tolerance a rectangular half-width that holds for every casting."""
    cavity = bench.cavity(*piece)
    u = rectangular_uncertainty(cavity.tolerance * cavity.mass_g)
    return CastingMass(
        mold=piece[0], cavity=piece[1], mass_g=cavity.mass_g, u=u, scatter=0.0, step=step, weighed=0
    )


def _weighed_rows(season: Season) -> dict[Poured, _Weighed]:
    rows: dict[Poured, _Weighed] = {}
    since = midnight(season.start)
    columns = ("date", "mold", "cavity", "outcome", "count", "mass_g", "material")
    for when, mold, cavity, outcome, count, reading, poured in log_rows(season, "pour", *columns):
        net = net_mass(season.bench, (mold, cavity), count, reading)
        if outcome != "good" or not isfinite(net):
            continue
        material = season.bench.material_of(mold, poured if isinstance(poured, str) else None)
        key = (mold, cavity, material)
        own = rows.setdefault(key, _Weighed(readings=[], nets=[], counts=[]))
        own.readings.append(float(reading))
        if when >= since:
            own.nets.append(net)
            own.counts.append(count)
    return rows
