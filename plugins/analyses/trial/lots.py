"""The test of a trial, which rests on the lot alone by which treatments were drawn in blocks.

Fisher, The Design of Experiments (1935), chapters 2 and 3; Cox, Planning of Experiments (1958), chapters 3
and 5; Rosenberger and Lachin, Randomization in Clinical Trials (2nd edition 2016), chapters 3 and 6 (permuted
blocks, the randomisation test and limits by its inversion). Chapters from memory.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DRAWS = 4_999
MOST_EXACT = 5_000
_WIDEST = 100.0
_STEPS = 14


@dataclass(frozen=True, slots=True, kw_only=True)
class RandomisationTest:
    """The outcome of a trial with treatments 0, 1, ...

    `p` is the share of all lots (exact), or of those drawn and the trial's own, that give at least as large a
    difference. `ratio` is the rate of treatment 1 over that of treatment 0 with 95 % limits, None where it
    is not determined; None for all three with more than two treatments.
    """

    p: float
    exact: bool
    ratio: float | None
    low: float | None
    high: float | None


def randomisation_test(
    events: FloatArray, exposure: FloatArray, treatment: IntArray, block: IntArray
) -> RandomisationTest:
    """Compare rates of events per exposure between treatments that were drawn by lot within blocks.

    All arrays are (units,). Under the sharp null hypothesis each unit has the same events whichever
    treatment it gets, so that exchanging treatments within blocks gives the distribution of the difference.
    Limits of the ratio are the ratios that the test, on events less those expected, does not reject at 5 %.
    """
    lots, exact = _lots(treatment, block)
    kinds = [(lots == kind).astype(np.float64) for kind in range(int(treatment.max()) + 1)]
    in_block = np.unique(block, return_inverse=True)[1]
    total = np.bincount(in_block, events)

    def p_of(weighed: FloatArray) -> float:
        """Return p for events less those expected of each unit within its block."""
        return _p(events - weighed * (total / np.bincount(in_block, weighed))[in_block], kinds)

    p = p_of(exposure)
    if len(kinds) != 2:
        return RandomisationTest(p=p, exact=exact, ratio=None, low=None, high=None)
    own, other = (events[treatment == kind].sum() / exposure[treatment == kind].sum() for kind in (1, 0))
    ratio = float(own / other) if other else None

    def rejects(candidate: float) -> bool:
        return p_of(exposure * np.where(treatment == 1, candidate, 1.0)) < 0.05

    start = _WIDEST if ratio is None else max(ratio, 1 / _WIDEST)
    low = _limit(rejects, start, 1 / _WIDEST) if own else 0.0
    high = _limit(rejects, start, _WIDEST) if other else None
    return RandomisationTest(p=p, exact=exact, ratio=ratio, low=low, high=high)


def _lots(treatment: IntArray, block: IntArray) -> tuple[IntArray, bool]:
    """Return lots of the design (lots, units), the trial's own first; whether they are all there are."""
    places = [np.flatnonzero(block == each) for each in np.unique(block)]
    count = math.prod(_arrangements(treatment[each]) for each in places)
    if count <= MOST_EXACT:
        lots = [treatment]
        for each in places:
            lots = [_with(lot, each, order) for lot in lots for order in _orders(treatment[each])]
        own_first = sorted(lots, key=lambda lot: not np.array_equal(lot, treatment))
        return np.array(own_first), True
    lot = np.random.Generator(np.random.PCG64(int(treatment.size)))
    drawn = np.tile(treatment, (DRAWS + 1, 1))
    for each in places:
        drawn[1:, each] = lot.permuted(drawn[1:, each], axis=1)
    return drawn, False


def _arrangements(treatment: IntArray) -> int:
    return math.factorial(treatment.size) // math.prod(
        math.factorial(int(number)) for number in np.bincount(treatment)
    )


def _orders(treatment: IntArray) -> list[IntArray]:
    """Return all distinct orders of the treatments of a block."""
    if treatment.size < 2:
        return [treatment]
    orders = []
    for first in np.unique(treatment):
        rest = np.delete(treatment, np.flatnonzero(treatment == first)[0])
        orders += [np.concatenate(([first], order)) for order in _orders(rest)]
    return orders


def _with(lot: IntArray, places: IntArray, order: IntArray) -> IntArray:
    changed = lot.copy()
    changed[places] = order
    return changed


def _p(residual: FloatArray, kinds: Sequence[FloatArray]) -> float:
    """Return the share of lots whose sum of squared treatment totals is at least the first one's.

    `kinds` tell of each treatment which units of each lot have it, (lots, units).
    """
    found = np.sum([(kind @ residual) ** 2 for kind in kinds], axis=0)
    return float(np.mean(found >= found[0] * (1 - 1e-9) - 1e-12))


def _limit(rejects: Callable[[float], bool], start: float, farthest: float) -> float | None:
    """Return the ratio between `start` and `farthest` from which on the test rejects, by bisection."""
    inside, outside = math.log(start), math.log(farthest)
    if not rejects(farthest):
        return None
    for _ in range(_STEPS):
        middle = (inside + outside) / 2
        inside, outside = (inside, middle) if rejects(math.exp(middle)) else (middle, outside)
    return math.exp(inside)
