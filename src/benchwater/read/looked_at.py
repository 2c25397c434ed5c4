"""A log's check of one row, asked once for each different combination of what it looks at."""

from collections.abc import Callable, Iterable, Iterator, Mapping

import numpy as np

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import RowProblem, Value
from benchwater.read.coded import Coded, Flags, grouped

Check = Callable[[Mapping[str, Value], Bench], Iterable[RowProblem]]


def rows_refused(check: Check, columns: Mapping[str, Coded], rows: int, bench: Bench) -> Flags:
    """The rows in which the check finds anything.

    Which columns it looks at is noted as it asks for them; rows that are equal in all of those get the
    same answer, so one of them is asked about.
    """
    looked_at: set[str] = set()
    while True:
        groups = grouped([columns[name] for name in sorted(looked_at)], rows)
        seen: set[str] = set()
        refused = np.zeros(len(groups.first), dtype=bool)
        for group, row in enumerate(groups.first.tolist()):
            found = check(_WatchedRow(columns, row, seen), bench)
            refused[group] = next(iter(found), None) is not None
            if not seen <= looked_at:
                break
        else:
            return refused[groups.of_row]
        looked_at |= seen


class _WatchedRow(Mapping[str, Value]):
    """One row, which notes which of its columns are asked for."""

    def __init__(self, columns: Mapping[str, Coded], row: int, seen: set[str]) -> None:
        self._columns = columns
        self._row = row
        self._seen = seen

    def __getitem__(self, name: str) -> Value:
        column = self._columns[name]
        self._seen.add(name)
        value: Value = column.values[column.codes[self._row]]
        return value

    def __iter__(self) -> Iterator[str]:
        self._seen.update(self._columns)
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)
