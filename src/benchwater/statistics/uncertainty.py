"""Standard uncertainties after JCGM 100:2008 (GUM, from memory), and masses of pieces weighed together."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchwater.statistics.interval import normal_quantile, tail_probability

FloatArray = NDArray[np.float64]
FEWEST_DEGREES = 3
_FINEST = 3
_ROUNDING = 1e-6


def resolution_uncertainty(resolution: float) -> float:
    """Standard uncertainty of a reading shown in steps of `resolution`: resolution / sqrt(12); GUM F.2.2.1.

    Raises ValueError for a negative or not finite resolution.
    """
    return rectangular_uncertainty(resolution / 2)


def rectangular_uncertainty(half_width: float) -> float:
    """Standard uncertainty of a value anywhere within +- half_width: half_width / sqrt(3); GUM 4.3.7.

    Raises ValueError for a negative or not finite half width.
    """
    if not (np.isfinite(half_width) and half_width >= 0):
        raise ValueError(f"the width must be finite and not negative, not {half_width}")
    return float(half_width / np.sqrt(3.0))


def combined_uncertainty(components: ArrayLike) -> float:
    """Root of the sum of squares of uncorrelated components (n,); GUM 5.1.2.

    The components are in the unit of the result. No component gives 0.
    """
    values = np.asarray(components, dtype=np.float64)
    return float(np.sqrt((values**2).sum()))


def coverage_factor(degrees_of_freedom: float = np.inf, *, level: float = 0.95) -> float:
    """Two-sided Student factor, the degrees of freedom cut to a whole number; normal at inf; GUM G.4.

    Raises ValueError for fewer than 1 degree of freedom or a level outside (0, 1).
    """
    from scipy.special import stdtrit

    if not degrees_of_freedom >= 1:
        raise ValueError(f"at least 1 degree of freedom is needed, not {degrees_of_freedom}")
    if np.isinf(degrees_of_freedom):
        return normal_quantile(level)
    return float(stdtrit(float(np.floor(degrees_of_freedom)), 1 - tail_probability(level)))


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceScatter:
    """How much equal pieces differ: their standard deviation over their mean, on `degrees` of freedom."""

    share: float
    degrees: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceMass:
    """The mass of one piece: its mean with its standard uncertainty, and that of one piece about the mean."""

    mean: float
    mean_uncertainty: float
    scatter: float
    pieces: int


def reading_step(readings: ArrayLike, stated: float | None = None, units: Sequence[float] = (1.0,)) -> float:
    """The step of the scale that `readings` (n,) were taken on, in the unit of the readings.

    It is `stated` where every reading is a multiple of it: a reading between the steps came from a finer
    scale. Else it is the last decimal place that any reading uses: the coarsest power of ten times one of
    `units` (grams and ounces, say) that all are multiples of, and 0.001 of the first where that is too
    coarse. Zeros before the decimal point are taken like those behind it, so that readings ten times as large
    show a step ten times as large. Steps of 2 or 5 are not told from 1: that takes more readings than there
    are, and so no other factor carries over. Of zeros alone, which show nothing, it is the largest unit.

    Raises ValueError for no reading or no unit.
    """
    values = np.asarray(readings, dtype=np.float64)
    if values.size == 0 or not units:
        raise ValueError("a step needs at least one reading and one unit")
    if stated is not None and stated > 0 and _all_multiples(values, stated):
        return stated
    largest = float(np.abs(values).max())
    if largest == 0:
        return max(units)
    places = [
        unit * 10.0**place
        for unit in units
        for place in range(-_FINEST, max(0, int(np.floor(np.log10(largest / unit) + _ROUNDING))) + 1)
    ]
    fitting = (step for step in sorted(places, reverse=True) if _all_multiples(values, step))
    return next(fitting, units[0] * 10.0**-_FINEST)


def pooled_scatter(weighings: Iterable[tuple[ArrayLike, ArrayLike]]) -> PieceScatter:
    """The scatter that several kinds of pieces share, from (totals (k,), counts (k,)) of each kind weighed.

    Pooled variance, JCGM 100:2008, 4.2.4, of the pieces' mass over the mean of their kind:
    sum(counts * (totals / counts / mean - 1)**2) over sum(k - 1), weighted regression through the origin of
    each kind (from memory). A kind weighed once has no part in it; without any other, the share is 0 on 0
    degrees of freedom. Raises ValueError as `mean_piece_mass` does.
    """
    squares, degrees = 0.0, 0
    for totals, counts in weighings:
        m, c = _weighings(totals, counts)
        squares += float((c * (m / c / (m.sum() / c.sum()) - 1) ** 2).sum())
        degrees += m.size - 1
    return PieceScatter(share=float(np.sqrt(squares / degrees)) if degrees else 0.0, degrees=degrees)


def mean_piece_mass(
    totals: ArrayLike, counts: ArrayLike, step: float, scatter: PieceScatter, *, at_most: float
) -> PieceMass:
    """The mass of one piece from weighings `totals` (k,) of `counts` (k,) pieces on a scale of that `step`.

    The mean is sum(totals) / sum(counts), the least-squares estimate when the variance of a weighing grows
    with its pieces. Its standard uncertainty joins s / sqrt(n) of n pieces (JCGM 100:2008, 4.2.3) with the
    rounding of one weighing, step / sqrt(12), spread over the pieces in it and not averaged out, since like
    readings round alike (F.2.2.1 there).

    s is `scatter`, pooled over pieces that are alike, times the mean. From few weighings it is itself badly
    known, and twice s / sqrt(n) would hold the truth less often than 95 %: it is multiplied by
    sqrt(v / (v - 2)), the standard deviation of Student's t on its v degrees of freedom (JCGM 101:2008,
    6.4.9, from memory), twice which covers 95 to 96 % of t from `FEWEST_DEGREES` on. With fewer, s is no
    less than `at_most`, what is known of a piece beforehand (the standard uncertainty by the tolerance of its
    mold, say), which is on the careful side. How often k = 2 then holds what is unaccounted for:
    tests/simulations/summary.md.

    Raises ValueError for no weighing, unequal shapes, counts below 1, or a step or bound below 0.
    """
    m, c = _weighings(totals, counts)
    if not at_most >= 0:
        raise ValueError(f"a scatter is at least 0, not {at_most}")
    pieces = float(c.sum())
    mean = float(m.sum()) / pieces
    s, v = scatter.share * mean, scatter.degrees
    spread = float(s * np.sqrt(v / (v - 2))) if v >= FEWEST_DEGREES else max(s, at_most)
    rounding = resolution_uncertainty(step) * m.size / pieces
    return PieceMass(
        mean=mean,
        mean_uncertainty=combined_uncertainty([spread / np.sqrt(pieces), rounding]),
        scatter=spread,
        pieces=round(pieces),
    )


def _weighings(totals: ArrayLike, counts: ArrayLike) -> tuple[FloatArray, FloatArray]:
    m, c = np.asarray(totals, dtype=np.float64), np.asarray(counts, dtype=np.float64)
    if m.ndim != 1 or m.shape != c.shape or m.size == 0:
        raise ValueError(f"totals {m.shape} and counts {c.shape} must be of one length, at least 1")
    if np.any(c < 1):
        raise ValueError("a weighing is of at least one piece")
    return m, c


def _all_multiples(values: FloatArray, step: float) -> bool:
    steps = values / step
    return bool(np.all(np.abs(steps - np.round(steps)) <= _ROUNDING * np.maximum(1.0, np.abs(steps))))
