"""What a good casting weighs without its insert: by this season's weighed ones, else by the bench."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from benchwater.ledger import computed_once
from benchwater.ledger.log_columns import FloatArray, Rows, in_days, moments, numbers
from benchwater.ledger.poured import Piece, castings
from benchwater.ledger.weighing import PieceScatter, mean_piece_mass, pooled_scatter, reading_step
from benchwater.plugin.bench import Bench
from benchwater.plugin.season import Season, Span
from benchwater.statistics.uncertainty import rectangular_uncertainty

FEWEST_WEIGHED = 3
ODD_FACTOR = 2.0
OUNCE_G = 28.349523125

Cast = tuple[Piece, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class CastingMass:
    """The mass of a casting of one cavity in one material, in g, as the books take it.

    `weighed` pieces of this season have the mean `mass_g`; where 0, they were too few or none, and it is the
    nominal mass. `u` is the standard uncertainty of the mean, `scatter` that of one casting about it, and
    `step` the scale's, 0 where none was weighed.
    """

    mold: str
    cavity: str
    mass_g: float
    u: float
    scatter: float
    step: float
    weighed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OddMass:
    """A row of good castings that weigh what no casting of theirs does: `each_g` without the insert, in g."""

    file: str
    line: int
    mold: str
    cavity: str
    pieces: int
    each_g: float
    nominal_g: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Weighed:
    """Castings of one cavity and material: the step of their scale, and what those of this season weighed."""

    step: float
    nets: FloatArray
    counts: FloatArray


def net_masses(season: Season, piece: Piece, rows: Rows) -> FloatArray:
    """What the castings of rows of the pour log, all of one cavity, weigh without their inserts, in g.

    nan where they were not weighed, or no more than the inserts. An insert whose item states no mass is not
    taken off.
    """
    insert = season.bench.cavity(*piece).insert
    each = (season.bench.items[insert].mass_g or 0.0) if insert is not None else 0.0
    net = numbers(season, "pour", "mass_g")[rows] - each * numbers(season, "pour", "count")[rows]
    return np.where(net > 0, net, np.nan)


def casting_mass(season: Season, piece: Piece, material: str) -> CastingMass:
    """The mass of a casting of that cavity in that material, cast or not."""
    known = _casting_masses(season).get((piece, material))
    return known if known is not None else _nominal(season.bench, piece, 0.0)


def odd_masses(season: Season, span: Span) -> tuple[OddMass, ...]:
    """The span's rows of good castings that weigh more than twice, or less than half, of the nominal mass.

    Most likely another unit was meant, or other pieces were counted than weighed. The factor is a project
    choice, no published source.
    """
    inside = in_days(moments(season, "pour"), span.start, span.end)
    counts = numbers(season, "pour", "count")
    found: dict[int, tuple[Piece, float]] = {}
    for what, rows in castings(season).rows.items():
        if what.outcome == "good":
            each = net_masses(season, what.piece, rows) / counts[rows]
            nominal = season.bench.cavity(*what.piece).mass_g
            odd = inside[rows] & ((each > ODD_FACTOR * nominal) | (each < nominal / ODD_FACTOR))
            found |= {
                row: (what.piece, mass) for row, mass in zip(rows[odd], each[odd].tolist(), strict=True)
            }
    if not found:
        return ()
    written = season.log("pour")[["file", "line", "count"]]
    return tuple(
        OddMass(
            file=str(file),
            line=int(line),
            mold=piece[0],
            cavity=piece[1],
            pieces=int(pieces),
            each_g=mass,
            nominal_g=season.bench.cavity(*piece).mass_g,
        )
        for (file, line, pieces), (piece, mass) in ((written.iloc[row], found[row]) for row in sorted(found))
    )


@computed_once
def _casting_masses(season: Season) -> Mapping[Cast, CastingMass]:
    """The mass of every casting that was weighed.

    Castings of one mold in one material are trimmed by one hand, and taken to scatter alike for their mass.
    """
    alike: defaultdict[tuple[str, str], dict[Piece, _Weighed]] = defaultdict(dict)
    for (piece, material), rows in _weighed(season).items():
        alike[piece[0], material][piece] = rows
    masses: dict[Cast, CastingMass] = {}
    for (_, material), cavities in alike.items():
        scatter = pooled_scatter((rows.nets, rows.counts) for rows in cavities.values() if rows.nets.size)
        for piece, rows in cavities.items():
            masses[piece, material] = _mass(season.bench, piece, rows, scatter)
    return masses


def _weighed(season: Season) -> dict[Cast, _Weighed]:
    weighed: dict[Cast, _Weighed] = {}
    readings, counts = numbers(season, "pour", "mass_g"), numbers(season, "pour", "count")
    recent = moments(season, "pour") >= np.datetime64(season.start)
    for what, rows in castings(season).rows.items():
        net = net_masses(season, what.piece, rows)
        known = np.isfinite(net)
        if what.outcome == "good" and known.any():
            stated, now = season.bench.items[what.material].resolution, known & recent[rows]
            step = reading_step(readings[rows[known]], stated, (1.0, OUNCE_G))
            found = _Weighed(step=step, nets=net[now], counts=counts[rows[now]])
            weighed[what.piece, what.material] = found
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
