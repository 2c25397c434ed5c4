"""Rows set aside as the appendix lists them: a mistake made on many rows of a file is told once."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from benchwater.read.outcome import SetAside
from benchwater.words import runs

MOST_RUNS = 12


class AlikeRows(NamedTuple):
    """Rows of one file with the same cell and reason: `lines` are theirs as runs, `rows` their number."""

    file: str
    lines: str
    rows: int
    column: str
    value: str
    why: str


def alike_rows(set_aside: Iterable[SetAside]) -> list[AlikeRows]:
    """All of them, in the order of the first row of each."""
    lines_of: defaultdict[tuple[str, str, str, str], list[int]] = defaultdict(list)
    for row in set_aside:
        lines_of[row.file, row.column, row.value, row.why].append(row.line)
    return [
        AlikeRows(file, _told(lines), len(lines), column, value, why)
        for (file, column, value, why), lines in lines_of.items()
    ]


def of_most_rows(mistakes: Sequence[AlikeRows], most: int) -> frozenset[int]:
    """The places of those that took most rows, at most so many; of two alike the first."""
    return frozenset(sorted(range(len(mistakes)), key=lambda place: -mistakes[place].rows)[:most])


def _told(lines: list[int]) -> str:
    told = runs(lines).split(", ")
    more = f" and {len(told) - MOST_RUNS} more" if len(told) > MOST_RUNS else ""
    return ", ".join(told[:MOST_RUNS]) + more
