"""A log's columns as arrays: the rows up to the report's end, each column made once a season.

A log of a million rows says few different things. Most questions are asked of all rows that say the same,
and answered by counting and adding up such groups.
"""

from collections.abc import Callable, Hashable, Iterable, Sequence
from datetime import date
from functools import cached_property
from operator import getitem
from typing import TYPE_CHECKING, Any, Generic, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger import computed_once
from benchwater.plugin.season import Season

FloatArray = NDArray[np.float64]
Codes = NDArray[np.int32]
Flags = NDArray[np.bool_]
Moments = NDArray[np.datetime64]
Rows = NDArray[np.int64]

if TYPE_CHECKING:
    import pandas as pd

Key = TypeVar("Key", bound=Hashable)
Other = TypeVar("Other", bound=Hashable)

NOT_RECORDED = -1
NO_ROWS: Rows = np.zeros(0, dtype=np.int64)
_LARGEST = np.iinfo(np.int64).max


class Words(NamedTuple):
    """A column of words (n,): `names[codes[row]]`, or `NOT_RECORDED`; names in order of first appearance."""

    codes: Codes
    names: tuple[Any, ...]

    def are(self, *wanted: str) -> Flags:
        """The rows that say one of them."""
        return self.where(lambda name: name in wanted)

    def where(self, is_so: Callable[[Any], bool], missing: bool = False) -> Flags:
        """The rows of whose word it is so; `missing` is what holds where nothing was recorded."""
        return np.array([*map(is_so, self.names), missing], dtype=bool)[self.codes]

    def take(self, rows: Rows | Flags) -> "Words":
        """Some of the rows, in that order."""
        return Words(self.codes[rows], self.names)

    def sums(self, values: FloatArray, rows: Flags) -> dict[str, float]:
        """The sum of `values` (n,) by word over some of the rows, added in order; of the words in these."""
        codes = self.codes[rows]
        size = len(self.names)
        sums, found = np.bincount(codes, values[rows], size), np.bincount(codes, minlength=size)
        return {name: total for name, total, n in zip(self.names, sums.tolist(), found, strict=True) if n}


class Groups(Generic[Key]):
    """Rows (n,) that say the same: `keys[of_row[row]]` is what, in order of the groups' first rows."""

    def __init__(self, keys: Sequence[Key], of_row: Codes) -> None:
        """`of_row` is the group of each row."""
        self.keys = tuple(keys)
        self.of_row = of_row

    @cached_property
    def rows(self) -> dict[Key, Rows]:
        """The rows of each group, in order."""
        order = np.argsort(self.of_row.astype(np.min_scalar_type(len(self.keys))), kind="stable")
        ends = np.cumsum(np.bincount(self.of_row, minlength=len(self.keys)))
        parts = np.split(order, ends[:-1])
        return dict(zip(self.keys, parts, strict=True)) if self.keys else {}

    def sums(self, values: FloatArray) -> dict[Key, float]:
        """The sum of `values` (n,) over the rows of each group, added in order."""
        sums = np.bincount(self.of_row, values, minlength=len(self.keys))
        return dict(zip(self.keys, sums.tolist(), strict=True))

    def take(self, rows: Rows | Flags) -> "Groups[Key]":
        """The groups of some of the rows; those without a row are left out."""
        import pandas as pd

        of_row, kept = pd.factorize(self.of_row[rows])
        return Groups([self.keys[group] for group in kept.tolist()], of_row.astype(np.int32))

    def of(self, keys: Iterable[Key]) -> Rows:
        """The rows of some groups together, in order."""
        wanted = set(keys)
        return np.flatnonzero(np.array([key in wanted for key in self.keys], dtype=bool)[self.of_row])


@computed_once
def words(season: Season, kind: str, column: str) -> Words:
    """A column of words; no row where the log holds none."""
    if not season.holds(kind):
        return Words(np.zeros(0, dtype=np.int32), ())
    return factorized(season.log(kind)[column])


@computed_once
def numbers(season: Season, kind: str, column: str) -> FloatArray:
    """A column of numbers, nan where nothing was recorded; no row where the log holds none."""
    if not season.holds(kind):
        return np.zeros(0)
    return season.log(kind)[column].to_numpy(dtype=np.float64)


@computed_once
def moments(season: Season, kind: str) -> Moments:
    """When each row was; no row where the log holds none."""
    if not season.holds(kind):
        return np.zeros(0, dtype="datetime64[us]")
    return season.log(kind)["date"].to_numpy(dtype="datetime64[us]")


@computed_once
def grouped(season: Season, kind: str, *columns: str) -> Groups[tuple[Any, ...]]:
    """The rows of a log by what they say in some of its columns of words, None where nothing was recorded."""
    return group_by(*(words(season, kind, column) for column in columns))


def group_by(*columns: Words) -> Groups[tuple[Any, ...]]:
    """Rows by what they say in all of the columns, None where nothing was recorded."""
    of_row, first = alike(*columns)
    said = [(*column.names, None) for column in columns]
    places = [column.codes[first].tolist() for column in columns]
    keys = [tuple(map(getitem, said, key)) for key in zip(*places, strict=True)]
    return Groups(keys, of_row)


def alike(*columns: Words) -> tuple[Codes, Rows]:
    """The group of each row (n,) by what it says in all of the columns, and the first row of each group.

    Groups are numbered in order of these.
    """
    import pandas as pd

    key, size = np.zeros(len(columns[0].codes), dtype=np.int64), 1
    for column in columns:
        width = len(column.names) + 1
        if size > _LARGEST // width:
            key = pd.factorize(key)[0]
            size = len(key)
        key, size = key * width + (column.codes + 1), size * width
    of_row, distinct = pd.factorize(key)
    first = np.empty(len(distinct), dtype=np.int64)
    first[of_row[::-1]] = np.arange(len(key), dtype=np.int64)[::-1]
    return of_row.astype(np.int32), first


def factorized(column: "pd.Series[Any]") -> Words:
    """A column of a table as words, in order of first appearance; numbers and days may be words, too."""
    import pandas as pd

    values = column.to_numpy()
    codes, names = pd.factorize(values) if values.dtype == object else column.factorize()
    return Words(codes.astype(np.int32), tuple(names.tolist()))


def as_words(values: NDArray[Any]) -> Words:
    """Values (n,) as words: each by its place among those that occur, in order of size."""
    distinct, codes = np.unique(values, return_inverse=True)
    return Words(codes.astype(np.int32), tuple(range(len(distinct))))


def renamed(groups: Groups[tuple[Any, ...]], name: Callable[..., Other]) -> Groups[Other]:
    """The groups by another name, made of what each says; those of one name become one."""
    names = [name(*key) for key in groups.keys]
    places = {each: place for place, each in enumerate(dict.fromkeys(names))}
    to = np.array([places[each] for each in names], dtype=np.int32)
    return Groups(list(places), to[groups.of_row])


def alphabetical(groups: Groups[str]) -> "pd.Categorical":
    """A word a row, told by number, to be grouped and listed in alphabetical order."""
    import pandas as pd

    names = sorted(groups.keys)
    places = {name: place for place, name in enumerate(names)}
    to = np.array([places[name] for name in groups.keys], dtype=np.int32)
    return pd.Categorical.from_codes(to[groups.of_row], categories=pd.Index(names, dtype="str"))


def in_days(when: Moments, start: date, end: date) -> Flags:
    """The moments (n,) from the start of one day up to the start of another."""
    return (when >= np.datetime64(start)) & (when < np.datetime64(end))
