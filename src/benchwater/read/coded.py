"""A column as its distinct values and, for each row, which of them it holds.

A log of a million rows says few different things: what is read, compared or checked once for each
distinct value costs next to nothing a row.
"""

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

Codes = npt.NDArray[np.int32]
Rows = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_LARGEST = np.iinfo(np.int64).max


class Coded(NamedTuple):
    """`values[codes[row]]` is what a row holds. A value may stand in `values` more than once, or unused."""

    codes: Codes
    values: Sequence[Any]

    def of(self, row: int) -> Any:
        """What one row holds."""
        return self.values[self.codes[row]]

    def take(self, rows: Rows | Flags) -> "Coded":
        """Some of the rows, in that order."""
        return Coded(self.codes[rows], self.values)

    def used(self) -> list[bool]:
        """Whether any row holds it, for each value."""
        counts = np.bincount(self.codes, minlength=len(self.values))
        return [bool(count) for count in counts]

    def where(self, is_so: Callable[[Any], bool]) -> Flags:
        """Whether it is so, for each row."""
        return np.array([is_so(value) for value in self.values], dtype=bool)[self.codes]


class Groups(NamedTuple):
    """Which group each row belongs to, and the first row of each group."""

    of_row: Codes
    first: Rows


def empty_column(rows: int, value: object = None) -> Coded:
    """A column that holds the same in every row."""
    return Coded(np.zeros(rows, dtype=np.int32), [value])


def joined(parts: Sequence[Coded]) -> Coded:
    """Columns one below the other."""
    values: list[Any] = []
    codes = []
    for part in parts:
        codes.append(part.codes + np.int32(len(values)))
        values += part.values
    return Coded(np.concatenate(codes) if codes else np.zeros(0, dtype=np.int32), values)


def merged(column: Coded, standing_for: Callable[[Any], Any]) -> Coded:
    """The column with one value for all that stand for the same thing."""
    new = list(map(standing_for, column.values))
    known = {value: code for code, value in enumerate(dict.fromkeys(new))}
    if len(known) == len(new):
        return Coded(column.codes, new)
    to = np.fromiter(map(known.__getitem__, new), dtype=np.int32, count=len(new))
    return Coded(to[column.codes], list(known))


def grouped(columns: Sequence[Coded], rows: int) -> Groups:
    """Rows that hold the same values (by code) in all of the columns are one group."""
    key, size = np.zeros(rows, dtype=np.int64), 1
    for column in columns:
        width = max(1, len(column.values))
        if size > _LARGEST // width:
            groups = _numbered(key)
            key, size = groups.of_row.astype(np.int64), len(groups.first)
        key = key * width + column.codes
        size *= width
    return _numbered(key)


def _numbered(key: npt.NDArray[np.int64]) -> Groups:
    """Numbers from 0 in order of first appearance, and where each appears first."""
    import pandas as pd

    codes, distinct = pd.factorize(key)
    first = np.empty(len(distinct), dtype=np.int64)
    first[codes[::-1]] = np.arange(len(key), dtype=np.int64)[::-1]
    return Groups(codes.astype(np.int32), first)
