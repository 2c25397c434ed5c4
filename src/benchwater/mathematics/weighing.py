"""Masses from a scale: the step it shows, and the mass of one piece from pieces weighed together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from benchwater.mathematics.uncertainty import combined_uncertainty, resolution_uncertainty

FEW_WEIGHINGS = 4

_DECIMALS = 3
_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceMass:
    """The mass of one piece: its mean, the standard uncertainty of that mean, the scatter between pieces.

    `scatter` (a standard deviation) is None from a single weighing where none was assumed.
    """

    mean: float
    mean_uncertainty: float
    scatter: float | None
    pieces: int
    weighings: int


def reading_step(readings: ArrayLike, stated: float | None = None, units: Sequence[float] = (1.0,)) -> float:
    """The step of the scale that `readings` (n,) were taken on, in the unit of the readings.

    It is `stated` where every reading is a multiple of it: a reading between the steps came from a finer
    scale. Else the coarsest of 1, 0.1, 0.01 and 0.001 of each of `units` (grams and ounces, say) that all
    readings are multiples of; else 0.001 of the first. Raises ValueError for no reading or no unit.
    """
    values = np.asarray(readings, dtype=np.float64)
    if values.size == 0 or not units:
        raise ValueError("a step needs at least one reading and one unit")
    if stated is not None and stated > 0 and _all_multiples(values, stated):
        return stated
    steps = sorted(
        (unit * 10.0**-decimals for unit in units for decimals in range(_DECIMALS + 1)), reverse=True
    )
    fitting = (step for step in steps if _all_multiples(values, step))
    return next(fitting, units[0] * 10.0**-_DECIMALS)


def mean_piece_mass(
    totals: ArrayLike, counts: ArrayLike, step: float, *, least_scatter: float = 0.0
) -> PieceMass:
    """The mass of one piece from weighings `totals` (k,) of `counts` (k,) pieces on a scale of that `step`.

    The mean is sum(totals) / sum(counts), the least-squares estimate when the variance of a weighing grows
    with its pieces; the scatter between pieces is s**2 = sum(counts * (totals / counts - mean)**2) / (k - 1)
    (weighted regression through the origin, from memory). The mean's standard uncertainty joins s / sqrt(n)
    of n pieces (GUM 4.2.3) with the rounding of one weighing, step / sqrt(12), spread over the pieces in it
    and not averaged out, since like readings round alike (GUM F.2.2.1).

    A scatter from few weighings is itself badly known, and twice s / sqrt(n) then holds the truth less often
    than 95 %. From `FEW_WEIGHINGS` on, s / sqrt(n) is multiplied by sqrt((k - 1) / (k - 3)), the standard
    deviation of a t-distribution of k - 1 degrees of freedom (JCGM 101:2008, 6.4.9, from memory); with fewer,
    where that has none, the scatter is taken as at least `least_scatter`, what is known of the pieces
    beforehand (the tolerance of their mold, say). Of a single weighing without that, only the rounding is
    known. Both err on the careful side: in simulated seasons k = 2 held what was unaccounted for in 96-98 %
    (tests/simulations/summary.md).

    Raises ValueError for no weighing, unequal shapes, counts below 1, or a negative step or scatter.
    """
    m, c = np.asarray(totals, dtype=np.float64), np.asarray(counts, dtype=np.float64)
    if m.ndim != 1 or m.shape != c.shape or m.size == 0:
        raise ValueError(f"totals {m.shape} and counts {c.shape} must be of one length, at least 1")
    if np.any(c < 1):
        raise ValueError("a weighing is of at least one piece")
    if not least_scatter >= 0:
        raise ValueError(f"a scatter is at least 0, not {least_scatter}")
    k, pieces = m.size, float(c.sum())
    mean = float(m.sum()) / pieces
    rounding = resolution_uncertainty(step) * k / pieces
    scatter = None if k == 1 else float(np.sqrt((c * (m / c - mean) ** 2).sum() / (k - 1)))
    if k < FEW_WEIGHINGS and least_scatter > 0:
        scatter = max(scatter or 0.0, least_scatter)
    few = float(np.sqrt((k - 1) / (k - 3))) if k >= FEW_WEIGHINGS else 1.0
    return PieceMass(
        mean=mean,
        mean_uncertainty=combined_uncertainty([few * (scatter or 0.0) / np.sqrt(pieces), rounding]),
        scatter=scatter,
        pieces=round(pieces),
        weighings=k,
    )


def _all_multiples(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]], step: float) -> bool:
    steps = values / step
    return bool(np.all(np.abs(steps - np.round(steps)) <= _ROUNDING * np.maximum(1.0, np.abs(steps))))
