"""Two-sample permutation tests over many units: swapping pairs, and dealing units anew, without a matrix.

A few thousand draws of a few thousand units are a hundred megabytes as numbers. Signs are kept as bits, and
of a deal only the sums that are asked of it.
"""

import math
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

DRAWS = 4999
SEED = 20_240_229
MOST_UNITS_IN_FULL = 12

_UNITS_AT_ONCE = 2**20
_BITS = ((np.arange(256)[:, np.newaxis] >> np.arange(8)) & 1).astype(np.float64)


class Swaps:
    """Signs for `units` pairs: every way up to `MOST_UNITS_IN_FULL`, else `DRAWS` seeded ones."""

    def __init__(self, units: int) -> None:
        """Made anew for each number of units, from the same throws of a coin."""
        self.every_way = units <= MOST_UNITS_IN_FULL
        self._units = units
        if self.every_way:
            signs = np.arange(2**units)[:, np.newaxis] >> np.arange(units) & 1
            swapped = signs.astype(np.uint8)
        else:
            swapped = 1 - np.unpackbits(_throws(DRAWS * units), count=DRAWS * units).reshape(DRAWS, units)
        self._swapped = np.ascontiguousarray(np.packbits(swapped, axis=1, bitorder="little").T)

    def sums(self, values: ArrayLike) -> FloatArray:
        """The sum of `values` (units,) with the signs of each way, (ways,)."""
        padded = np.zeros(8 * len(self._swapped))
        padded[: self._units] = values
        of_eight = padded.reshape(-1, 8) @ _BITS.T
        swapped = np.zeros(self._swapped.shape[1])
        for sums, which in zip(of_eight, self._swapped, strict=True):
            swapped += sums[which]
        swapped *= -2.0
        swapped += padded.sum()
        return swapped


class _Coin:
    """Throws of one coin, as many as were ever asked for; asking for more never changes those before."""

    def __init__(self) -> None:
        self._generator = np.random.default_rng(SEED)
        self._thrown = np.zeros(0, dtype=np.uint8)

    def throws(self, count: int) -> NDArray[np.uint8]:
        """At least so many, eight in a byte."""
        missing = -(-count // 8) - len(self._thrown)
        while missing > 0:
            more = min(missing, _UNITS_AT_ONCE // 8)
            bits = self._generator.integers(0, 2, size=8 * more)
            self._thrown = np.concatenate([self._thrown, np.packbits(bits.astype(np.uint8))])
            missing -= more
        return self._thrown


_throws = _Coin().throws


def number_of_deals(units: int, first: int) -> int:
    """In how many ways `first` of the units can be dealt to the first group."""
    return math.comb(units, first)


def deal_sums(values: ArrayLike, first: int) -> tuple[FloatArray, bool]:
    """The sums of `values` (units, k) over the first group, for each deal (deals, k); whether these are all.

    Every way to deal `first` units to it where there are at most `DRAWS`, else `DRAWS` seeded ones.
    """
    v = np.asarray(values, dtype=np.float64)
    units = len(v)
    if number_of_deals(units, first) <= DRAWS:
        chosen = np.array(list(combinations(range(units), first)), dtype=np.int64).reshape(-1, first)
        return v[chosen].sum(axis=1), True
    generator = np.random.default_rng(SEED)
    at_once = max(1, _UNITS_AT_ONCE // units)
    sums = []
    for begin in range(0, DRAWS, at_once):
        drawn = generator.random((min(at_once, DRAWS - begin), units))
        last = np.partition(drawn, first - 1, axis=1)[:, first - 1 : first]
        sums.append((drawn <= last).astype(np.float64) @ v)
    return np.concatenate(sums), False
