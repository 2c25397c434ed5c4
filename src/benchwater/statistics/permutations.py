"""Lots: sums over many units chosen by lot, the test that swaps pairs, and treatments drawn in blocks.

A few thousand draws of a few thousand units are a hundred megabytes as numbers. Signs are kept as bits, and
of a deal only the sums that are asked of it.
"""

import hashlib
import math
from collections.abc import Iterable
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

DRAWS = 4999
SEED = 20_240_229
MOST_UNITS_IN_FULL = 12
MANY_UNITS = 200

UNITS_AT_ONCE = 2**20
Bits = NDArray[np.uint8]


class Chosen:
    """Some of many units, chosen in many ways, as bits: what the values of the chosen ones add up to."""

    def __init__(self, ways: Iterable[NDArray[np.bool_] | Bits]) -> None:
        """Which are chosen, not 0, in tables (ways, units) one below the other."""
        packed = [np.packbits(chosen, axis=1, bitorder="little") for chosen in ways]
        self._eights: Bits = np.ascontiguousarray(np.concatenate(packed).T)

    def sums(self, values: FloatArray) -> FloatArray:
        """The sum of `values` (units,) over the units chosen in each way, (ways,)."""
        found, each = np.zeros(self._eights.shape[1]), np.empty(self._eights.shape[1])
        for sums, which in zip(_sums_of_eights(values), self._eights, strict=True):
            np.take(sums, which, out=each, mode="clip")
            found += each
        return found


def _sums_of_eights(values: FloatArray) -> FloatArray:
    """Of each eight of the values (n,) the sum of every choice among them, (n / 8 rounded up, 256)."""
    padded = np.zeros((-(-len(values) // 8), 8))
    padded.ravel()[: len(values)] = values
    sums = np.zeros((len(padded), 1))
    for values_of_bit in padded.T[:, :, np.newaxis]:
        sums = np.hstack([sums, sums + values_of_bit])
    return sums


class Swaps:
    """Signs for `units` pairs: every way up to `MOST_UNITS_IN_FULL`, else `DRAWS` seeded ones."""

    def __init__(self, units: int) -> None:
        """Made anew for each number of units, from the same throws of a coin."""
        self.every_way = units <= MOST_UNITS_IN_FULL
        if self.every_way:
            kept = (~np.arange(2**units)[:, np.newaxis] >> np.arange(units) & 1).astype(np.uint8)
        else:
            kept = np.unpackbits(_throws(DRAWS * units), count=DRAWS * units).reshape(DRAWS, units)
        self._kept = Chosen([kept])

    def sums(self, values: ArrayLike) -> FloatArray:
        """The sum of `values` (units,) with the signs of each way, (ways,)."""
        signed = np.asarray(values, dtype=np.float64)
        return 2.0 * self._kept.sums(signed) - float(signed.sum())


class _Coin:
    """Throws of one coin, as many as were ever asked for; asking for more never changes those before."""

    def __init__(self) -> None:
        self._generator = np.random.default_rng(SEED)
        self._thrown = np.zeros(0, dtype=np.uint8)

    def throws(self, count: int) -> NDArray[np.uint8]:
        """At least so many, eight in a byte."""
        missing = -(-count // 8) - len(self._thrown)
        while missing > 0:
            more = min(missing, UNITS_AT_ONCE // 8)
            bits = self._generator.integers(0, 2, size=8 * more)
            self._thrown = np.concatenate([self._thrown, np.packbits(bits.astype(np.uint8))])
            missing -= more
        return self._thrown


_throws = _Coin().throws


_swaps = lru_cache(maxsize=16)(Swaps)


def sign_flip_p(scores: FloatArray) -> float:
    """The p-value of scores (units, k) that should add up to 0 in each column, by flipping units' signs.

    The statistic is U' V^-1 U with U the sums and V the sum of the units' outer products, which no flip
    changes. Every choice of signs up to `MOST_UNITS_IN_FULL`, `DRAWS` seeded ones beyond; of one column of
    more than `MANY_UNITS` the normal distribution.

    Source: Fisher 1935, The Design of Experiments, section 21; Hemerik, Goeman & Finos 2020, J. R. Statist.
    Soc. B 82:841-864 (from memory).
    """
    units, columns = scores.shape
    scale, axes = np.linalg.eigh(scores.T @ scores)
    informative = scale > 1e-10 * max(float(scale.max()), 1e-300)
    if not informative.any():
        return 1.0
    along = scores @ axes[:, informative] / np.sqrt(scale[informative])
    seen = float((along.sum(axis=0) ** 2).sum())
    if units > MANY_UNITS and columns == 1:
        from scipy.special import ndtr

        return float(2 * ndtr(-math.sqrt(seen)))
    swaps = _swaps(units)
    flipped = np.sum([swaps.sums(column) ** 2 for column in along.T], axis=0)
    extreme = int(np.count_nonzero(flipped >= seen * (1 - 1e-9)))
    return extreme / len(flipped) if swaps.every_way else (1 + extreme) / (1 + DRAWS)


def draw_block(seed: str, block: int, treatments: int, places: int) -> NDArray[np.int64]:
    """Return the treatment of each place of a block, (places,): each as often as the others, by lot.

    The same seed and block give the same lot on every machine. `places` must be a multiple of `treatments`.
    Permuted blocks: Rosenberger and Lachin, Randomization in Clinical Trials (2nd edition 2016), chapter 3
    (from memory).
    """
    if places % treatments:
        raise ValueError(f"{places} places do not divide among {treatments} treatments")
    digest = hashlib.sha256(f"{seed}\n{block}\n{treatments}\n{places}".encode()).digest()
    lot = np.random.Generator(np.random.PCG64(int.from_bytes(digest, "big")))
    return lot.permutation(np.arange(places, dtype=np.int64) % treatments)
