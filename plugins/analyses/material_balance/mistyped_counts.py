"""Slips of the pen that explain a wrong amount: a decimal place, or one unit written for another."""

from collections.abc import Hashable, Mapping
from itertools import permutations
from math import hypot, isfinite
from typing import TypeVar

Key = TypeVar("Key", bound=Hashable)

DECIMAL_SLIPS: Mapping[float, float] = {power: power for power in (10.0, 0.1, 100.0, 0.01)}
SHARPEST = 25.0
FACTOR = 2.0
READ_TO = 0.005


def unit_slips(units: Mapping[str, float]) -> dict[tuple[str, str], float]:
    """By (unit written, unit meant): how many times too large that made the amount.

    `units` are the sizes of units of one kind in any one unit: 10 oz written as 10 g is 1 / 28.35 of it.
    """
    return {(written, meant): units[written] / units[meant] for written, meant in permutations(units, 2)}


def likeliest_slip(
    found: float, found_u: float, implied: float, implied_u: float, slips: Mapping[Key, float]
) -> Key | None:
    """The slip that made `found` out of what other records say it must be, `implied`; None where none fits.

    `slips` are by key how many times too large they made it. One fits where found / slip and `implied` differ
    by at most `FACTOR` times their joint standard uncertainty; of several the nearest, the earlier of equals.
    `found_u` is that of the scale, which no slip changes; besides, an amount is taken to be read to `READ_TO`
    of itself. None is named where `implied` is not above `SHARPEST` times its own uncertainty, as by then
    some slip or other fits nearly any amount. A convention, no source.
    """
    if not all(isfinite(value) for value in (found, found_u, implied, implied_u)):
        return None
    if implied <= SHARPEST * implied_u or implied <= 0 or found <= 0:
        return None
    best: Key | None = None
    nearest = FACTOR
    spread = hypot(implied_u, found_u, READ_TO * implied)
    for key, slip in slips.items():
        off = abs(found / slip - implied) / spread
        if off < nearest:
            best, nearest = key, off
    return best
