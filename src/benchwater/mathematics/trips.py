"""The trips of a group as columns: which they are, the fish and the hours of each."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


class Trips(NamedTuple):
    """Trips of one group, all arrays (n,): their number, each once, their fish and their hours."""

    number: NDArray[np.int64]
    fish: FloatArray
    hours: FloatArray

    def take(self, rows: NDArray[np.int64]) -> "Trips":
        """Some of them, in that order."""
        return Trips(self.number[rows], self.fish[rows], self.hours[rows])


def shared(one: Trips, other: Trips) -> tuple[Trips, Trips]:
    """The trips that both have, in the order of the first."""
    _, of_one, of_other = np.intersect1d(one.number, other.number, assume_unique=True, return_indices=True)
    order = np.argsort(of_one)
    return one.take(of_one[order]), other.take(of_other[order])
