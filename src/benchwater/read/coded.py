"""A column as distinct values and a code for each row, so that work is done once a distinct value.

A log of a million rows holds few distinct texts.
"""

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

Codes = npt.NDArray[np.int32]
Indices = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

_LARGEST = np.iinfo(np.int64).max
_FEW_ROWS = 100
"""Fewer rows cost less to number one by one than to hand to pandas."""


class Coded(NamedTuple):
    """A row holds `values[codes[row]]`. A value may occur more than once in `values`, or be unused."""

    codes: Codes
    values: Sequence[Any]

    def value(self, row: int) -> Any:
        return self.values[self.codes[row]]

    def take(self, rows: Indices | Mask) -> "Coded":
        """The column of some rows, in that order."""
        return Coded(self.codes[rows], self.values)

    def replaced(self, rows: Mask, other: "Coded") -> "Coded":
        """The column with the other's values in these rows."""
        codes = np.where(rows, other.codes + np.int32(len(self.values)), self.codes)
        return Coded(codes, [*self.values, *other.values])

    def map_held(self, function: Callable[[Any], Any]) -> list[Any]:
        """The function's result for each value that a row holds, None for each that none does."""
        counts = np.bincount(self.codes, minlength=len(self.values)).tolist()
        return [function(each) if count else None for each, count in zip(self.values, counts, strict=True)]

    def held(self) -> list[Any]:
        counts = np.bincount(self.codes, minlength=len(self.values)).tolist()
        return [each for each, count in zip(self.values, counts, strict=True) if count]

    def mask(self, condition: Callable[[Any], bool]) -> Mask:
        """For each row, whether its value meets the condition."""
        return np.array([condition(value) for value in self.values], dtype=bool)[self.codes]


class Groups(NamedTuple):
    """The group of each row, and the first row of each group."""

    of_row: Codes
    first: Indices


def constant_column(rows: int, value: object = None) -> Coded:
    """A column that holds one value in every row."""
    return Coded(np.zeros(rows, dtype=np.int32), [value])


def concatenate(parts: Sequence[Coded]) -> Coded:
    """One column of the rows of several, in order."""
    if len(parts) == 1:
        return parts[0]
    values: list[Any] = []
    codes = []
    for part in parts:
        codes.append(part.codes + np.int32(len(values)))
        values += part.values
    return Coded(np.concatenate(codes) if codes else np.zeros(0, dtype=np.int32), values)


def map_values(column: Coded, function: Callable[[Any], Any]) -> Coded:
    """The column with the function applied to each value; values that become equal share a code."""
    new = list(map(function, column.values))
    known = {value: code for code, value in enumerate(dict.fromkeys(new))}
    if len(known) == len(new):
        return Coded(column.codes, new)
    to = np.fromiter(map(known.__getitem__, new), dtype=np.int32, count=len(new))
    return Coded(to[column.codes], list(known))


def group_rows(columns: Sequence[Coded], rows: int) -> Groups:
    """Group the rows that have the same codes in all of the columns."""
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
    """Number equal keys from 0 in order of first appearance."""
    if len(key) < _FEW_ROWS:
        rows: dict[int, int] = {}
        first_rows = [rows.setdefault(each, row) for row, each in enumerate(key.tolist())]
        firsts = np.array(list(rows.values()), dtype=np.int64)
        return Groups(np.searchsorted(firsts, first_rows).astype(np.int32), firsts)
    import pandas as pd

    codes, distinct = pd.factorize(key)
    first = np.empty(len(distinct), dtype=np.int64)
    first[codes[::-1]] = np.arange(len(key), dtype=np.int64)[::-1]
    return Groups(codes.astype(np.int32), first)
